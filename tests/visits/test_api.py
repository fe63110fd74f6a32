"""The API of visits: what pages show, with the same visibility and the same refusals; faults in one shape."""

import json

import pytest
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import Call, Visit
from tests.makers.people import a_person
from tests.makers.registry import an_installation
from tests.makers.visits import (
    SPOT_READINGS,
    a_call,
    a_visit,
    a_visit_under_way,
    an_assigned_visit,
    record_all,
    values_for,
)

ROOT = "/api/v1/"
TODAY = timezone.localdate().isoformat()


@pytest.fixture
def visit(organisation, idris):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


LISTS = ["visits/", "calls/", "procedures/", "inspection-rules/", "trips/", "findings/"]


@pytest.mark.parametrize("name", LISTS)
def test_each_list_is_for_our_own_people(name, api_of, client, nadia, wanja, otto, visit):
    a_call(visit.site)
    for person in (nadia, wanja):
        assert api_of(person).get(ROOT + name).status_code == 200
    if name in {"visits/", "calls/", "procedures/", "trips/", "inspection-rules/"}:
        assert api_of(nadia).get(ROOT + name).json()["results"]
    assert api_of(otto).get(ROOT + name).json()["results"] == []
    assert client.get(ROOT + name).status_code in {401, 403}


def test_a_record_shows_what_its_page_shows_and_to_nobody_else(api_of, nadia, otto, idris, visit):
    services.start(visit=visit, by=idris)
    visit.refresh_from_db()
    record_all(visit)
    found = api_of(nadia).get(f"{ROOT}visits/{visit.key}/").json()
    assert (found["site"], found["technician"], found["state"]) == (visit.site.code, "idris", "under_way")
    assert len(found["records"]) == len(visit.procedure.steps)
    assert found["spot_tests"][0]["answer"]["verdict"]
    for place in (f"visits/{visit.key}/", f"trips/{visit.trip_id}/", f"procedures/{visit.procedure_id}/"):
        assert api_of(nadia).get(ROOT + place).status_code == 200
        assert api_of(otto).get(ROOT + place).status_code == 404


def test_lists_are_filtered_and_paged_by_key(api_of, nadia, idris, visit, organisation):
    others = [a_visit(an_installation(organisation), "repair") for _ in range(3)]
    api = api_of(nadia)

    def keys(query):
        return {row["key"] for row in api.get(f"{ROOT}visits/?{query}").json()["results"]}

    assert keys("kind=repair") == {str(v.key) for v in others}
    assert keys(f"technician=idris&planned_on={TODAY}") == {str(visit.key)}
    assert keys(f"site={visit.site.code}") == {str(visit.key)}
    assert keys("state=open") == {str(v.key) for v in [visit, *others]}
    first = api.get(f"{ROOT}visits/?per_page=2").json()
    second = api.get(first["next"]).json()
    assert len({r["key"] for r in first["results"] + second["results"]}) == 4
    assert api.get(f"{ROOT}visits/?planned_on=tomorrow").status_code == 400


def test_a_visit_goes_its_whole_way_by_the_api(api_of, nadia, idris, organisation):
    services.set_up(organisation)
    installation = an_installation(organisation)
    desk, phone = api_of(nadia), api_of(idris)
    answer = desk.post(
        f"{ROOT}visits/propose/", {"site": installation.well.site.code, "kind": "inspection"}, format="json"
    )
    assert answer.status_code == 201
    place = f"{ROOT}visits/{answer.json()['key']}/"
    answer = desk.post(f"{place}assign/", {"technician": "idris", "on": TODAY, "version": 1}, format="json")
    assert answer.json()["state"] == "assigned"
    assert phone.post(f"{place}start/").json()["state"] == "under_way"
    visit = Visit.objects.get()
    step = visit.procedure.steps[1]
    body = {"step": step["code"], "values": values_for(step), "cautions_seen": step["cautions"]}
    assert phone.post(f"{place}steps/", body, format="json").status_code == 201
    finding = {"failure_mode": "less_water", "cause": "dirt", "action": "cleaned"}
    assert phone.post(f"{place}findings/", finding, format="json").status_code == 201
    assert phone.post(f"{place}leave/", {"km": 12, "not_done": "the rest"}, format="json").json()["state"] == "logged"
    assert phone.post(f"{place}close/", {"outcome": "in_order"}, format="json").json()["state"] == "closed"
    assert desk.get(f"{ROOT}findings/?cause=dirt").json()["results"][0]["site"] == visit.site.code


