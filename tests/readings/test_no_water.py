"""No water came: told with the minutes that it was watched, from the desk, a table, the API or a message."""

import json

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from fleet.readings.models import SpotTest
from fleet.readings.services import flow_of, keep_spot_test, keep_spot_tests, without_water
from fleet.web.refusals import Refused
from tests.makers.readings import NOON, a_spot_test
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
AT = NOON.isoformat()


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def keep(installation, **readings):
    return keep_spot_test(installation=installation, at=NOON, kind="visit", irradiance_w_m2=800.0, **readings)[0]


def told(test=None):
    test = test or SpotTest.objects.get()
    test.refresh_from_db()
    return test.no_water, test.flow_l_min, test.watched_min, test.flow_by, test.repeats


NONE_CAME = (True, 0, 5, "bucket", [])
WAYS = [
    {"no_water": True, "watched_min": 5},
    {"watched_min": 5},
    {"repeats": [{"litres": 0, "seconds": 300}]},
    {"repeats": [{"litres": 0, "seconds": 100}] * 3},
    {"no_water": True, "watched_min": 5, "flow_l_min": 0},
]


@pytest.mark.parametrize("said", WAYS)
def test_however_it_is_told_it_is_a_flow_of_nought_with_the_minutes_watched(installation, said):
    assert told(keep(installation, **said)) == NONE_CAME


def test_a_meter_that_stood_still_is_told_as_such(installation):
    assert told(keep(installation, no_water=True, watched_min=5, flow_by="meter"))[3] == "meter"


REFUSED = [
    ({"no_water": True}, "not_watched", "watched_min"),
    ({"no_water": True, "watched_min": 0}, "not_watched", "watched_min"),
    ({"no_water": True, "watched_min": 5, "flow_l_min": 12}, "water_came", "no_water"),
    ({"watched_min": 5, "repeats": [{"litres": 20, "seconds": 80}]}, "water_came", "no_water"),
    ({"no_water": False, "watched_min": 5}, "water_came", "no_water"),
    ({"no_water": True, "watched_min": 900}, "out_of_range", "watched_min"),
    ({"repeats": [{"litres": 0, "seconds": 0}]}, "fill_incomplete", "repeats"),
    ({"repeats": [{"litres": -1, "seconds": 60}]}, "fill_incomplete", "repeats"),
    ({"repeats": [{"litres": None, "seconds": 60}]}, "fill_incomplete", "repeats"),
]


@pytest.mark.parametrize(("said", "code", "field"), REFUSED)
def test_what_contradicts_itself_or_says_no_time_is_refused(installation, said, code, field):
    with pytest.raises(Refused) as refusal:
        keep(installation, **said)
    assert (refusal.value.code, refusal.value.field) == (code, field)
    assert not SpotTest.objects.exists()


def test_one_empty_fill_among_full_ones_is_a_clumsy_one(installation):
    fills = [{"litres": litres, "seconds": 60} for litres in (20, 0, 18)]
    assert flow_of(fills) == 18
    assert told(keep(installation, repeats=fills))[:3] == (False, 18, None)
    assert without_water({"repeats": fills}) == {"repeats": fills}


def test_the_database_holds_that_minutes_without_water_go_with_no_flow(installation):
    test = a_spot_test(installation)
    for watched, flow in ((5, 12), (0, 0), (-1, 0), (5, None)):
        with pytest.raises(IntegrityError), transaction.atomic():
            SpotTest.objects.filter(pk=test.pk).update(watched_min=watched, flow_l_min=flow)


def test_a_test_brought_in_again_may_find_water_after_all_or_none(installation):
    one = {"installation_id": installation.pk, "at": NOON, "kind": "visit"}
    assert keep_spot_tests([without_water(one | {"watched_min": 5})]) == ["new"]
    assert keep_spot_tests([without_water(one | {"watched_min": 5})]) == ["same"]
    assert keep_spot_tests([without_water(one | {"flow_l_min": 12.0})]) == ["changed"]
    assert told()[:3] == (False, 12, None)
    assert keep_spot_tests([without_water(one | {"watched_min": 7})]) == ["changed"]
    assert told()[:3] == (True, 0, 7)


