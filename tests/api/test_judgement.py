"""Judged days, shortfalls, flags, baselines, the working and the answers, for programs."""

from datetime import date, timedelta

import pytest

from fleet.output.models import Evaluation, Flag
from fleet.output.services import answer_spot, baselines, working
from fleet.readings.models import MeterReading, Slip, SpotTest
from fleet.registry.models import Installation
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.readings import NOON, a_round, a_slip, a_spot_test, an_exchange, days_of
from tests.makers.registry import an_installation

ROOT = "/api/v1/"


@pytest.fixture
def one(organisation):
    return an_installation(organisation)


@pytest.fixture
def reads(nadia, api_of):
    """`reads("flags/?serial=…")` is what Nadia's program reads there."""
    api = api_of(nadia)

    def read(address, status=200):
        answer = api.get(ROOT + address)
        assert answer.status_code == status, answer.content
        return answer.json()

    return read


def test_judged_days_over_the_fleet_are_narrowed_by_day_and_place(one, organisation, reads, otto, api_of):
    other = an_installation(organisation)
    judged_days(one, date(2026, 3, 1), [(5000, 4500), (5000, None), (5000, 4000)])
    judged_days(other, date(2026, 3, 2), [(6000, 6100)])
    rows = reads("evaluations/")["results"]
    assert [(r["serial"], r["day"]) for r in rows] == [
        (one.unit.serial, "2026-03-01"), (one.unit.serial, "2026-03-02"), (one.unit.serial, "2026-03-03"),
        (other.unit.serial, "2026-03-02"),
    ]  # fmt: skip
    assert len(reads("evaluations/?from=2026-03-02&to=2026-03-02")["results"]) == 2
    assert len(reads(f"evaluations/?installation={one.pk}&from=2026-03-02")["results"]) == 2
    assert len(reads(f"evaluations/?site={other.well.site.code}")["results"]) == 1
    page = reads("evaluations/?per_page=3")
    assert page["next"] and len(reads(page["next"].split(ROOT)[1])["results"]) == 1
    assert api_of(otto).get(f"{ROOT}evaluations/").json()["results"] == []


def test_a_day_says_whether_the_tank_was_full_or_the_well_dry(one, reads):
    judged_days(one, date(2026, 3, 1), [(5000, 4500), (5000, 700), (5000, 4000)])
    Evaluation.objects.filter(installation=one, day=date(2026, 3, 2)).update(dry=True)
    Evaluation.objects.filter(installation=one, day=date(2026, 3, 3)).update(idle=True)
    told = [(False, False), (False, True), (True, False)]
    assert [(row["idle"], row["dry"]) for row in reads("evaluations/")["results"]] == told
    days = reads(f"installations/{one.pk}/days/?first=2026-03-01&last=2026-03-03")
    assert [(row["idle"], row["dry"]) for row in days] == told
    days_of(one, [3000], first="2026-03-04")
    (unjudged,) = reads(f"installations/{one.pk}/days/?first=2026-03-04&last=2026-03-04")
    assert unjudged["dry"] is None and unjudged["reported_l"] == 3000


WRONG = ["from=March", "to=9999-12-31", "from=2026-03-02&to=2026-03-01", "installation=one",
         "installation=-1", "installation=" + "9" * 30, "serial=a%00b", "site=" + "x" * 200]  # fmt: skip


@pytest.mark.parametrize("asked", WRONG)
def test_a_filter_that_cannot_be_read_is_refused_and_not_left_out(asked, reads, one):
    for name in ("evaluations/", "day-records/", "spot-tests/"):
        (error,) = reads(f"{name}?{asked}", status=400)["errors"]
        assert error["sentence"] and error["field"] in {"from", "to", "installation", "serial", "site"}


def test_a_place_that_is_not_ours_narrows_to_nothing(one, other_organisation, reads):
    theirs = an_installation(other_organisation)
    judged_days(theirs, date(2026, 3, 1), [(5000, 4500)])
    judged_days(one, date(2026, 3, 1), [(5000, 4500)])
    district = theirs.well.site.district.name
    for asked in (f"serial={theirs.unit.serial}", f"district={district}", f"installation={theirs.pk}", "site=NO"):
        assert reads(f"evaluations/?{asked}")["results"] == []
    assert len(reads(f"evaluations/?pump_type={one.unit.pump_type.name}")["results"]) == 1


