"""The bundle holds what a technician needs, small, computed here, and nothing of anybody else."""

import json
import uuid
from datetime import date, timedelta

import numpy as np
import pytest
from django.utils import timezone

from fleet.output.services import answer_spot
from fleet.registry.models import PumpPoint
from fleet.visits import services
from fleet.visits.models import FieldCard, FieldDevice
from fleet.visits.services import field_card
from fleet.visits.services.field_kept import card_day
from fleet.web.refusals import Refused
from sizing import orient
from tests.makers.people import a_person
from tests.makers.registry import a_site, a_well, an_installation
from tests.makers.visits import a_visit, an_assigned_visit

KEY = "6d5f1d0e-6d1c-4f6e-9c1e-000000000001"
BUNDLE = f"/api/v1/field/bundle/?device={KEY}&days=7"
KINDS = ["inspection", "repair", "commissioning", "installation", "survey"]


@pytest.fixture
def ten_visits(idris, organisation):
    return [an_assigned_visit(an_installation(organisation), idris, kind=KINDS[n % 5]) for n in range(10)]


def test_ten_visits_stay_below_six_hundred_kilobytes(idris, ten_visits, api_of):
    answer = api_of(idris).get(BUNDLE)
    assert answer.status_code == 200
    assert len(answer.content) < 600_000
    found = answer.json()
    assert [v["key"] for v in found["visits"]] == [str(v.key) for v in ten_visits]
    for visit in found["visits"]:
        assert set(visit) >= {"site", "unit", "built", "card", "sun", "history", "parts", "known", "procedure"}
        assert visit["procedure"] in found["procedures"]
        assert len(visit["sun"]["noons"]) == 14
    assert found["visits"][0]["card"]["flow"]
    assert found["procedures"][found["visits"][0]["procedure"]]["steps"][0]["code"] == "arrive"
    assert found["cautions"]["DC"]["full"]
    assert api_of(idris).get(BUNDLE).json()["hash"] == found["hash"]
    print(f"ten visits packed in {len(answer.content) / 1000:.0f} kB")


def test_only_one_s_own_visits_of_the_coming_days_are_packed(idris, organisation, nadia):
    other = a_person(organisation, "technician")
    an_assigned_visit(an_installation(organisation), other)
    far = an_assigned_visit(an_installation(organisation), idris, on=timezone.localdate() + timedelta(days=20))
    late = an_assigned_visit(an_installation(organisation), idris, on=timezone.localdate() - timedelta(days=3))
    keys = [v["key"] for v in services.bundle(by=idris)["visits"]]
    assert keys == [str(late.key)]
    assert str(far.key) not in keys
    assert services.bundle(by=nadia)["visits"] == []


def test_a_manager_has_no_telephone(wanja, api_of, client):
    with pytest.raises(Refused):
        services.bundle(by=wanja)
    assert api_of(wanja).get(BUNDLE).status_code == 403
    assert client.get(BUNDLE).status_code in {401, 403}


def test_the_card_s_figures_are_those_of_the_chain(idris, organisation):
    """Read off at the card's own points, flow, range and record agree with the answer the server gives."""
    visit = an_assigned_visit(an_installation(organisation), idris)
    card = services.bundle(by=idris)["visits"][0]["card"]
    sun, level = card["sun"].index(800), 3
    readings = {
        "at": timezone.now(), "sun_by": "reference_cell", "irradiance_w_m2": 800,
        "static_level_m": card["level"][level], "flow_l_min": 10.0, "flow_by": "bucket",
    }  # fmt: skip
    answer = answer_spot(visit.installation, readings)
    expected = card["flow"][level][sun] * card["own"]["factor"]
    assert answer["expected_l_min"]["middle"] == pytest.approx(expected, rel=0.003)


