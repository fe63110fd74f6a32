"""Judges a fleet's files day by day, as a nightly run would, and writes the flags: serial, flagged_on, causes."""

import csv
import sys
import time
from pathlib import Path

import numpy as np

from sizing import chain
from sizing.causes import names, odds, signatures, table
from sizing.judge import nightly, record, weather
from tests.makers import judged_fleet

USUAL = np.log(0.58)
MAP = {
    "dirt": "soiling", "shade_before_noon": "shade_morning", "shade_after_noon": "shade_afternoon",
    "frame_turned": "frame_turned", "string_open": "string_open", "poor_joint": "splice_resistance",
    "pump_worn": "pump_wear", "inlet_blocked": "intake_blocked", "main_leaks": "pipe_leak",
    "water_sinks": "water_table_fall", "cuts_out": "controller_cutout", "stands_still": "stopped",
    "meter_stands": "meter_stopped", "meter_slow": "meter_slow", "less_drawn": "lower_demand",
}  # fmt: skip


def first_level(f):
    """Own level and its doubt from the commissioning tests: median of measured flow over the chain's at that sun."""
    level, doubt = np.full(f.fleet.n, -0.06), np.full(f.fleet.n, 0.08)
    for u, tests in f.tests.items():
        ratios = []
        static = next((t["static_level_m"] for t in tests if np.isfinite(t["static_level_m"])), np.nan)
        if not np.isfinite(static):
            static = f.fleet.static_level_m[u, 0]
        for t in tests:
            due = chain.spot(f.fleet.take([u]), t["irradiance_w_m2"], t["ambient_c"], static).flow_l_min[0]
            if due > 0 and t["flow_l_min"] > 0:
                ratios.append(np.log(t["flow_l_min"] / due))
        if ratios:
            middle = np.median(ratios)
            w = (0.05**2 + 0.06**2 / len(ratios))
            gain = 0.08**2 / (0.08**2 + w) if abs(middle) < 0.4 else 0
            level[u] += gain * (middle - level[u])
            doubt[u] = np.sqrt(0.08**2 * (1 - gain))
    return level, doubt


def run(folder, limit=4.0, stop=None, ask=1.5, trace=None):
    f = judged_fleet.read(folder)
    n = f.fleet.n
    t = table.build(f.fleet, np.full((n, 12), USUAL), f.solar_shift_h)
    level, doubt = first_level(f)
    state = record.new_state(n, level, doubt, f.fleet.need_l_day[:, 0], f.first)
    tells = np.zeros(n, bool)
    for d, _ in f.nights.values():
        tells[d.unit] = True
    net = weather.network(f.fleet.latitude_deg, f.fleet.longitude_deg, tells)
    history = [[] for _ in range(n)]
    signs, flags, cases, log = {}, [], {}, []
    timing = dict(night=0.0, odds=0.0, signs=0.0, asked=0)
    nights = f.nights
    for day in range(f.first, (stop or f.last) + 1):
        t0 = time.time()
        days, totals = nights.get(day, (None, None))
        seen, var = nightly.tell(state, f.sites, t, days, day)
        prior = t.prior(nightly.day_of_year(day)) + state.sky_bias
        sky = weather.read(net, prior, seen, var)
        state, rows = nightly.night(state, f.sites, t, sky, days, totals, day)
        timing["night"] += time.time() - t0
        for r in rows:
            history[r["unit"]].append(r)
        month = int(np.datetime64(day, "D").astype("datetime64[M]").astype(int) % 12)
        for u in np.unique(rows["unit"]):
            case = cases.get(u)
            if state.evidence[u].max() < ask and case is None:
                continue
            t0 = time.time()
            if (u, month) not in signs:
                signs[u, month] = signatures.of_unit(f.fleet, u, month)
            timing["signs"] += time.time() - t0
            t0 = time.time()
            mine = np.array(history[u])
            noon = noon_due(f.fleet, u, mine) if f.level[u] == "C" else None
            got = odds.judge(mine, signs[u, month], day, f.first, level[u], doubt[u], noon, float(np.clip(state.noise[u], 0.7, 2.5)))
            timing["odds"] += time.time() - t0
            timing["asked"] += 1
            if got is None:
                continue
            log.append((u, day, got.fault, got.demand, got.cause, got.onset, got.kept))
            state = decide(state, cases, flags, f, u, day, got, limit)
    return f, flags, timing, log, state, history


def noon_due(fleet, u, rows):
    sun = np.nan_to_num(rows["noon_w_m2"]).astype(float)[None, :]
    one = fleet.take([u])
    month = (rows["day"].astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12)
    spot = chain.spot(one, sun, table.AIR_C, one.static_level_m[0, month][None, :])
    return spot.array_voltage_v[0], spot.array_current_a[0], spot.pumping_level_m[0]


def decide(state, cases, flags, f, u, day, got, limit):
    case = cases.get(u)
    top = int(np.argmax(got.cause))
    raised = got.fault > limit or got.demand > limit
    if case is None:
        if raised:
            cases[u] = dict(top=top, since=day, kept=got.kept, calm=0)
            flags.append((u, day, got.cause))
            if top != names.NOT_A_FAULT:
                s = state.suspect.copy()
                s[u] = 1
                state = state.with_(suspect=s)
        return state
    if not raised:
        case["calm"] += 1
        if case["calm"] >= 5 and max(got.fault, got.demand) < limit - 3:
            del cases[u]
            s, e = state.suspect.copy(), state.evidence.copy()
            s[u], e[u] = 0, 0
            state = state.with_(suspect=s, evidence=e)
        return state
    case["calm"] = 0
    changed = top != case["top"] and got.cause[top] > 0.5 and day - case["since"] >= 7
    worse = got.kept < case["kept"] * 0.75 and day - case["since"] >= 7
    if changed or worse:
        case.update(top=top, since=day, kept=got.kept)
        flags.append((u, day, got.cause))
        s = state.suspect.copy()
        s[u] = float(top != names.NOT_A_FAULT)
        state = state.with_(suspect=s)
    return state


def write(path, f, flags):
    with Path(path).open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["serial", "flagged_on", "causes"])
        for u, day, cause in flags:
            best = np.argsort(-cause)[:4]
            out.writerow([f.serials[u], str(np.datetime64(int(day), "D")), "|".join(MAP[names.NAMES[i]] for i in best)])


if __name__ == "__main__":
    start = time.time()
    f, flags, timing, *_ = run(sys.argv[1], float(sys.argv[3]) if len(sys.argv) > 3 else 4.0)
    write(sys.argv[2], f, flags)
    print(f"{len(flags)} flags, {time.time() - start:.0f} s", timing)