def test_shortfalls_are_narrowed_by_what_the_list_shows(one, organisation, reads, otto, api_of):
    other = an_installation(organisation)
    strong = a_shortfall(one, probability=0.99, lost_l_day=3000)
    dirt = [{"cause": "dirt", "odds": 0.7}]
    weak = a_shortfall(other, probability=0.6, lost_l_day=300, state="noted", causes=dirt)

    def ids(asked):
        return [row["id"] for row in reads(f"shortfalls/?{asked}")["results"]]

    assert ids("") == [strong.pk, weak.pk]
    assert ids("min_probability=0.9") == ids("min_lost_l_day=1000") == ids("state=open") == [strong.pk]
    assert ids("cause=dirt") == ids(f"pump_type={other.unit.pump_type.name}") == [weak.pk]
    assert ids(f"district={other.well.site.district.name}") == [weak.pk]
    assert ids(f"serial={one.unit.serial}") == [strong.pk]
    assert ids("from=2026-03-11") == []
    for wrong in ("state=asleep", "min_probability=2", "min_probability=nan", "cause=magic"):
        assert reads(f"shortfalls/?{wrong}", status=400)["errors"][0]["sentence"]
    Flag.objects.create(shortfall=strong, installation=one, flagged_on=date(2026, 3, 10), causes=strong.causes)
    assert reads("flags/")["results"][0]["shortfall"] == strong.pk
    assert reads(f"shortfalls/{strong.pk}/")["flags"][0]["flagged_on"] == "2026-03-10"
    assert reads(f"shortfalls/{strong.pk}/")["spot_tests"] == []
    weak.evidence = {"tests": [{"day": "2026-03-02", "flow": 8.1, "low": 11.0, "high": 14.9, "bucket": True}]}
    weak.save()
    assert reads(f"shortfalls/{weak.pk}/")["spot_tests"] == weak.evidence["tests"]
    assert api_of(otto).get(f"{ROOT}flags/").json()["results"] == []


def test_baselines_and_their_troubles(one, organisation, reads, otto, api_of):
    bare = an_installation(organisation, pipe=None)
    baselines(Installation.objects.filter(pk__in=[one.pk, bare.pk]).values_list("pk", flat=True))
    assert [row["installation"] for row in reads("baselines/")["results"]] == [one.pk, bare.pk]
    (trouble,) = reads("baselines/?trouble=1&hanging=yes")["results"]
    assert trouble["installation"] == bare.pk and "pipe" in trouble["trouble"]
    whole = reads(f"baselines/{one.pk}/")
    assert len(whole["volume_l_day"]) == 12 and whole["card"]
    assert api_of(otto).get(f"{ROOT}baselines/{one.pk}/").status_code == 404


def test_the_working_says_every_number_that_the_page_does(one, reads, otto, api_of):
    judged_days(one, date(2026, 3, 1), [(5000, 4500)])
    found = reads(f"installations/{one.pk}/working/?day=2026-03-01&sun_kwh_m2=6")
    wanted = working(one, date(2026, 3, 1), 6.0)
    words = ("name", "symbol", "unit", "formula", "source", "origin")
    said = [tuple(step[word] for word in words) for step in found["steps"]]
    assert said == [tuple(getattr(step, word) for word in words) for step in wanted["steps"]]
    figures = [(s["value"], w.value) for s, w in zip(found["steps"], wanted["steps"], strict=True)]
    assert all(got == pytest.approx(float(due)) for got, due in figures if got is not None and not isinstance(due, str))
    assert found["sun_kwh_m2"] == 6 and found["evaluation"]["measured_l"] == 4500
    assert [(row["name"], row["shown"]) for row in found["inputs"]] == [(i.name, i.shown) for i in wanted["inputs"]]
    assert found["hours"]["start_h"] == wanted["hours"].start_h and len(found["hours"]["flow_l_min"]) == 24
    assert [cost["by_month_l"] for cost in found["frame_costs"]] == [c.by_month_l for c in wanted["frame_costs"]]
    assert reads(f"installations/{one.pk}/working/")["sun_source"]
    assert reads(f"installations/{one.pk}/working/?day=March", status=400)["errors"][0]["field"] == "day"
    assert api_of(otto).get(f"{ROOT}installations/{one.pk}/working/").status_code == 404


def test_what_cannot_be_worked_out_says_why(organisation, reads):
    bare = an_installation(organisation, pipe=None)
    assert "pipe" in reads(f"installations/{bare.pk}/working/", status=409)["errors"][0]["sentence"]


