"""A spot test is answered at once: the range that is right for this sun and level, and a verdict."""

import json

import numpy as np
import pytest

from fleet.output import pictures
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Judgement
from fleet.output.services import answer_spot
from sizing import cable, chain
from tests.makers.readings import NOON, a_spot_test, later
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
SUN, AIR, LEVEL = 850.0, 30.0, 22.0


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


@pytest.fixture
def right(installation):
    """What the chain gives there at that sun and level."""
    fleet = read_fleet([installation.pk], 2024).fleet
    spot = chain.spot(fleet, SUN, AIR, LEVEL)
    return {
        "at": later(days=30), "sun_by": "reference_cell", "irradiance_w_m2": SUN, "air_c": AIR, "flow_by": "bucket",
        "static_level_m": LEVEL, "flow_l_min": float(spot.flow_l_min[0]),
        "array_voltage_v": float(spot.array_voltage_v[0]), "array_current_a": float(spot.array_current_a[0]),
    }  # fmt: skip


VERDICTS = [(1.0, "as_expected"), (0.93, "as_expected"), (0.6, "below"), (1.6, "above"), (10, "above")]


@pytest.mark.parametrize(("share", "verdict"), VERDICTS)
def test_verdict_by_how_much_flowed(installation, right, share, verdict):
    answer = answer_spot(installation, right | {"flow_l_min": right["flow_l_min"] * share})
    assert answer["verdict"] == verdict
    assert answer["because"]
    assert answer["ratio"] == pytest.approx(share, rel=1e-3)
    json.dumps(answer)  # it is stored with the visit


@pytest.mark.parametrize(("part", "words"), [
    (0.9, "Within what is right"), (1.1, "A little outside the range"), (1.4, "A little outside the range"),
])  # fmt: skip
@pytest.mark.parametrize("side", ["low", "high"])
def test_what_lies_outside_the_range_that_is_shown_is_not_called_within_it(installation, right, side, part, words):
    shown = answer_spot(installation, right)["expected_l_min"]
    flow = shown["middle"] + part * (shown[side] - shown["middle"])
    answer = answer_spot(installation, right | {"flow_l_min": flow})
    inside = answer["expected_l_min"]["low"] <= flow <= answer["expected_l_min"]["high"]
    assert answer["verdict"] == "as_expected" and words in answer["because"] and inside == ("Within" in words)


CANNOT = [
    {"irradiance_w_m2": None},
    {"irradiance_w_m2": 120},
    {"flow_l_min": None},
]


@pytest.mark.parametrize("change", CANNOT)
def test_cannot_tell_says_why(installation, right, change):
    answer = answer_spot(installation, right | change)
    assert answer["verdict"] == "cannot_tell"
    assert answer["because"]


def test_what_would_be_right_is_told_before_any_flow_is_measured(installation, right):
    measured = answer_spot(installation, right)
    asked = answer_spot(installation, right | {"flow_l_min": None})
    assert asked["expected_l_min"] == measured["expected_l_min"]
    assert asked["rests_on"] == measured["rests_on"]
    assert asked["measured_l_min"] is None and asked["stages"] == []


def test_why_nothing_can_be_computed_is_said(organisation):
    installation = an_installation(organisation, pipe=None)
    answer = answer_spot(installation, {"irradiance_w_m2": 800, "flow_l_min": 10, "sun_by": "reference_cell"})
    assert answer["verdict"] == "cannot_tell"
    assert "pipe" in answer["because"]


def width(answer):
    expected = answer["expected_l_min"]
    return (expected["high"] - expected["low"]) / expected["middle"]


def test_own_tests_narrow_and_move_the_range_and_less_knowledge_widens_it(installation, right):
    before = answer_spot(installation, right)
    for hour in (0, 1, 2):
        a_spot_test(
            installation, at=later(hours=hour), irradiance_w_m2=SUN, air_c=AIR, static_level_m=LEVEL,
            flow_l_min=right["flow_l_min"] * 1.08,
        )  # fmt: skip
    after = answer_spot(installation, right)
    assert after["expected_l_min"]["middle"] > before["expected_l_min"]["middle"] * 1.03
    assert width(after) < width(before)
    assert width(answer_spot(installation, right | {"sun_by": "clear_sky"})) > width(after)
    assert width(answer_spot(installation, right | {"static_level_m": None})) > width(after)


def test_what_the_judgement_learned_of_the_unit_counts(installation, right):
    Judgement.objects.create(installation=installation, level_ratio=0.9, recent_ratio=0.98)
    middle = answer_spot(installation, right)["expected_l_min"]["middle"]
    assert middle == pytest.approx(0.9 * right["flow_l_min"], rel=1e-3)


def loss(answer):
    return {step["stage"]: step["loss_l_min"] for step in answer["waterfall"]["steps"]}


