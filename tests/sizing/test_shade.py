"""Strings in part shade and their bypass diodes."""

import numpy as np
import pytest

from sizing import array, chain, shade
from sizing.checks import Refusal
from tests.sizing import invented

DIODE = array.fit_diode(60, 30.4, 8.23, 37.6, 8.79, 0.055, -0.33, -0.41)


def power(groups, left, sun=800.0, cell=45.0, series=4):
    return shade.string_in_shade(DIODE, series, groups, left, sun, cell).power_w


def test_without_shade_the_string_gives_its_modules_power():
    whole = 4 * array.maximum_power(DIODE, 800.0, 45.0).power_w
    assert power(0, 0.3) == pytest.approx(whole, rel=1e-4)
    assert power(5, 1.0) == pytest.approx(whole, rel=1e-4)


def test_cells_in_deep_shade_are_left_out_with_their_volts_and_the_diodes_own():
    at, whole = shade.string_in_shade(DIODE, 4, 3, 0.0, 800.0, 45.0), array.maximum_power(DIODE, 800.0, 45.0)
    assert at.voltage_v == pytest.approx(3 * whole.voltage_v - 3 * shade.BYPASS_V, rel=0.01)
    assert at.current_a == pytest.approx(whole.current_a, rel=0.01)


def test_in_light_shade_all_cells_work_at_the_dullest_ones_current():
    at, whole = shade.string_in_shade(DIODE, 4, 3, 0.9, 800.0, 45.0), array.maximum_power(DIODE, 800.0, 45.0)
    assert 0.9 * whole.current_a < at.current_a < 0.95 * whole.current_a and at.voltage_v > 4 * whole.voltage_v


def test_more_shade_never_gives_more_and_never_less_than_bypassing():
    by_light = power(4, np.linspace(0, 1, 11))
    assert (np.diff(by_light) >= -1e-9).all()
    by_groups = power(np.arange(13), 0.2)
    assert (np.diff(by_groups) <= 1e-9).all()
    assert (power(np.arange(12), 0.2) >= power(np.arange(12), 0.0) - 1e-9).all()


def test_no_sun_a_gap_and_what_cannot_be():
    got = power(2, 0.5, sun=np.array([0.0, np.nan, 500.0]))
    assert got[0] == 0 and np.isnan(got[1]) and got[2] == pytest.approx(power(2, 0.5, sun=500.0))
    for wrong, name in (((13, 0.5), "groups_shaded"), ((2, 1.5), "light_left"), ((2, 0.5, -3.0), "irradiance_w_m2")):
        with pytest.raises(Refusal, match=name):
            power(*wrong)


def test_in_the_chain_a_bypassed_group_takes_volts_and_leaves_amps():
    fleet = invented.fleet(invented.row(modules_in_series=4))
    sound, dim = (chain.spot(fleet, 220.0, 28.0, faults=chain.Faults(groups_bypassed=n)) for n in (0.0, 3.0))
    kept = float(shade.share_of_volts(3.0, 4, fleet.v_mp_v[0]))
    assert kept == pytest.approx(1 - 0.25 * (1 + 3 * shade.BYPASS_V / fleet.v_mp_v[0]))
    assert dim.flow_l_min[0] < sound.flow_l_min[0]
    assert dim.array_voltage_v[0] == pytest.approx(kept * sound.array_voltage_v[0], rel=0.01)
    assert dim.array_current_a[0] == pytest.approx(sound.array_current_a[0], rel=0.01)
    with pytest.raises(Refusal, match="groups_bypassed"):
        shade.share_of_volts(13, 4, 30.4)
