"""The chain against the sample fleet's healthy days: how far what was metered lies from what was expected.

    python -m tests.sizing.comparison

By instrument level, by what was known of the sun and the water, and by kind of pump: the middle of metered over
expected, its spread (half the distance between the 16th and 84th hundredth), the share of days within 10 %, and the
share inside the stated range of 80 %. Used are days before a unit's fault began and without a recording mistake, on
which neither float switch nor dry-run probe stopped the pump (that and only that is taken from the truth).

What remains, and why. The 2 % missing at level C under the unit's own irradiance are the glass: the chain takes a
reference cell to lose at slanting light what the modules lose (caught over in-plane light 0.971 in these days), while
the sample's cell shows the light before the glass (recorded over in-plane light by the model 0.997, over caught light
1.028); it is left so, because cells in the field sit behind glass. Under a neighbour's horizontal light, where no cell
is asked, nothing is missing. Direct diaphragm units scatter because in broken cloud they stand on the steep part of
their curve, of which a day's total says little; centrifugal units because a metre of water level
costs them several per cent, which their own noon level mends. Units lie 5 % apart, about what their test sheets allow.
The range is made of what tolerances and instruments promise (`chain.ranges`), none of it found from these rows.
"""

from datetime import date
from functools import lru_cache

import numpy as np

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


def own_level():
    """Static level of each sound day by the unit's own reading at noon: less the draw-down where the pump ran."""
    days = sound_days()
    flat = chain.spot(sample_fleet.fleet().fleet, 900, 32).drawdown_m[days["unit"]]
    static = days["noon_level"] - np.where(days["noon_amps"] > 0.2, flat, 0)
    return np.where(static > 0, static, np.nan)


def compared(letter, kind, **given):
    """(ratio of metered to expected, whether inside the stated range, unit) over the sound days of one level."""
    days = sound_days()
    use = (days["letter"] == ord(letter)) & np.isfinite(days[kind])
    for values in given.values():
        use &= np.isfinite(values)
    given = {name: values[use] for name, values in given.items()}
    got = chain.expected_days(
        sample_fleet.fleet().fleet, days["unit"][use], days["day"][use], days[kind][use], kind, **given
    )
    litres = days["litres"][use]
    with np.errstate(divide="ignore"):
        ratio = litres / got.volume_l
    assert np.isfinite(got.volume_l).all()
    return ratio, (litres >= got.low_l) & (litres <= got.high_l), days["unit"][use]


def by_kind():
    """{kind of pump: (ratios, whether inside the stated range)} of levels B and C, sun as they record it."""
    fleet = sample_fleet.fleet().fleet
    kinds = np.array([fleet.pumps[p].kind for p in fleet.pump_index])
    ratio, inside, unit = (np.concatenate(both) for both in zip(compared("C", "in_plane"), compared("B", "horizontal")))
    return {kind: (ratio[kinds[unit] == kind], inside[kinds[unit] == kind]) for kind in np.unique(kinds)}


def line(name, ratio, inside):
    low, high = np.percentile(ratio, (15.87, 84.13))
    near = np.mean(np.abs(ratio - 1) <= 0.10)
    return (
        f"{name:44} {ratio.size:6} days  middle {np.median(ratio):.3f}  spread {(high - low) / 2:.3f}  "
        f"within 10 % {near:4.0%}  in range {inside.mean():.1%}"
    )


def main():
    fleet = sample_fleet.fleet().fleet
    kinds = np.array([fleet.pumps[p].kind for p in fleet.pump_index])
    fed = np.where(fleet.coupling == 1, "tracking", "direct")
    asked = {
        "C, own irradiance": ("C", "in_plane", {}),
        "C, own irradiance and level": ("C", "in_plane", {"static_level_m": own_level()}),
        "B, a neighbour's sun": ("B", "horizontal", {}),
    }
    for name, (letter, kind, given) in asked.items():
        ratio, inside, unit = compared(letter, kind, **given)
        print(line(name, ratio, inside))
        for of in sorted({(k, f) for k, f in zip(kinds[unit], fed[unit], strict=True)}):
            use = (kinds[unit] == of[0]) & (fed[unit] == of[1])
            print(line(f"  {of[0]}, {of[1]}", ratio[use], inside[use]))
        units = [np.median(ratio[unit == u]) for u in np.unique(unit)]
        within = np.median([np.std(ratio[unit == u]) for u in np.unique(unit)])
        print(f"  units' own middles: {np.std(units):.3f} apart (one sigma); a unit's days about its own: {within:.3f}")
    for kind, (ratio, inside) in by_kind().items():
        print(line(f"{kind}, levels B and C together", ratio, inside))


if __name__ == "__main__":
    main()