def test_each_loss_is_put_where_it_is(installation, right):
    sound = loss(answer_spot(installation, right))
    assert sound["well"] == sound["array"] == 0
    assert abs(sound["pump"]) < 0.03 * right["flow_l_min"]
    dirty = loss(answer_spot(installation, right | {"array_current_a": right["array_current_a"] * 0.6}))
    assert dirty["array"] > 0.15 * right["flow_l_min"]
    deep = loss(answer_spot(installation, right | {"static_level_m": LEVEL + 10}))
    assert deep["well"] > 0.1 * right["flow_l_min"]
    worn = loss(answer_spot(installation, right | {"flow_l_min": right["flow_l_min"] * 0.6}))
    assert worn["pump"] == pytest.approx(0.4 * right["flow_l_min"], abs=0.03 * right["flow_l_min"])
    assert worn["array"] == 0


def test_losses_add_up_to_the_whole_difference(installation, right):
    answer = answer_spot(installation, right | {"static_level_m": 28.0, "flow_l_min": right["flow_l_min"] * 0.5})
    whole = chain.spot(read_fleet([installation.pk], 2024).fleet, SUN, AIR, LEVEL).flow_l_min[0]
    assert np.sum(list(loss(answer).values())) == pytest.approx(whole - answer["measured_l_min"], rel=0.03)


def test_a_modules_own_current_tells_the_sun(installation, right):
    given = right | {"irradiance_w_m2": None, "module_isc_a": 8.79 * 0.85, "cell_c": 25.0}
    assert answer_spot(installation, given)["irradiance_w_m2"] == 850


def test_a_kept_test_is_not_its_own_yardstick(installation, right):
    kept = a_spot_test(installation, at=NOON, irradiance_w_m2=SUN, flow_l_min=right["flow_l_min"] * 1.3)
    assert answer_spot(installation, kept)["ratio"] == pytest.approx(1.3, abs=0.02)


def steps(answer):
    return {step["stage"]: step for step in answer["waterfall"]["steps"]}


def lost_at(installation, readings):
    return {stage: step["loss_l_min"] for stage, step in steps(answer_spot(installation, readings)).items()}


def test_the_waterfall_runs_from_what_is_right_to_what_was_measured(installation, right):
    for change in ({}, {"flow_l_min": 5.0}, {"array_voltage_v": None, "array_current_a": None}, {"loop_ohm": 2.5}):
        fall = answer_spot(installation, right | change)["waterfall"]
        losses = sum(step["loss_l_min"] for step in fall["steps"])
        assert fall["start"]["l_min"] - losses == pytest.approx(fall["end"]["l_min"], abs=0.06), change
        for step in fall["steps"]:
            assert step["low_l_min"] <= step["loss_l_min"] <= step["high_l_min"]


def test_each_stage_takes_the_loss_that_was_put_there(installation, right):
    fleet = read_fleet([installation.pk], 2024).fleet
    flow = right["flow_l_min"]
    assert max(map(abs, lost_at(installation, right | {"static_level_m": None}).values())) < 0.12 * flow

    dirty = chain.spot(fleet, SUN, AIR, LEVEL, chain.Faults(soiling_extra=0.4))
    found = lost_at(installation, right | read_off(dirty))
    assert found["array"] == max(found.values())
    assert found["array"] == pytest.approx(flow - float(dirty.flow_l_min[0]), rel=0.2)

    sound = float(cable_ohm(fleet)) + 0.8  # the motor's own
    a_spot_test(installation, at=NOON, loop_ohm=sound, kind="visit")
    joint = chain.spot(fleet, SUN, AIR, LEVEL, chain.Faults(series_resistance_ohm=3.0))
    found = lost_at(installation, right | read_off(joint) | {"loop_ohm": sound + 3.0})
    assert found["cable"] == max(found.values())

    deep = chain.spot(fleet, SUN, AIR, LEVEL + 9)
    found = lost_at(installation, right | read_off(deep) | {"static_level_m": LEVEL + 9})
    assert found["well"] == max(found.values())

    found = lost_at(installation, right | {"flow_l_min": 0.55 * flow})
    assert found["pump"] == max(found.values())


def read_off(spot):
    return {
        "flow_l_min": float(spot.flow_l_min[0]), "array_voltage_v": float(spot.array_voltage_v[0]),
        "array_current_a": float(spot.array_current_a[0]),
    }  # fmt: skip


def cable_ohm(fleet):
    return cable.loop_resistance(
        fleet.cable_length_m[0], fleet.cable_area_mm2[0], int(fleet.conductor_class[0]), 30.0
    )  # fmt: skip


