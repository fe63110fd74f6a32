"""Makes the table of limits: what false alarms they let through, and what they cost in days, on simulated fleets.

    python -m tests.makers.simulate_limits FOLDER [SEED ...]

Fleets of these seeds are made in FOLDER where they are not there yet (a minute each). For each way of reporting, flags
on sound units and before a fault's beginning are counted for every limit; those of one unit within 30 days are one.
The limit is the lowest of which it is 90 % sure that it lets through no more than the setting says.
A flag is what the rule itself puts forward (`judge.decide`), told again or not; a note that less is drawn is no false
alarm. Then losses are put into the figures of sound units without float switch, and the days to the flag are
taken. The result goes to sizing/tables/false_alarms.csv.
"""

import csv
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sizing import judge
from sizing.causes import table
from sizing.judge import bank, flags, limits, noise, statistics
from sizing.judge.figures import columns
from tests.makers import judged_fleet, run_judged_fleet, simulated_fleet

SEEDS = (41, 42, 43)
ALARMS = (2, 5, 10, 15, 20, 30, 40)  # per hundred units a year
GRID = np.arange(-3.0, 15.01, 0.25)
MERGED_DAYS = 30
SURE = 0.9  # that a limit lets through no more than it says
TRIALS = 120  # losses put in, a way of reporting and size


class Watched(NamedTuple):
    """One unit: way of reporting, columns of its observations, and what is known of it; sound until the day `ill`."""

    kind: int
    columns: tuple
    evidence: np.ndarray  # running, on each day asked
    causes: object  # odds of the causes on a day, of other measured litres if given
    level: float
    level_sd: float
    floats: bool
    ill: int


def watch(folder):
    """All units of a fleet's folder, judged night by night without asking causes."""
    f = judged_fleet.read(folder)
    usual, spread = run_judged_fleet.usual_sky(folder, f)
    t = table.build(f.fleet, usual, f.solar_shift_h, spread=spread)
    level, doubt = run_judged_fleet.first_level(f)
    state = judge.new_state(f.fleet.n, level, doubt, 0.95 * f.fleet.need_l_day[:, 0], f.first)
    daily = np.array([k != "A" for k in f.level])
    net = judge.network(f.fleet.latitude_deg, f.fleet.longitude_deg, daily, has_cell=f.sites.has_cell)
    around = judge.around(f.fleet.latitude_deg, f.fleet.longitude_deg)
    out, evidence, scatter, signs = [], {}, {}, {}
    for day in range(f.first, f.last + 1):
        days, totals = f.nights.get(day, (None, None))
        seen, var = judge.tell(state, f.sites, t, days, day)
        sky = judge.read_sky(net, t.prior(judge.day_of_year(day)) + state.sky_bias, seen, var,
                             t.patchy(judge.day_of_year(day)))  # fmt: skip
        patchy = judge.learn_patchiness(state.patchy, sky, net)
        lean = judge.read_season(around, state, day)
        state, rows = judge.night(state, f.sites, t, sky, days, totals, day, patchy, lean)
        out.append(rows)
        evidence[day], scatter[day] = state.evidence.max(axis=1), state.noise
    rows = np.concatenate(out)
    begun = {r["serial"]: r["onset_date"] for r in judged_fleet.table(folder, "truth")}
    kinds = noise.kind_of(daily, f.sites.has_cell)
    made = []
    for u, serial in enumerate(f.serials):
        mine = rows[rows["unit"] == u]
        if len(mine) < 3:
            continue
        ill = judged_fleet.day_number(begun[serial]) if begun[serial] else f.last + 1
        running = np.array([evidence[int(d)][u] for d in columns(mine)[0]])

        def causes(day, measured=None, u=u, mine=mine):
            changed = mine.copy()
            if measured is not None:
                changed["measured_l"][np.isfinite(mine["since"])] = measured
            until = changed[mine["day"] <= day]
            return run_judged_fleet.causes_of(
                f, signs, u, until, int(day), level[u], doubt[u], scatter[int(day)][u]
            )

        floats = bool(f.sites.float_switch[u])
        made.append(Watched(int(kinds[u]), columns(mine), running, causes, level[u], doubt[u], floats, ill))
    return made


def found(unit, asked, measured=None):
    """What the search finds on the days asked, a judge.Found each or None; measured: instead of the unit's figures."""
    given = list(unit.columns)
    if measured is not None:
        given[2] = measured
    out = np.empty((len(asked), 6))
    bank.find_on(
        *given, asked, unit.columns[0][0], unit.level, unit.level_sd, noise.TABLE[unit.kind, int(unit.floats)],
        unit.floats, out,
    )  # fmt: skip
    named = out[:, [bank.FAULT, bank.LESS_DRAWN, bank.NONE, bank.SIZE, bank.AGE, bank.RAMP]].tolist()
    return [judge.Found(*row) if row[0] > -np.inf else None for row in named]