# -- the ways in -------------------------------------------------------------------------------------------------------


def sent(installation, **row):
    return {"serial": installation.unit.serial, "at": AT, "kind": "visit", "irradiance_w_m2": 800} | row


ROWS = [{"no_water": "yes", "watched_min": 5}, {"watched_min": 5}, {"bucket_l": 0, "seconds": 300}]


@pytest.mark.parametrize("row", ROWS)
def test_a_table_brings_it_in(api_of, nadia, installation, row):
    cells = sent(installation, **row)
    text = ",".join(cells) + "\n" + ",".join(map(str, cells.values())) + "\n"
    answer = api_of(nadia).post("/api/v1/spot-tests/", text, content_type="text/csv")
    assert answer.status_code == 200, answer.content
    assert told() == NONE_CAME


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [({"no_water": True}, "watched_min", "say how many minutes"),
     ({"watched_min": 5, "flow_l_min": 12}, "no_water", "Either water came or none did")],
)  # fmt: skip
def test_a_table_is_told_the_row_and_column_that_contradict(api_of, nadia, installation, row, column, words):
    answer = api_of(nadia).post("/api/v1/spot-tests/", [sent(installation, **row)], format="json")
    assert answer.status_code == 422
    [error] = answer.json()["errors"]
    assert error["record"] == 1 and error["field"] == column and words in error["sentence"]
    assert not SpotTest.objects.exists()


def test_what_is_taken_out_can_be_brought_in_again(organisation, installation):
    from fleet.intake import tables

    keep(installation, no_water=True, watched_min=5)
    [row] = tables.find("spot_tests").rows(organisation)
    assert (row["no_water"], row["watched_min"], row["flow_l_min"], row["bucket_l"]) == (True, 5, 0, None)


def test_a_message_brings_it_in(api_of, nadia, installation):
    base = {"bn": f"{installation.unit.serial}/test/", "bt": NOON.timestamp()}
    pack = [base | {"n": "no-water", "vb": True}, {"n": "watched", "u": "s", "v": 300}]
    answer = api_of(nadia).post("/api/v1/readings/", json.dumps(pack), content_type="application/senml+json")
    assert answer.status_code == 200, answer.content
    assert told() == NONE_CAME


def test_the_api_takes_it_and_tells_it(api_of, nadia, idris, installation):
    address = f"/api/v1/installations/{installation.pk}/spot-tests/"
    said = {"at": AT, "sun_by": "reference_cell", "irradiance_w_m2": 800, "no_water": True}
    refused = api_of(nadia).post(address, said, format="json")
    assert refused.status_code == 409 and refused.json()["errors"][0]["field"] == "watched_min"
    kept = api_of(nadia).post(address, said | {"watched_min": 5}, format="json")
    assert kept.status_code == 201 and kept.json()["answer"]["measured_l_min"] == 0
    record = api_of(idris).get(f"/api/v1/spot-tests/{kept.json()['id']}/").json()
    assert (record["no_water"], record["watched_min"], record["flow_l_min"]) == (True, 5, 0)


def test_the_desk_ticks_it_and_the_pages_say_so(client_of, nadia, installation):
    client, address = client_of(nadia), reverse("output:add_spot", args=[installation.pk])
    form = {"kind": "visit", "day": "2024-06-03", "hour": "12:15", "sun_by": "reference_cell", "flow_by": "bucket",
            "irradiance_w_m2": "800", "no_water": "on"}  # fmt: skip
    page = client.post(address, form)
    assert page.status_code == 422 and "say how many minutes it was watched" in page.content.decode()
    assert "checked" in page.content.decode()
    page = client.post(address, form | {"watched_min": "15"}, follow=True).content.decode().replace("\u00a0", " ")
    assert "No water" in page and "watched 15 min" in page
    listed = client.get(reverse("readings:of", args=[installation.pk]), {"kind": "spot"}).content.decode()
    assert "no water came" in listed and "watched 15 min" in listed
