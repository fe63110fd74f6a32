"""Judges a fleet's files day by day, as a nightly run would, and writes the flags: serial, flagged_on, causes."""

import csv
import sys
import time
from pathlib import Path

import numpy as np

from sizing import chain, climate, judge, sun
from sizing.causes import names, odds, shape, signatures, table
from tests.makers import judged_fleet

MAP = {
    "dirt": "soiling", "shade_before_noon": "shade_morning", "shade_after_noon": "shade_afternoon",
    "frame_turned": "frame_turned", "string_open": "string_open", "poor_joint": "splice_resistance",
    "pump_worn": "pump_wear", "inlet_blocked": "intake_blocked", "main_leaks": "pipe_leak",
    "water_sinks": "water_table_fall", "cuts_out": "controller_cutout", "stands_still": "stopped",
    "meter_stands": "meter_stopped", "meter_slow": "meter_slow", "less_drawn": "lower_demand",
}  # fmt: skip


def first_level(f):
    """Own level and its doubt from the commissioning tests."""
    rows = [(u, t) for u, tests in f.tests.items() for t in tests]
    static = {
        u: next((t["static_level_m"] for t in ts if np.isfinite(t["static_level_m"])), np.nan)
        for u, ts in f.tests.items()
    }
    return judge.first_level(
        f.fleet, [u for u, _ in rows], *([t[k] for _, t in rows] for k in ("irradiance_w_m2", "ambient_c",
        "flow_l_min")),
        [static[u] for u, _ in rows],
    )  # fmt: skip


def usual_sky(folder, f):
    """Usual clearness by month (n, 12), on the table's scale, and how far its days scatter: the fleet's own file of it,
    else the default by place."""
    if not isinstance(folder, judged_fleet.JudgedFleet) and (Path(folder) / "climate.csv").exists():
        kept = {row["serial"]: row for row in judged_fleet.table(folder, "climate")}
        return table.scale(np.array([[float(kept[s][f"clearness_{m}"]) for m in range(1, 13)] for s in f.serials])), 1.0
    usual = climate.default_climate(f.fleet.latitude_deg, f.fleet.longitude_deg, altitude_m=f.fleet.altitude_m)
    above = sun.extraterrestrial_kwh_m2_day(f.fleet.latitude_deg[:, None], table.MID_MONTH)
    clear = table.scale(np.clip(usual.ghi_kwh_m2_day / above, 0.1, 0.8))
    return clear, table.spread_of(usual.day_ghi_kwh_m2_day, above)


def run(folder, alarms=10.0, stop=None, keep=None):
    """Judges day by day. Returns the fleet, flags (unit, day, causes), seconds spent, states, observations by unit."""
    f = folder if isinstance(folder, judged_fleet.JudgedFleet) else judged_fleet.read(folder)
    n = f.fleet.n
    usual, spread = usual_sky(folder, f)
    t = table.build(f.fleet, usual, f.solar_shift_h, spread=spread)
    level, doubt = first_level(f)
    state = judge.new_state(n, level, doubt, 0.95 * f.fleet.need_l_day[:, 0], f.first)
    tells = np.zeros(n, bool)
    for d, _ in f.nights.values():
        tells[d.unit] = True
    net = judge.network(f.fleet.latitude_deg, f.fleet.longitude_deg, tells, has_cell=f.sites.has_cell)
    around = judge.around(f.fleet.latitude_deg, f.fleet.longitude_deg)
    limits = judge.limit(alarms, tells, f.sites.has_cell)
    history, signs, cases, flags = [[] for _ in range(n)], {}, {}, []
    seconds = {"night": 0.0, "causes": 0.0, "asked": 0}
    for day in range(f.first, (stop or f.last) + 1):
        start = time.time()
        days, totals = f.nights.get(day, (None, None))
        seen, var = judge.tell(state, f.sites, t, days, day)
        sky = judge.read_sky(net, t.prior(judge.day_of_year(day)) + state.sky_bias, seen, var,
                             t.patchy(judge.day_of_year(day)))  # fmt: skip
        patchy = judge.learn_patchiness(state.patchy, sky, net)
        lean = judge.read_season(around, state, day)
        state, rows = judge.night(state, f.sites, t, sky, days, totals, day, patchy, lean)
        seconds["night"] += time.time() - start
        start = time.time()
        for r in rows:
            history[r["unit"]].append(r)
        for u in np.unique(rows["unit"]):
            if not judge.worth_asking(cases.get(u), state.evidence[u], day, tells[u], judge.ASK):
                continue
            mine = np.array(history[u])
            kind = judge.kind_of(tells[u], f.sites.has_cell[u])
            found = judge.find(mine, day, int(mine["day"][0]), level[u], doubt[u], kind, f.sites.float_switch[u])
            got = None
            if judge.raised(found, limits[u]):
                seconds["asked"] += 1
                got = causes_of(f, signs, u, mine, day, level[u], doubt[u], state.noise[u])
            got = got and judge.agreed(found, got)
            state = follow(state, cases, flags, u, day, found, got, limits[u])
        seconds["causes"] += time.time() - start
    return f, flags, seconds, state, history