def test_a_controller_that_lets_too_little_through_is_told_from_weak_modules(installation, right):
    fleet = read_fleet([installation.pk], 2024).fleet
    held = chain.spot(fleet, SUN, AIR, LEVEL, chain.Faults(controller_cap_w=0.5 * float(
        chain.spot(fleet, SUN, AIR, LEVEL).array_power_w[0])))  # fmt: skip
    found = lost_at(installation, right | read_off(held))
    assert found["controller"] == max(found.values())
    assert abs(found["array"]) < 0.1 * right["flow_l_min"]


def test_what_leaves_the_box_tells_a_controller_that_eats_power(installation, right):
    """Volts and amps before the box are as they should be; behind it half is missing."""
    fleet = read_fleet([installation.pk], 2024).fleet
    sound = chain.spot(fleet, SUN, AIR, LEVEL)
    half = 0.5 * float(sound.array_power_w[0]) * float(fleet.controller_efficiency[0])
    held = chain.spot(fleet, SUN, AIR, LEVEL, chain.Faults(controller_cap_w=half))
    given = right | {"flow_l_min": float(held.flow_l_min[0]), "output_voltage_v": 40.0, "output_current_a": half / 40}
    found = lost_at(installation, given)
    assert found["controller"] == max(found.values())
    assert found["controller"] == pytest.approx(right["flow_l_min"] - float(held.flow_l_min[0]), rel=0.1)
    without = lost_at(installation, given | {"output_voltage_v": None})
    assert without["pump"] == max(without.values()), "nothing measured behind the box: it would be the pump's"


def test_the_first_loop_resistance_is_only_kept_and_the_next_is_held_against_the_lowest(installation, right):
    with_loop = right | {"loop_ohm": 2.4}
    answer = answer_spot(installation, with_loop)
    assert "cable" not in steps(answer)
    assert any("first loop resistance" in words for words in answer["waterfall"]["untold"])
    a_spot_test(installation, at=NOON, loop_ohm=2.9, kind="visit")
    a_spot_test(installation, at=later(days=1), loop_ohm=2.3, kind="visit")
    assert abs(steps(answer_spot(installation, with_loop))["cable"]["loss_l_min"]) < 0.05 * right["flow_l_min"]
    assert steps(answer_spot(installation, right | {"loop_ohm": 6.0}))["cable"]["loss_l_min"] > 0


def test_the_level_is_held_against_the_record_of_that_month(installation, right):
    """The well's step begins where the answer without a dipped level does."""
    fleet = read_fleet([installation.pk], 2024).fleet
    record = float(fleet.static_level_m[0, right["at"].month - 1])
    fall = answer_spot(installation, right | {"static_level_m": record})["waterfall"]
    undipped = answer_spot(installation, right | {"static_level_m": None})
    assert fall["start"]["l_min"] == pytest.approx(undipped["expected_l_min"]["middle"], abs=0.02)


def test_without_volts_and_amps_one_stage_takes_all_and_says_so(installation, right):
    answer = answer_spot(
        installation, right | {"array_voltage_v": None, "array_current_a": None, "flow_l_min": 6.0}
    )  # fmt: skip
    assert set(steps(answer)) <= {"well", "pump"}
    assert any("Volts and amps" in words for words in answer["waterfall"]["untold"])


FIRST_WATER = [(1.0, "pump"), (2.5, "pipe"), (1.35, "pump and pipe"), (None, "pump and pipe")]


@pytest.mark.parametrize(("share", "name"), FIRST_WATER)
def test_the_first_water_parts_pump_from_pipe(installation, right, share, name):
    fleet = read_fleet([installation.pk], 2024).fleet
    due = float(chain.first_water(fleet, SUN, AIR, LEVEL)[0])
    given = right | {"flow_l_min": 0.5 * right["flow_l_min"], "first_water_min": None if share is None else share * due}
    assert steps(answer_spot(installation, given))["pump"]["name"] == name


def test_a_meter_that_shows_less_than_the_bucket_is_put_last(installation, right):
    Judgement.objects.create(installation=installation, level_ratio=1.0, recent_ratio=0.6)
    meter = answer_spot(installation, right)["waterfall"]["meter"]
    assert not meter["agrees"]
    assert meter["end"]["l_min"] == pytest.approx(0.6 * right["flow_l_min"], rel=0.05)
    Judgement.objects.update(recent_ratio=0.98)
    assert answer_spot(installation, right)["waterfall"]["meter"]["agrees"]
    Judgement.objects.update(recent_ratio=0.6, through=later(days=200).date())
    assert "meter" not in answer_spot(installation, right)["waterfall"], "days long after the test say nothing of it"