def test_refusals_leave_in_one_shape(api_of, nadia, idris, wanja, otto, visit):
    place = f"{ROOT}visits/{visit.key}/"
    body = {"technician": "idris", "on": TODAY}
    answer = api_of(idris).post(f"{place}assign/", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (403, "not_allowed")
    assert api_of(otto).post(f"{place}assign/", body, format="json").status_code == 404
    answer = api_of(nadia).post(f"{place}assign/", {"technician": "idris"}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "on")
    answer = api_of(nadia).post(f"{place}assign/", body | {"technician": "nobody"}, format="json")
    assert answer.status_code == 404
    answer = api_of(nadia).post(f"{place}assign/", body | {"version": 1, "on": "2031-01-01"}, format="json")
    assert answer.status_code == 409
    answer = api_of(a_person(visit.organisation)).post(f"{place}start/")
    assert answer.json()["errors"][0]["code"] == "not_your_visit"
    answer = api_of(idris).post(f"{place}steps/", {"step": "dance"}, format="json")
    assert answer.json()["errors"][0]["code"] == "not_under_way"
    assert api_of(wanja).post(f"{place}call-off/", {"why": "rain"}, format="json").status_code == 403


def test_a_call_is_taken_by_the_api(api_of, idris, wanja, visit):
    body = {"site": visit.site.code, "words": "no water", "answers": {"storm": "yes"}}
    assert api_of(idris).post(f"{ROOT}calls/", body, format="json").status_code == 201
    assert Call.objects.get().answers == {"storm": "yes"}
    assert api_of(wanja).post(f"{ROOT}calls/", body, format="json").status_code == 403
    assert api_of(idris).post(f"{ROOT}calls/", body | {"words": ""}, format="json").status_code == 400


def test_a_long_list_costs_as_many_queries_as_a_short_one(api_of, nadia, visit, organisation):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    api = api_of(nadia)
    api.get(f"{ROOT}visits/")

    def asked():
        with CaptureQueriesContext(connection) as found:
            for name in ("visits/", "trips/", "findings/"):
                api.get(ROOT + name)
        return len(found)

    few = asked()
    for _ in range(6):
        a_visit_under_way(an_installation(organisation))
    assert asked() == few


ODD = [  # values that no page sends
    {"words": {"a": 1}}, {"words": ["x"] * 50}, {"days_without_water": {"n": 1}}, {"days_without_water": [[1]]},
    {"days_without_water": "1e999"}, {"days_without_water": 10**400}, {"since": ["at_once"]}, {"since": {"a": "b"}},
    {"words": "a\0b"}, {"words": "\ud800"}, {"words": 7}, {"words": None}, {"unknown": {"\0": "\0"}},
]  # fmt: skip


@pytest.mark.parametrize("odd", ODD, ids=lambda odd: ascii(odd)[:40])
def test_odd_values_are_refused_or_kept_but_never_break(odd, api_of, idris, visit):
    services.start(visit=visit, by=idris)
    body = {"step": "ask_caretaker", "values": {"words": "fine", "days_without_water": 1, "since": "nothing"} | odd,
            "cautions_seen": ["ALONE", "STORM"]}  # fmt: skip
    answer = api_of(idris).post(
        f"{ROOT}visits/{visit.key}/steps/", json.dumps(body), content_type="application/json"
    )
    assert answer.status_code in {201, 400, 409}, answer.content


ODD_SPOTS = [
    {"repeats": "many"}, {"repeats": [7]}, {"sun_by": "a feeling"}, {"irradiance_w_m2": -5}, {"key": "no key"},
    {"at": "noon"}, {"array_voltage_v": 1e9}, {"flow_by": []}, {"static_level_m": "deep"}, {"notes": "\0"},
]  # fmt: skip


@pytest.mark.parametrize("odd", ODD_SPOTS, ids=ascii)
def test_odd_spot_tests_are_refused_or_kept_but_never_break(odd, api_of, idris, visit):
    services.start(visit=visit, by=idris)
    body = {"step": "spot_test", "values": {"spot": SPOT_READINGS | odd}, "cautions_seen": ["DC"]}
    answer = api_of(idris).post(f"{ROOT}visits/{visit.key}/steps/", body, format="json")
    assert answer.status_code in {201, 400, 409}, answer.content
