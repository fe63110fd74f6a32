"""Refusals: named for one number, missing with a reason for one among many."""

import numpy as np
import pytest

from sizing import units
from sizing.checks import Reasons, Refusal, known, mask_within, one_of, within


def test_a_number_inside_comes_back_as_float64():
    got = within(45, -90, 90, "latitude_deg")
    assert got.dtype == np.float64
    assert got == 45.0


@pytest.mark.parametrize("value", [95, -90.1, float("inf"), "ninety", [[1, 2], [3]]])
def test_a_single_bad_value_is_refused_by_name(value):
    with pytest.raises(Refusal) as refusal:
        within(value, -90, 90, "latitude_deg")
    assert refusal.value.argument == "latitude_deg"
    assert refusal.value.value == value
    assert "latitude_deg" in str(refusal.value)


def test_a_refusal_tells_the_limits():
    with pytest.raises(Refusal, match=r"latitude_deg = 95: -90 to 90 is needed") as refusal:
        within(95, -90, 90, "latitude_deg")
    assert refusal.value.limits == (-90, 90)


def test_infinity_is_refused_even_where_there_is_no_upper_limit():
    with pytest.raises(Refusal, match="finite"):
        within(np.inf, 0, np.inf, "head_m")
    assert within(1e9, 0, np.inf, "head_m") == 1e9


def test_zero_is_refused_where_only_above_zero_makes_sense():
    with pytest.raises(Refusal, match="above 0"):
        within(0, 0, np.inf, "section_mm2", open_low=True)
    assert within(0, 0, 9, "section_mm2") == 0


def test_nan_passes_as_not_known():
    assert np.isnan(within(np.nan, 0, 1, "share"))


def test_one_bad_row_comes_back_missing_with_its_reason_and_the_others_stay():
    reasons = Reasons()
    got = within([10.0, 95.0, np.nan, -20.0], -90, 90, "latitude_deg", reasons=reasons)
    np.testing.assert_array_equal(got, [10.0, np.nan, np.nan, -20.0])
    assert list(reasons.by_row) == [1]
    assert "latitude_deg = 95" in reasons.as_array(4)[1]
    assert list(reasons.as_array(4)[[0, 2, 3]]) == ["", "", ""]


def test_the_first_reason_of_a_row_is_kept():
    reasons = Reasons()
    within([1.0, 95.0], -90, 90, "latitude_deg", reasons=reasons)
    within([1.0, 200.0], 0, 90, "tilt_deg", reasons=reasons)
    assert reasons
    assert "latitude_deg" in reasons.by_row[1]


def test_masking_never_raises_and_keeps_the_shape():
    values, why = mask_within([[1, 2], [300, 4]], 0, 90, "tilt_deg")
    assert values.shape == why.shape == (2, 2)
    assert np.isnan(values[1, 0])
    assert "tilt_deg = 300" in why[1, 0]
    value, sentence = mask_within(300, 0, 90, "tilt_deg")
    assert np.isnan(value)
    assert "tilt_deg" in sentence[()]


def test_a_gap_where_every_number_is_needed_is_refused_with_its_place():
    with pytest.raises(Refusal, match=r"place 2") as refusal:
        known([1, 2, np.nan, 4], "ghi_kwh_m2_day")
    assert refusal.value.row == 2
    assert known([1, 2], "x").dtype == np.float64


def test_only_a_listed_choice_is_taken():
    assert one_of(5, (2, 5), "conductor_class") == 5
    with pytest.raises(Refusal, match="one of 2, 5"):
        one_of(3, (2, 5), "conductor_class")


def test_conversions_meet_their_definitions():
    assert units.metres_of_water(1.0) == pytest.approx(10.197, abs=5e-4)  # one bar of water at 1000 kg/m3
    assert units.mj_from_kwh(1.0) == 3.6
    assert units.kwh_from_mj(3.6) == 1.0
    assert units.l_min_from_m3_s(units.m3_s_from_l_min(17.0)) == pytest.approx(17.0)
    assert units.l_min_from_m3_h(units.m3_h_from_l_min(17.0)) == pytest.approx(17.0)
    assert units.kelvin(25.0) == 298.15
    # 1 m3/h lifted 1 m takes 2.72 W: 1000 kg x 9.81 m/s2 / 3600 s (at 998.2 kg/m3)
    assert units.hydraulic_power_w(units.l_min_from_m3_h(1.0), 1.0) == pytest.approx(2.719, abs=1e-3)
