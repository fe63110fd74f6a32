"""A spot test is answered at once: the range that is right for this sun and level, and a verdict."""

import json

import numpy as np
import pytest

from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Judgement
from fleet.output.services import answer_spot
from sizing import chain
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
    Judgement.objects.create(installation=installation, level_ratio=0.9)
    middle = answer_spot(installation, right)["expected_l_min"]["middle"]
    assert middle == pytest.approx(0.9 * right["flow_l_min"], rel=1e-3)


def loss(answer):
    return {stage["stage"]: stage["loss_l_min"] for stage in answer["stages"]}


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