@pytest.mark.parametrize(("share", "agrees"), [(0.97, True), (0.7, False), (1.2, False)])
def test_a_meter_read_beside_the_bucket_is_judged_by_the_bucket(installation, right, share, agrees):
    Judgement.objects.create(installation=installation, level_ratio=1.0, recent_ratio=0.5)  # weaker than a look beside
    answer = answer_spot(installation, right | {"meter_flow_l_min": share * right["flow_l_min"]})
    meter = answer["waterfall"]["meter"]
    assert (meter["agrees"], meter["share"]) == (agrees, pytest.approx(share, abs=0.01))
    assert answer["verdict"] == "as_expected", "the flow is the bucket's"
    if not agrees:
        assert meter["end"]["l_min"] == pytest.approx(share * right["flow_l_min"], rel=0.01)
        assert meter["low_l_min"] < meter["loss_l_min"] < meter["high_l_min"]


READ = {
    "all that can be read": {"loop_ohm": 3.5, "output_voltage_v": 40.0, "output_current_a": 5.0, "flow_l_min": 5.0},
    "a weak array": {"array_current_a": 3.0, "flow_l_min": 6.0},
    "a deeper level": {"static_level_m": LEVEL + 6, "flow_l_min": 7.0},
    "flow alone": {"array_voltage_v": None, "array_current_a": None, "static_level_m": None, "flow_l_min": 6.0},
    "a sound unit": {},
}


@pytest.mark.parametrize("what", READ)
def test_what_stands_reading_by_reading_the_table_of_costs_and_the_picture_agree(installation, right, what):
    a_spot_test(installation, at=NOON, loop_ohm=2.3, kind="visit")
    answer = answer_spot(installation, right | READ[what])
    fall = answer["waterfall"]
    for reading in answer["stages"]:
        step = steps(answer)[reading["stage"]]
        assert (reading["name"], reading["loss_l_min"]) == (step["name"], step["loss_l_min"])
    pump = answer["stages"][-1]
    assert pump["expected"] - pump["measured"] == pytest.approx(pump["loss_l_min"], abs=0.02)
    drawn = pictures.spot_waterfall(answer)
    start, *falls, end = drawn.spec["data"]["values"]
    assert [one["name"] for one in falls] == [step["name"] for step in fall["steps"]]
    for one, step in zip(falls, fall["steps"], strict=True):
        assert one["start"] - one["end"] == pytest.approx(step["loss_l_min"], abs=0.011)
    assert (start["end"], end["end"]) == (fall["start"]["l_min"], fall["end"]["l_min"])
    assert falls[-1]["end"] == pytest.approx(end["end"], abs=0.06), "the last step ends at what was measured"


def test_the_picture_goes_on_to_the_meter_and_speaks_the_reader_s_unit(installation, right, nadia):
    answer = answer_spot(installation, right | {"meter_flow_l_min": 0.7 * right["flow_l_min"]})
    meter = answer["waterfall"]["meter"]
    nadia.flow_unit = "m3_h"
    *_others, last, end = pictures.spot_waterfall(answer, nadia).spec["data"]["values"]
    assert last["name"] == meter["name"]
    assert (last["start"] - last["end"]) / 0.06 == pytest.approx(meter["loss_l_min"], abs=0.01)
    assert end["end"] / 0.06 == pytest.approx(meter["end"]["l_min"], abs=0.01)


def test_cable_and_controller_are_held_against_what_was_read_of_them_only(installation, right):
    shown = {reading["stage"]: reading for reading in answer_spot(installation, right)["stages"]}
    assert set(shown) == {"well", "array", "pump"}, "neither the loop nor the box's output was measured"
    a_spot_test(installation, at=NOON, loop_ohm=2.3, kind="visit")
    answer = answer_spot(installation, right | {"loop_ohm": 4.1, "output_voltage_v": 40.0, "output_current_a": 5.0})
    shown = {reading["stage"]: reading for reading in answer["stages"]}
    assert (shown["cable"]["expected"], shown["cable"]["measured"], shown["cable"]["unit"]) == (2.3, 4.1, "ohm")
    assert (shown["controller"]["measured"], shown["controller"]["unit"]) == (200, "W")


def test_where_nothing_can_be_told_the_readings_stand_without_a_cost(installation, right):
    answer = answer_spot(installation, right | {"irradiance_w_m2": 120})
    assert "waterfall" not in answer and pictures.spot_waterfall(answer) is None
    assert answer["stages"] and all(reading["loss_l_min"] is None for reading in answer["stages"])


def test_the_page_tells_each_cost_once(installation, right, nadia, client_of):
    test = a_spot_test(installation, kind="visit", **right | {"flow_l_min": 5.0})
    page = client_of(nadia).get(f"/output/installations/{installation.pk}/spot/{test.pk}/")
    words = page.content.decode()
    assert page.status_code == 200 and words.count('<th scope="col" class="num">Costs</th>') == 1
    assert "Reading by reading" in words
