"""The chain against the sample fleet: what sound units should have given, by the files alone, against what was metered.

Used are days before a unit's fault began and without a recording mistake, on which neither float switch nor dry-run
probe stopped the pump (that and only that is taken from the truth; level C has its own irradiance, level B gets the
day's true horizontal irradiation, which stands for a good neighbour). Numbers seen when this was written: level C 0.979
in the middle, 80 % of days within 10 %, 84 % inside the stated range of 80 %; with the water level that the unit itself
recorded at noon 0.987 and 86 %; level B 0.988 and 80 %.
"""

from datetime import date
from functools import lru_cache

import numpy as np
import pytest

from sizing import chain
from tests.makers import sample_fleet
from tests.makers.sample_fleet import number


@lru_cache(maxsize=1)
def sound_days():
    """Arrays by name: unit, day of year, irradiation in the plane and level, litres, noon level and amps, letter."""
    places = {u["serial"]: i for i, u in enumerate(sample_fleet.table("units"))}
    letter = {u["serial"]: u["instrument_level"] for u in sample_fleet.table("units")}
    wrong = {(m["serial"], m["date"]) for m in sample_fleet.table("mistakes_truth")}
    onset = {t["serial"]: t["onset_date"] or "9999" for t in sample_fleet.table("truth")}
    free = {
        (d["serial"], d["date"]): float(d["ghi_kwh_m2"])
        for d in sample_fleet.table("truth_daily")
        if d["float_stop_min"] == d["dry_stop_min"] == "0"
    }
    readings, noon, rows = sample_fleet.table("readings"), {}, []
    for r in readings:
        if r["kind"] == "noon":
            noon[r["serial"], r["timestamp"][:10]] = number(r["water_level_m"]), number(r["array_current_a"])
    for r in readings:
        day = r["timestamp"][:10]
        key = r["serial"], day
        if r["kind"] != "daily" or not r["volume_l"] or key not in free or key in wrong or day >= onset[r["serial"]]:
            continue
        rows.append(
            (places[r["serial"]], date.fromisoformat(day).timetuple().tm_yday, number(r["irradiation_kwh_m2"]),
             free[key], float(r["volume_l"]), *noon.get(key, (np.nan, np.nan)), ord(letter[r["serial"]]))
        )  # fmt: skip
    names = ("unit", "day", "in_plane", "horizontal", "litres", "noon_level", "noon_amps", "letter")
    out = dict(zip(names, np.array(rows).T, strict=True))
    out["unit"] = out["unit"].astype(int)
    return out


def compared(letter, kind, **given):
    """(ratio of metered to expected, whether inside the stated range) over the sound days of one level."""
    days = sound_days()
    use = (days["letter"] == ord(letter)) & np.isfinite(days[kind])
    for name, values in given.items():
        use &= np.isfinite(values)
        given[name] = values
    given = {name: values[use] for name, values in given.items()}
    got = chain.expected_days(
        sample_fleet.fleet().fleet, days["unit"][use], days["day"][use], days[kind][use], kind, **given
    )
    litres = days["litres"][use]
    with np.errstate(divide="ignore"):
        ratio = litres / got.volume_l
    assert np.isfinite(got.volume_l).all()
    return ratio, (litres >= got.low_l) & (litres <= got.high_l)


def test_every_recorded_installation_can_be_computed():
    read = sample_fleet.fleet()
    assert [r for r in read.reasons if r] == []
    flow = chain.spot(read.fleet, 800, 30).flow_l_min
    assert np.isfinite(flow).all()
    assert (flow > 0).mean() > 0.9


def test_level_c_with_its_own_irradiance():
    ratio, inside = compared("C", "in_plane")
    assert ratio.size > 13_000
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert np.mean(np.abs(ratio - 1) <= 0.10) >= 0.79  # 0.80 seen, whose sampling error over 50 units is some 0.03
    assert 0.75 <= inside.mean() <= 0.85


def test_level_c_with_its_own_water_level_is_sharper():
    days = sound_days()
    flat = chain.spot(sample_fleet.fleet().fleet, 900, 32).drawdown_m[days["unit"]]
    static = days["noon_level"] - np.where(days["noon_amps"] > 0.2, flat, 0)
    ratio, _ = compared("C", "in_plane", static_level_m=np.where(static > 0, static, np.nan))
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert np.mean(np.abs(ratio - 1) <= 0.10) >= 0.84


def test_level_b_under_a_good_neighbours_sun():
    ratio, inside = compared("B", "horizontal")
    assert ratio.size > 15_000
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert 0.75 <= inside.mean() <= 0.85


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