def test_the_card_falls_with_depth_and_rises_with_sun(idris, organisation):
    an_assigned_visit(an_installation(organisation), idris)
    card = services.bundle(by=idris)["visits"][0]["card"]
    flow = np.array(card["flow"])
    assert (np.diff(flow, axis=1) >= 0).all()
    assert (np.diff(flow, axis=0) <= 0).all()
    assert (np.diff(card["voc"]["at"]) < 0).all()
    assert (np.diff(card["day"]["litres"]) > 0).all()
    minutes = [m for m in card["first_water"]["minutes"] if m is not None]
    assert minutes == sorted(minutes, reverse=True)


def test_noon_and_compass_are_those_of_the_engineering(idris, organisation):
    visit = an_assigned_visit(an_installation(organisation), idris)
    sun = services.bundle(by=idris)["visits"][0]["sun"]
    site = visit.site
    for row in (sun["noons"][0], sun["noons"][13]):
        noon = orient.solar_noon(row["day"], site.latitude_deg, site.longitude_deg, site.zone)
        assert abs(row["at"] - noon.at_utc.timestamp()) < 2
        assert row["height"] == pytest.approx(noon.height_deg, abs=0.1)
    faces = orient.facing(timezone.localdate(), site.latitude_deg, site.longitude_deg, altitude_m=620)
    assert sun["facing"]["compass"] == pytest.approx(faces.compass_deg, abs=0.1)


def test_a_site_on_an_island_ahead_of_its_longitude_has_its_noon_on_its_own_day(idris, organisation):
    site = a_site(organisation, latitude_deg=1.87, longitude_deg=-157.4, zone="Pacific/Kiritimati", altitude_m=2)
    an_assigned_visit(an_installation(well=a_well(site)), idris)
    for row in services.bundle(by=idris)["visits"][0]["sun"]["noons"]:
        noon = orient.solar_noon(row["day"], 1.87, -157.4, "Pacific/Kiritimati")
        assert abs(row["at"] - noon.at_utc.timestamp()) < 2


def test_a_unit_of_which_nothing_can_be_computed_is_packed_with_the_reason(idris, organisation):
    installation = an_installation(organisation)
    PumpPoint.objects.filter(pump_type=installation.unit.pump_type).delete()
    an_assigned_visit(installation, idris)
    visit = services.bundle(by=idris)["visits"][0]
    assert visit["card"]["trouble"]
    assert visit["sun"]["noons"]


def test_everything_is_in_the_person_s_language(idris, ten_visits):
    idris.language = "fr"
    idris.save()
    found = services.bundle(by=idris)
    assert found["person"]["language"] == "fr"
    assert all(isinstance(words, str) and words for words in found["words"].values())
    json.dumps(found)


def test_a_stranger_a_colleague_and_a_manager_pack_nothing_of_it(api_of, idris, wanja, otto, organisation):
    an_assigned_visit(an_installation(organisation), idris)
    other = a_person(organisation)
    for person, n in ((idris, 1), (other, 0), (otto, 0)):
        answer = api_of(person).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}")
        assert len(answer.json()["visits"]) == n
    assert api_of(wanja).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}").status_code == 403
    assert api_of(idris).get("/api/v1/field/bundle/?device=nonsense").status_code == 400


# ---- telephones -----------------------------------------------------------------------------------------------------


def of_telephone(client, token):
    client.credentials(HTTP_AUTHORIZATION=f"Telephone {token}")
    return client


def test_a_telephone_signs_in_with_its_own_key_until_it_is_shut_out(idris, nadia, ten_visits, api_of):
    from rest_framework.test import APIClient

    answer = api_of(idris).post(
        "/api/v1/field/devices/", {"key": KEY, "name": "Idris' phone"}, format="json"
    )
    assert answer.status_code == 201
    phone = of_telephone(APIClient(), answer.json()["token"])
    assert phone.get(BUNDLE).status_code == 200
    device = FieldDevice.objects.get()
    page = api_of(nadia).post(f"/visits/telephones/{device.pk}/shut-out/")
    assert page.status_code == 302
    gone = phone.get(BUNDLE)
    assert (gone.status_code, gone.json()["errors"][0]["code"]) == (401, "shut_out")
    assert phone.post("/api/v1/field/pieces/", {"device": KEY, "pieces": []}, format="json").status_code == 401
    assert api_of(nadia).post(f"/visits/telephones/{device.pk}/let-in/").status_code == 302
    assert phone.get(BUNDLE).status_code == 200
    assert of_telephone(APIClient(), "rmf_no").get(BUNDLE).status_code == 401