def test_the_flow_that_is_right_for_a_sun_and_a_level(one, reads, otto, api_of):
    address = f"installations/{one.pk}/expected-flow/?irradiance_w_m2=850&static_level_m=22&at=2024-06-03T09:30:00Z"
    found = reads(address)
    values = {"irradiance_w_m2": 850.0, "static_level_m": 22.0, "at": NOON, "sun_by": "reference_cell",
              "flow_by": "bucket"}  # fmt: skip
    assert found["expected_l_min"] == answer_spot(one, values)["expected_l_min"]
    assert found["verdict"] == "cannot_tell" and found["measured_l_min"] is None
    judged = reads(f"{address}&flow_l_min={found['expected_l_min']['middle'] * 0.5}")
    assert judged["verdict"] == "below" and judged["stages"]
    assert reads(f"installations/{one.pk}/expected-flow/")["expected_l_min"] is None
    for wrong in ("irradiance_w_m2=-5", "irradiance_w_m2=much", "at=2024-06-03T09:30:00", "sun_by=guess"):
        assert reads(f"installations/{one.pk}/expected-flow/?{wrong}", status=400)["errors"][0]["sentence"]
    assert api_of(otto).get(ROOT + address).status_code == 404


def test_a_technician_enters_a_spot_test_once_and_is_answered_at_once(one, idris, wanja, otto, api_of):
    fills = [{"litres": 20, "seconds": 80}, {"litres": 20, "seconds": 84}]
    body = {"key": "6a7f2a6e-54dd-4b0e-8b0e-3a1de7b9f001", "at": NOON.isoformat(), "irradiance_w_m2": 850,
            "static_level_m": 22, "repeats": fills}  # fmt: skip
    address = f"{ROOT}installations/{one.pk}/spot-tests/"
    made = api_of(idris).post(address, body, format="json")
    assert made.status_code == 201 and made.json()["answer"]["verdict"]
    again = api_of(idris).post(address, body, format="json")
    assert again.status_code == 200 and not again.json()["new"]
    test = SpotTest.objects.get()
    assert test.flow_l_min == pytest.approx(14.64, abs=0.01) and test.taken_by == idris
    answer = api_of(idris).get(f"{ROOT}spot-tests/{test.pk}/answer/").json()
    assert answer == made.json()["answer"]
    assert api_of(wanja).post(address, body, format="json").status_code == 403
    assert api_of(otto).post(address, body, format="json").status_code == 404
    for change, field in (({"irradiance_w_m2": 9000}, "irradiance_w_m2"), ({"at": "2020-01-01T00:00:00Z"}, "at"),
                          ({"at": "2024-06-03T09:00:00"}, "at"), ({"flow_l_min": "NaN"}, "flow_l_min")):  # fmt: skip
        another = "6a7f2a6e-54dd-4b0e-8b0e-3a1de7b9f002"
        refused = api_of(idris).post(address, {**body, **change, "key": another}, format="json")
        assert refused.status_code in {400, 409} and refused.json()["errors"][0]["field"] == field


def test_a_meter_figure_is_entered_and_a_lower_one_waits_for_a_person(one, idris, wanja, otto, api_of):
    address = f"{ROOT}installations/{one.pk}/meter-readings/"
    body = {"at": "2024-06-03T09:30:00Z", "total_l": 100_000}
    assert api_of(idris).post(address, body, format="json").json()["standing"] == 0
    lower = {"day": "2024-06-10", "total_l": 90_000}
    kept = api_of(idris).post(address, lower, format="json")
    assert kept.status_code == 201 and kept.json()["standing"] == 1 and not kept.json()["hour_known"]
    assert Slip.objects.get().kind == "backwards"
    refused = api_of(idris).post(address, body | {"total_l": 5}, format="json")
    assert refused.status_code == 409 and refused.json()["errors"][0]["code"] == "already_there"
    assert api_of(idris).post(address, {"total_l": 5}, format="json").json()["errors"][0]["field"] == "at"
    assert api_of(wanja).post(address, body, format="json").status_code == 403
    assert api_of(otto).post(address, body, format="json").status_code == 404
    assert MeterReading.objects.count() == 2