def causes_of(f, signs, u, rows, day, level, level_sd, noise):
    """Odds of the causes of one unit from its observations up to a day; signs: kept signatures by unit and month."""
    month = int(np.datetime64(int(day), "D").astype("datetime64[M]").astype(int) % 12)
    if (u, month) not in signs:
        signs[u, month] = signatures.of_unit(f.fleet, u, month)
    noon = noon_due(f.fleet, u, rows) if np.isfinite(rows["noon_w_m2"]).any() else None
    return odds.judge(
        rows, signs[u, month], day, int(rows["day"][0]), level, level_sd, noon, float(np.clip(noise, 0.7, 2.5)),
        course=course_of(f, signs, u, day, month),
    )


def course_of(f, signs, u, day, month):
    """A unit's days by quarter hours up to a day; None where nobody kept them."""
    if not f.courses or u not in f.courses:
        return None
    if ("due", u, month) not in signs:
        signs["due", u, month] = shape.due(f.fleet, u, month)
    ran, sun = (values[: day - f.first + 1] for values in f.courses[u])
    return shape.Course(f.first + np.arange(len(ran)), ran, sun, False, signs["due", u, month])


def follow(state, cases, flags, u, day, found, got, limit):
    """The flag of one unit carried on; the state told whether it is suspect."""
    step = judge.decide(cases.get(u), found, got, day, limit)
    if step.case is None:
        cases.pop(u, None)
    else:
        cases[u] = step.case
    if step.what in (judge.RAISED, judge.TOLD_AGAIN):
        flags.append((u, day, got.cause))
    if step.what != judge.NOTHING:
        suspect, evidence = state.suspect.copy(), state.evidence.copy()
        suspect[u] = float(step.case is not None and not step.case.note)
        if step.what == judge.CLOSED:
            evidence[u] = 0
        state = state.with_(suspect=suspect, evidence=evidence)
    return state


def noon_due(fleet, u, rows):
    sun = np.nan_to_num(rows["noon_w_m2"]).astype(float)[None, :]
    one = fleet.take([u])
    month = rows["day"].astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    spot = chain.spot(one, sun, table.AIR_C, one.static_level_m[0, month][None, :])
    return spot.array_voltage_v[0], spot.array_current_a[0], spot.pumping_level_m[0], one.static_level_m[0, month]


def write(path, f, flags):
    with Path(path).open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["serial", "flagged_on", "causes"])
        for u, day, cause in flags:
            best = np.argsort(-cause)[:4]
            out.writerow([f.serials[u], str(np.datetime64(int(day), "D")), "|".join(MAP[names.NAMES[i]] for i in best)])


if __name__ == "__main__":
    start = time.time()
    f, flags, seconds, *_ = run(sys.argv[1], float(sys.argv[3]) if len(sys.argv) > 3 else 10.0)
    write(sys.argv[2], f, flags)
    print(f"{len(flags)} flags, {time.time() - start:.0f} s", seconds)