def test_nobody_shuts_out_a_stranger_s_telephone(idris, otto, organisation, client_of):
    device, _token = services.register(person=idris, key=uuid.uuid4())
    colleague = a_person(organisation, "technician")
    for person in (otto, colleague):
        assert client_of(person).post(f"/visits/telephones/{device.pk}/shut-out/").status_code == 404
    device.refresh_from_db()
    assert device.shut_out_at is None


def test_the_shell_and_the_worker_are_served_to_anybody_and_name_every_file(client):
    shell, worker = client.get("/field/"), client.get("/field-worker.js")
    assert shell.status_code == worker.status_code == 200
    assert worker["Content-Type"].startswith("text/javascript")
    from django.contrib.staticfiles import finders

    from fleet.visits import field_assets as assets

    for path in assets.PATHS:
        assert finders.find(path), path
        assert path in worker.content.decode()
    assert assets.version() in shell.content.decode()
    assert client.get("/field/manifest.webmanifest").json()["scope"] == "/field/"


def test_the_coordinator_sees_what_has_not_come_home(idris, nadia, organisation, client_of):
    late = an_assigned_visit(an_installation(organisation), idris, on=timezone.localdate() - timedelta(days=2))
    device, _token = services.register(person=idris, key=uuid.uuid4())
    FieldDevice.objects.filter(pk=device.pk).update(waiting=7)
    page = client_of(nadia).get("/visits/telephones/").content.decode()
    assert f"/visits/{late.key}/" in page
    assert "7 pieces" in page


# ---- kept cards -----------------------------------------------------------------------------------------------------


@pytest.fixture
def worked_out(monkeypatch):
    """How many cards were worked out, each time that any were."""
    counted, cards = [], field_card.cards

    def counting(ids, day):
        counted.append(len(ids))
        return cards(ids, day)

    monkeypatch.setattr(field_card, "cards", counting)
    return counted


def test_packing_reads_the_cards_that_were_made_when_the_visits_were_assigned(idris, ten_visits, worked_out):
    assert services.warm_cards() == 10
    assert sum(worked_out) == 10
    worked_out.clear()
    first = services.bundle(by=idris)
    assert not worked_out
    FieldCard.objects.all().delete()
    assert services.bundle(by=idris)["hash"] == first["hash"]
    assert sum(worked_out) == 10


def test_a_card_is_made_anew_when_what_it_rests_on_changes_and_only_then(idris, organisation, worked_out):
    one, other = (an_assigned_visit(an_installation(organisation), idris).installation for _ in range(2))
    services.warm_cards()
    worked_out.clear()
    one.setting_depth_m += 5
    one.save()
    services.warm_cards()
    assert worked_out == [1]
    assert FieldCard.objects.filter(pk__in=[one.pk, other.pk]).count() == 2


def test_assigning_has_the_card_made_before_the_morning(
    idris, nadia, organisation, django_capture_on_commit_callbacks
):
    visit = a_visit(an_installation(organisation))
    with django_capture_on_commit_callbacks(execute=True):
        services.assign(visit=visit, technician=idris, on=timezone.localdate(), by=nadia)
    assert FieldCard.objects.get().pk == visit.installation_id


@pytest.mark.parametrize(("today", "stands_for"), [
    (date(2026, 11, 25), date(2026, 11, 26)),  # the Thursday of that week
    (date(2026, 11, 29), date(2026, 11, 26)),
    (date(2026, 12, 1), date(2026, 12, 3)),
    (date(2026, 11, 30), date(2026, 11, 30)),  # a Thursday of another month has other levels
    (date(2027, 1, 1), date(2027, 1, 1)),
])  # fmt: skip
def test_a_card_stands_for_the_middle_of_its_week_within_the_month(today, stands_for):
    assert card_day(today) == stands_for
