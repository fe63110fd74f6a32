"""The chain against the sample fleet: what sound units should have given, by the files alone, against what was metered.

Used are days before a unit's fault began and without a recording mistake, on which neither float switch nor dry-run
probe stopped the pump (that and only that is taken from the truth; level C has its own irradiance, level B gets the
day's true horizontal irradiation, which stands for a good neighbour). Numbers seen when this was written: level C 0.978
in the middle, 81 % of days within 10 %, 80 % inside the stated range of 80 %; with the water level that the unit itself
recorded at noon 0.986, 86 % and 82 %; level B 0.994, 74 % and 78 %; inside the range by kind of pump, both levels
together, 80 % of centrifugal, 79 % of diaphragm and 79 % of helical units' days. `comparison` prints them.
"""

import numpy as np
import pytest

from sizing import chain
from tests.makers import sample_fleet
from tests.makers.sample_fleet import number
from tests.sizing.comparison import by_kind, compared, own_level


def test_every_recorded_installation_can_be_computed():
    read = sample_fleet.fleet()
    assert [r for r in read.reasons if r] == []
    flow = chain.spot(read.fleet, 800, 30).flow_l_min
    assert np.isfinite(flow).all()
    assert (flow > 0).mean() > 0.9


def test_level_c_with_its_own_irradiance():
    ratio, inside, _ = compared("C", "in_plane")
    assert ratio.size > 13_000
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert np.mean(np.abs(ratio - 1) <= 0.10) >= 0.80
    assert 0.75 <= inside.mean() <= 0.85


def test_level_c_with_its_own_water_level_is_sharper():
    ratio, inside, _ = compared("C", "in_plane", static_level_m=own_level())
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert np.mean(np.abs(ratio - 1) <= 0.10) >= 0.84
    assert 0.75 <= inside.mean() <= 0.85


def test_level_b_under_a_good_neighbours_sun():
    ratio, inside, _ = compared("B", "horizontal")
    assert ratio.size > 15_000
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert 0.75 <= inside.mean() <= 0.85


def test_the_stated_range_holds_for_each_kind_of_pump():
    """A wheel's flow is steep in head and a displacement pump's is not: one flat share for all was too narrow for the
    first (66-69 % at level C) and too wide for the second (91 %)."""
    kinds = by_kind()
    assert set(kinds) == {"centrifugal", "diaphragm", "helical"}
    for kind, (ratio, inside) in kinds.items():
        assert ratio.size > 4000, kind
        assert 0.75 <= inside.mean() <= 0.85, kind


def test_commissioning_tests_of_new_clean_arrays():
    """Volts to 2 %, flow to 4 % in the middle of every pump type with twenty tests or more."""
    places = {u["serial"]: i for i, u in enumerate(sample_fleet.table("units"))}
    kinds = np.array([u["pump_type"] for u in sample_fleet.table("units")])
    tests = sample_fleet.table("commissioning")
    static = {t["serial"]: number(t["static_level_m"]) for t in tests if t["static_level_m"]}
    unit = np.array([places[t["serial"]] for t in tests])
    fleet = sample_fleet.fleet().fleet.take(unit).with_(age_y=0.0, soiling_fraction=0.0)
    sun, air, volts, flow = (
        np.array([number(t[c]) for t in tests])
        for c in ("irradiance_w_m2", "ambient_c", "array_voltage_v", "flow_l_min")
    )
    at = chain.spot(fleet, sun, air, np.array([static[t["serial"]] for t in tests]))
    for kind in sorted(set(kinds)):
        use = (kinds[unit] == kind) & (at.flow_l_min > 0)
        if use.sum() >= 20:
            assert np.nanmedian(volts[use] / at.array_voltage_v[use]) == pytest.approx(1, abs=0.02), kind
            assert np.nanmedian(flow[use] / at.flow_l_min[use]) == pytest.approx(1, abs=0.04), kind