def false_flags(units):
    """(flags by limit of GRID, unit-years) of sound units and of the time before a fault.

    Limits are tried from the highest down; below the one that lets through more than any of ALARMS, all are infinite.
    """
    watched, years = [], 0.0
    for unit in units:
        day = unit.columns[0]
        sound = day < unit.ill
        years += max(min(unit.ill, day[-1]) - day[0], 0) / 365.25
        if sound.any():
            watched.append((unit, day[sound], unit.evidence[sound], found(unit, day[sound]), {}))
    counts = np.full(len(GRID), np.inf)
    for g in range(len(GRID) - 1, -1, -1):
        counts[g] = sum(_flags(*one, GRID[g]) for one in watched)
        if counts[g] / years * 100 > max(ALARMS):
            break
    return counts, years


def _flags(unit, days, evidence, found, answers, limit):
    """Flags of one unit by the rule itself (`judge.decide`), those told again among them; answers: odds of the causes
    kept by day."""
    case, count, last = None, 0, -np.inf
    daily = unit.kind != noise.METER
    for day, running, each in zip(days, evidence, found, strict=True):
        if not judge.worth_asking(case, running, day, daily, judge.ASK):
            continue
        got = None
        if judge.raised(each, limit):
            if day not in answers:
                odds = unit.causes(day)
                answers[day] = odds and judge.agreed(each, odds)
            got = answers[day]
        step = judge.decide(case, each, got, day, limit)
        case = step.case
        if step.what in (judge.RAISED, judge.TOLD_AGAIN) and not case.note and day - last >= MERGED_DAYS:
            count, last = count + 1, day
    return count


def _first(unit, asked, odds, limit, measured, waits):
    """First day asked whose odds are past the limit and whose flag does not wait for the next figure, which it does
    where nothing but the newest seems wrong; waits: answers kept by day."""
    for day, each in zip(asked, odds, strict=True):
        if each <= limit:
            continue
        if day not in waits:
            causes = unit.causes(day, measured)
            waits[day] = causes is not None and causes.misread > flags.MISREAD
        if not waits[day]:
            return day
    return np.inf


def delays(rng, units, loss, chosen):
    """Median days to a flag for each limit of `chosen`, of a loss put into sound units' figures; NaN: too long."""
    days, tried = [], 0
    fit = [u for u in units if not u.floats and min(u.ill, u.columns[0][-1]) - u.columns[0][0] > 190]
    while tried < TRIALS:
        unit = fit[int(rng.integers(len(fit)))]
        day, span, measured = unit.columns[:3]
        end = min(unit.ill, day[-1])
        begin = day[0] + rng.uniform(60, max(end - day[0] - 120, 61))
        after = np.clip((day - begin) / np.maximum(span, 1e-9), 0, 1) if unit.kind == noise.METER else day >= begin
        asked = day[(day >= begin) & (day < min(end, begin + limits.LONGEST))]
        if unit.kind != noise.METER:
            age = asked - begin
            asked = asked[(age < 14) | ((asked.astype(int) % 3) == 0)]
        tried += 1
        less = measured * (1 - loss * after)
        each = found(unit, asked, less) if len(asked) else []
        odds = [-np.inf if one is None else flags.surest(one) for one in each]
        waits = {}
        days.append([_first(unit, asked, odds, g, less, waits) - begin for g in chosen])
    middle = np.median(np.array(days), axis=0)
    return np.where(middle > limits.LONGEST, np.nan, middle)


def rows_of(kind, units):
    """The table's rows for one way of reporting."""
    some = [u for u in units if u.kind == kind]
    counted, years = false_flags(some)
    # the most that the fleet behind these counts may have, so that "at most so many" holds where chance was kind
    most = statistics.poisson_limits(np.minimum(counted, 1e6), 2 * SURE - 1)[1]
    rate = np.maximum.accumulate(np.where(np.isfinite(counted), most, np.inf)[::-1])[::-1] / years * 100
    chosen = [float(GRID[min(int((rate > alarms).sum()), len(GRID) - 1)]) for alarms in ALARMS]
    by_loss = [delays(np.random.default_rng((7, kind)), some, loss, chosen) for loss in limits.LOSSES]
    print(f"{noise.KINDS[kind]}: {years:.0f} unit-years", dict(zip(ALARMS, chosen, strict=True)), flush=True)
    seen = [[f"{d[k]:.0f}" if np.isfinite(d[k]) else "" for d in by_loss] for k in range(len(ALARMS))]
    return [[noise.KINDS[kind], alarms, chosen[k], round(years), *seen[k]] for k, alarms in enumerate(ALARMS)]


def main(folder, *seeds):
    seeds = [int(s) for s in seeds] or SEEDS
    units = []
    for seed in seeds:
        place = Path(folder) / f"s{seed}"
        if not (place / "truth_daily.csv.gz").exists():
            simulated_fleet.write(place, seed)
        units += watch(place)
    rows = []
    for kind in range(len(noise.KINDS)):
        rows += rows_of(kind, units)
    with limits.TABLE.open("w", newline="") as file:
        file.write(
            "# Made by python -m tests.makers.simulate_limits from simulated fleets of seeds "
            f"{', '.join(map(str, seeds))}.\n# limit: log odds; days_N: median days to notice a sudden loss of N %\n"
        )
        out = csv.writer(file)
        out.writerow(["reports", "alarms_per_hundred_unit_years", "limit", "from_unit_years",
                      *(f"days_{round(100 * loss)}" for loss in limits.LOSSES)])  # fmt: skip
        out.writerows(rows)


if __name__ == "__main__":
    main(*sys.argv[1:])
