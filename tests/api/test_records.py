"""Records by the API: own ones with their parts, nobody else's, pages by key, readings in twice."""

from datetime import UTC, date, datetime

import pytest

from fleet.readings.models import MeterReading, SpotTest
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import an_installation

LISTS = [
    "sites", "units", "installations", "pump-types", "module-types", "pipes", "cables", "districts", "shortfalls",
    "spot-tests", "meter-readings", "slips",
]  # fmt: skip


@pytest.fixture
def one(organisation):
    installation = an_installation(organisation)
    a_shortfall(installation)
    at = datetime(2026, 3, 1, 9, tzinfo=UTC)
    SpotTest.objects.create(installation=installation, kind="visit", at=at, flow_l_min=14.2)
    MeterReading.objects.create(installation=installation, at=at, total_l=1000)
    return installation


@pytest.mark.parametrize("name", LISTS)
def test_every_list_answers_its_own_people_and_nobody_else(name, one, nadia, otto, api_of):
    found = api_of(nadia).get(f"/api/v1/{name}/")
    assert found.status_code == 200
    assert bool(found.json()["results"]) == (name != "slips")  # nothing is in doubt here
    assert api_of(otto).get(f"/api/v1/{name}/").json()["results"] == []
    assert api_of(nadia).get(f"/api/v1/{name}/?after=nonsense").status_code == 400


def test_a_record_brings_its_parts_and_strangers_get_nothing(one, nadia, otto, api_of):
    site = one.well.site
    whole = api_of(nadia).get(f"/api/v1/sites/{site.code}/").json()
    assert whole["wells"][0]["tank"]["rise_m"] == one.well.tank.rise_m
    assert whole["wells"][0]["static_levels"]
    hung = api_of(nadia).get(f"/api/v1/installations/{one.pk}/").json()
    assert hung["serial"] == one.unit.serial and hung["period"]["until"] is None
    assert api_of(nadia).get(f"/api/v1/pump-types/{one.unit.pump_type_id}/").json()["points"]
    for address in (f"sites/{site.code}", f"installations/{one.pk}", f"units/{one.unit_id}", "shortfalls/1"):
        assert api_of(otto).get(f"/api/v1/{address}/").status_code == 404
    assert api_of(nadia).get("/api/v1/sites/?district=nowhere").json()["results"] == []


def test_days_of_an_installation_join_what_was_due_and_what_came(one, nadia, otto, api_of):
    judged_days(one, date(2026, 3, 1), [(5000, 4500), (5000, None)])
    address = f"/api/v1/installations/{one.pk}/days/?first=2026-03-01&last=2026-03-31"
    days = api_of(nadia).get(address).json()
    assert [(d["day"], d["measured_l"]) for d in days] == [("2026-03-01", 4500.0), ("2026-03-02", None)]
    assert api_of(otto).get(address).status_code == 404
    assert api_of(nadia).get(f"/api/v1/installations/{one.pk}/days/?first=March").status_code == 400
    too_long = f"/api/v1/installations/{one.pk}/days/?first=1026-01-01&last=2026-01-01"
    assert api_of(nadia).get(too_long).status_code == 400