def test_a_figure_in_doubt_is_settled_once(one, nadia, idris, otto, reads, api_of):
    slip = a_slip(MeterReading.objects.create(installation=one, at=NOON, total_l=1_000_000, standing=1))
    listed = reads("slips/?state=open&kind=slip_of_ten&subject=meter")["results"]
    assert [row["id"] for row in listed] == [slip.pk] and reads(f"slips/{slip.pk}/")["suggested"] == 100_000
    address = f"{ROOT}slips/{slip.pk}/settle/"
    assert api_of(idris).post(address, {"how": "keep"}, format="json").status_code == 403
    assert api_of(otto).post(address, {"how": "keep"}, format="json").status_code == 404
    other = {"how": "other"}
    for body, field in (({"how": "dance"}, "how"), (other, "value"), (other | {"value": -1}, "value"),
                        (other | {"value": "NaN"}, "value")):  # fmt: skip
        refused = api_of(nadia).post(address, body, format="json")
        assert refused.status_code in {400, 409} and refused.json()["errors"][0]["field"] == field
    settled = api_of(nadia).post(address, {"how": "as_suggested"}, format="json")
    assert (settled.status_code, settled.json()["state"], settled.json()["settled_by"]) == (200, "corrected", "nadia")
    assert MeterReading.objects.get().total_l == 100_000
    assert api_of(nadia).post(address, {"how": "keep"}, format="json").json()["errors"][0]["code"] == "already_settled"
    assert [row["id"] for row in reads("slips/?state=settled")["results"]] == [slip.pk]
    assert reads("slips/?state=open")["results"] == []


def test_readings_are_narrowed_by_standing_and_kind(one, reads):
    a_spot_test(one)
    a_spot_test(one, kind="visit", at=NOON + timedelta(days=1), standing=1)
    days_of(one, [4000, 4100])
    assert len(reads("spot-tests/?kind=visit")["results"]) == 1
    assert len(reads("spot-tests/?standing=in_doubt")["results"]) == 1
    assert len(reads("day-records/?standing=good")["results"]) == 2
    assert reads("noon-records/")["results"] == []
    assert reads("spot-tests/?standing=odd", status=400)["errors"][0]["field"] == "standing"


def test_the_one_setting_is_the_managers(nadia, wanja, reads, api_of):
    assert reads("alarms/")["false_alarms_per_100_unit_years"] == 10
    body = {"false_alarms_per_100_unit_years": 4}
    assert api_of(nadia).put(f"{ROOT}alarms/", body, format="json").status_code == 403
    answer = api_of(wanja).put(f"{ROOT}alarms/", body, format="json")
    assert answer.status_code == 200 and answer.json()["false_alarms_per_100_unit_years"] == 4
    for wrong in (0.1, 500, "NaN", None):
        body = {"false_alarms_per_100_unit_years": wrong}
        assert api_of(wanja).put(f"{ROOT}alarms/", body, format="json").status_code == 400
    assert not Evaluation.objects.exists()


def test_a_program_settles_an_exchange_and_a_round_as_the_page_does(nadia, organisation, api_of):
    one, other = an_exchange(an_installation(organisation), an_installation(organisation))
    started = a_round(an_installation(organisation))
    api = api_of(nadia)
    said = {row["id"]: row for row in api.get(f"{ROOT}slips/?state=open").json()["results"]}
    assert said[one.pk]["other_serial"] == other.installation.unit.serial
    assert "Exchange with" in said[one.pk]["will"] and "were due" in said[one.pk]["why"]
    assert "remember that for this meter" in said[started.pk]["will"]
    for slip in (one, started):
        answer = api.post(f"{ROOT}slips/{slip.pk}/settle/", {"how": "as_suggested"}, format="json")
        assert (answer.status_code, answer.json()["state"]) == (200, "corrected")
    assert api.get(f"{ROOT}slips/?state=open").json()["results"] == []
    answer = api.post(f"{ROOT}slips/{other.pk}/settle/", {"how": "as_suggested"}, format="json")
    assert answer.status_code == 409 and answer.json()["errors"][0]["code"] == "already_settled"


def test_half_an_exchange_promises_nothing_to_programs(nadia, organisation, api_of):
    one, other = an_exchange(an_installation(organisation), an_installation(organisation))
    api = api_of(nadia)
    assert api.get(f"{ROOT}slips/{one.pk}/").json()["will"]
    api.post(f"{ROOT}slips/{other.pk}/settle/", {"how": "aside"}, format="json")
    (left,) = api.get(f"{ROOT}slips/?state=open").json()["results"]
    assert (left["id"], left["will"]) == (one.pk, "") and api.get(f"{ROOT}slips/{one.pk}/").json()["will"] == ""
    answer = api.post(f"{ROOT}slips/{one.pk}/settle/", {"how": "as_suggested"}, format="json")
    assert answer.json()["errors"][0]["code"] == "other_settled"
