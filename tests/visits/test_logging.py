"""What a technician records is kept once, never overwritten, and refused with a sentence where it cannot be."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.readings.models import MeterReading, SpotTest, Standing
from fleet.registry.models import StaticLevel
from fleet.trail.models import Change
from fleet.visits import services
from fleet.visits.models import StepRecord
from fleet.visits.services.values import clean_spot
from fleet.web.refusals import Refused
from tests.makers.people import a_person
from tests.makers.registry import a_unit, an_installation
from tests.makers.visits import SPOT_READINGS, a_visit_under_way, an_assigned_visit, record_all, values_for


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return a_visit_under_way(an_installation(organisation), idris)


def a_step(visit, code):
    return next(s for s in visit.procedure.steps if s["code"] == code)


def record(visit, code, by=None, **changes):
    step = a_step(visit, code)
    known = {"values": values_for(step, visit.installation), "cautions_seen": step["cautions"]}
    return services.record_step(visit=visit, step=code, by=by or visit.technician, **known | changes)


def test_a_technician_arrives_and_the_earlier_time_stands(idris, organisation):
    visit = an_assigned_visit(an_installation(organisation), idris)
    at = timezone.now()
    services.start(visit=visit, by=idris, at=at)
    visit = services.start(visit=visit, by=idris, at=at - timedelta(minutes=20))
    assert visit.arrived_at == at - timedelta(minutes=20)
    assert services.start(visit=visit, by=idris, at=at).arrived_at == at - timedelta(minutes=20)


def test_a_technician_logs_only_their_own_visits(visit, idris, nadia, wanja, otto):
    other = a_person(idris.organisation, "technician")
    for person, code in ((other, "not_your_visit"), (wanja, "not_allowed"), (otto, "not_yours")):
        with pytest.raises(Refused) as refusal:
            record(visit, "ask_caretaker", by=person)
        assert refusal.value.code == code
    record(visit, "ask_caretaker", by=nadia)  # she types in a paper sheet
    assert visit.records.get().by == nadia


def test_a_step_is_not_kept_before_its_caution_is_acknowledged(visit):
    with pytest.raises(Refused, match="caution") as refusal:
        record(visit, "strings_isolated", cautions_seen=[])
    assert refusal.value.field == "cautions_seen"
    assert not visit.records.exists()


def test_a_step_may_be_skipped_with_a_reason(visit):
    kept, _broken = record(visit, "cut_offs", values={}, cautions_seen=[], skipped_why="ladder is broken")
    assert kept.skipped_why == "ladder is broken"
    assert kept.passed is None


def test_a_broken_rule_is_said_and_the_record_is_kept(visit):
    kept, sentences = record(visit, "look", values=values_for(a_step(visit, "look")) | {"cracked": True})
    assert kept.passed is False
    assert "cracked module" in sentences[0]


WRONG = [  # step, capture, value, code of the refusal
    ("ask_caretaker", "days_without_water", "many", "not_a_number"),
    ("ask_caretaker", "days_without_water", -1, "out_of_range"),
    ("ask_caretaker", "days_without_water", True, "not_a_number"),
    ("ask_caretaker", "since", "long ago", "unknown_code"),
    ("ask_caretaker", "words", "", "missing"),
    ("arrive", "right_site", "perhaps", "not_yes_no"),
    ("string_currents", "string_a", [], "missing"),
]


@pytest.mark.parametrize(("step", "capture", "value", "code"), WRONG)
def test_wrong_values_are_refused_by_their_capture(visit, step, capture, value, code):
    values = values_for(a_step(visit, step), visit.installation) | {capture: value}
    with pytest.raises(Refused) as refusal:
        record(visit, step, values=values)
    assert (refusal.value.code, refusal.value.field) == (code, capture)


def test_a_decimal_comma_is_read(visit):
    values = values_for(a_step(visit, "ask_caretaker")) | {"days_without_water": "2,5"}
    kept, _broken = record(visit, "ask_caretaker", values=values)
    assert kept.values["days_without_water"] == 2.5


def test_the_same_record_sent_twice_is_kept_once(visit):
    key = uuid.uuid4()
    first, _ = record(visit, "ask_caretaker", key=key)
    again, _ = record(visit, "ask_caretaker", key=key, values={"words": "something else"})
    assert first == again
    assert StepRecord.objects.filter(visit=visit).count() == 1


def test_a_correction_names_the_old_record_and_both_stay(visit):
    first, _ = record(visit, "ask_caretaker")
    second, _ = record(visit, "ask_caretaker", values=values_for(a_step(visit, "ask_caretaker")) | {"words": "better"})
    assert second.replaces == first
    assert visit.records.count() == 2
    assert services.current_records(visit)["ask_caretaker"] == second


def test_a_spot_test_that_was_corrected_counts_no_more(visit):
    record(visit, "spot_test", values={"spot": SPOT_READINGS | {"array_current_a": 61}})
    record(visit, "spot_test")
    first, second = SpotTest.objects.order_by("at")
    assert (first.standing, second.standing) == (Standing.SET_ASIDE, Standing.GOOD)


def test_a_spot_test_typed_at_the_desk_with_a_slip_waits_until_it_is_corrected(visit):
    record(visit, "spot_test", values={"spot": SPOT_READINGS | {"array_current_a": 61}})
    first = SpotTest.objects.get()
    assert (first.standing, first.slips.get().state) == (Standing.IN_DOUBT, "open")
    record(visit, "spot_test")
    first.refresh_from_db()
    assert (first.standing, first.slips.get().state) == (Standing.SET_ASIDE, "aside")


def test_a_spot_test_is_kept_among_the_readings_and_answered_at_once(visit, idris):
    kept, _broken = record(visit, "spot_test")
    test = SpotTest.objects.get()
    assert test.flow_l_min == pytest.approx(60 * 20 / 79)
    assert (test.kind, test.taken_by, test.array_current_a) == ("visit", idris, 6.1)
    assert kept.values["spot"]["answer"]["verdict"] in {"as_expected", "below", "above", "cannot_tell"}
    assert visit.spot_tests.get().answer == kept.values["spot"]["answer"]


def test_a_fill_without_seconds_is_refused_and_nothing_is_half_kept(visit):
    readings = SPOT_READINGS | {"repeats": [{"litres": 20, "seconds": None}]}
    with pytest.raises(Refused, match="each fill needs litres, 0 where none came, and seconds"):
        record(visit, "spot_test", values={"spot": readings})
    assert not SpotTest.objects.exists()
    assert not visit.records.exists()


def test_a_finding_is_five_things_from_lists(visit, idris):
    finding = services.add_finding(
        visit=visit, by=idris, failure_mode="less_water", mechanism="worn", cause="pump_worn", detection="reading",
        action="none", item="pump",
    )  # fmt: skip
    assert finding.noted_by == idris
    with pytest.raises(Refused) as refusal:
        services.add_finding(visit=visit, by=idris, failure_mode="less_water", cause="gremlins", action="none")
    assert refusal.value.field == "cause"
    services.take_back_finding(finding=finding, why="wrong well", by=idris)
    assert not visit.findings.standing().exists()
    assert visit.findings.count() == 1


def test_a_pump_in_is_found_by_its_serial_unless_it_hangs_elsewhere(visit, idris, organisation):
    store = a_unit(organisation)
    used = services.use_part(
        visit=visit, part_type="pump", by=idris, serial_out=visit.installation.unit.serial,
        serial_in=store.serial.lower(),
    )  # fmt: skip
    assert (used.unit_out, used.unit_in) == (visit.installation.unit, store)
    elsewhere = an_installation(organisation)
    with pytest.raises(Refused, match="hangs at"):
        services.use_part(visit=visit, part_type="pump", by=idris, serial_in=elsewhere.unit.serial)
    with pytest.raises(Refused, match="list of parts"):
        services.use_part(visit=visit, part_type="flying carpet", by=idris)


def test_closing_keeps_the_meter_figure_and_the_rested_level(idris, organisation):
    visit = a_visit_under_way(an_installation(organisation), idris, kind="commissioning")
    record(visit, "static_level", values={"static_level_m": 21.3, "rested_h": 9})
    services.leave(visit=visit, by=idris, km=84, caretaker_words="all well", not_done="the rest")
    visit.refresh_from_db()
    assert (visit.state, visit.km) == ("logged", 84)
    services.close(visit=visit, outcome="in_order", by=idris)
    assert StaticLevel.objects.filter(well=visit.installation.well, level_m=21.3, hours_since_pumped=9).exists()


def test_the_meter_figure_is_a_reading_with_its_hour(visit, idris):
    values = values_for(a_step(visit, "meter")) | {"meter_total_l": 123456, "meter_at": "06:30"}
    record(visit, "meter", values=values)
    services.leave(visit=visit, by=idris, not_done="the rest")
    services.leave(visit=visit, by=idris)
    services.close(visit=visit, outcome="in_order", by=idris)
    reading = MeterReading.objects.get(installation=visit.installation)
    assert reading.total_l == 123456


def test_nothing_more_is_written_on_a_visit_called_off(visit, idris, nadia):
    services.cancel(visit=visit, why="flood", by=nadia)
    with pytest.raises(Refused, match="called off: flood"):
        record(visit, "ask_caretaker")


def test_the_trail_knows_every_record(visit):
    record(visit, "ask_caretaker")
    assert Change.objects.filter(table="visits_steprecord", kind="I").count() == 1


def test_a_whole_inspection_can_be_recorded(visit):
    record_all(visit)
    assert services.open_steps(visit) == []
    assert StepRecord.objects.filter(visit=visit).count() == len(visit.procedure.steps)


def with_spot(visit, **readings):
    step = a_step(visit, "spot_test")
    return record(visit, "spot_test", values={step["captures"][0]["code"]: {**SPOT_READINGS, **readings}})[0]


def test_the_bucket_is_the_flow_and_the_meter_read_beside_it_is_kept_as_the_meter_s(visit):
    with_spot(visit, flow_l_min="11,0")
    test = SpotTest.objects.get()
    assert (test.flow_by, round(test.flow_l_min, 1), test.meter_flow_l_min) == ("bucket", 15.2, 11.0)
    assert not visit.spot_tests.get().answer["waterfall"]["meter"]["agrees"]


def test_a_meter_alone_is_the_flow(visit):
    with_spot(visit, flow_l_min=15, repeats=[])
    test = SpotTest.objects.get()
    assert (test.flow_by, test.flow_l_min, test.meter_flow_l_min) == ("meter", 15, None)


NONE_CAME = [{"no_water": True, "watched_min": "12,5", "flow_l_min": "9"},
             {"repeats": [{"litres": 0, "seconds": 250}] * 3}]  # fmt: skip


@pytest.mark.parametrize("said", NONE_CAME, ids=["ticked", "empty fills"])
def test_no_water_is_a_flow_of_nought_with_the_minutes_watched_and_judged_as_such(visit, said):
    kept = with_spot(visit, **said)
    test = SpotTest.objects.get()
    assert (test.no_water, test.watched_min, test.flow_by, test.repeats) == (True, 12.5, "bucket", [])
    assert kept.values["spot"]["answer"]["verdict"] == "below" and kept.passed is False


def test_no_water_without_the_minutes_is_asked_for_at_the_desk_and_kept_from_an_unfinished_telephone(visit, idris):
    with pytest.raises(Refused) as refusal:
        with_spot(visit, no_water=True, watched_min="")
    assert (refusal.value.code, refusal.value.field) == ("not_watched", "watched_min")
    readings = clean_spot(SPOT_READINGS | {"no_water": True}, "spot")
    test, answer = services.log_spot_test(visit=visit, readings=readings, kind="visit", by=idris)
    assert (test.no_water, test.watched_min, test.flow_by) == (True, None, "bucket")
    assert answer["verdict"] == "below" and "minutes" not in answer["because"]


def test_a_spot_test_takes_what_other_steps_of_the_visit_measured(idris, organisation):
    services.set_up(organisation)
    visit = a_visit_under_way(an_installation(organisation), idris, kind="commissioning")
    step = a_step(visit, "loop_earth")
    record(visit, "loop_earth", values={**values_for(step, visit.installation), "loop_ohm": 2.4})
    first = {**values_for(a_step(visit, "first_water"), visit.installation), "first_water_min": 4, "main": "full"}
    record(visit, "first_water", values=first)
    spot = next(s for s in visit.procedure.steps if any(c["kind"] == "spot" for c in s["captures"]))
    record(visit, spot["code"])
    test = SpotTest.objects.get()
    assert (test.loop_ohm, test.first_water_min, test.main_was_full) == (2.4, 4, True)
    assert services.known_of(visit.installation)["last_loop_ohm"] == 2.4, "the next visit is held against it"
