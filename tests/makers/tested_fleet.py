"""Spot tests of a simulated fleet, sound or with a known fault, and what is made of them: for tuning.

    python -m tests.makers.tested_fleet [UNITS, 240] [FLEETS, 2]

Prints, for units of which nothing but tests is known and for such with a meter read every four weeks: the mean log of
the probability given to what was so (nought is certainty), sound units said to be so, how often the true cause came
first and among the first two, and sound units flagged and faulty ones found. Machines, wells and instruments are
other than recorded, as `simulated_units` makes them; the seasons of the well are a metre or so either way.
"""

import sys
from typing import NamedTuple

import numpy as np

from sizing import chain, judge
from sizing.causes import names, odds, signatures
from sizing.judge import noise
from sizing.judge import onsite as tests
from sizing.judge.record import blank
from tests.makers import judged_fleet, sample_fleet, simulated_faults, simulated_fleet
from tests.makers.run_judged_fleet import MAP, first_level, noon_due
from tests.makers.simulated_units import a_fleet

KINDS = ("soiling", "string_open", "splice_resistance", "pump_wear", "intake_blocked", "pipe_leak", "water_table_fall",
         "stopped")  # fmt: skip
FAULTY, ONSET, TODAY, MONTH = 0.5, 330, 400, 5
LIMIT_ALARMS, USUAL_L = 10.0, 4000.0
DAY = np.concatenate([np.linspace(150, 950, 9), np.linspace(950, 150, 9)])  # W/m2, half hours of a usual day


class Tested(NamedTuple):
    """A fleet as recorded (fleet) and what is known of its units: level, doubt; plan: what each got (or None); tests:
    judge.onsite.Tests; meter: shares (n, periods) of a due day that the meter showed, the last up to today."""

    fleet: chain.Fleet
    level: np.ndarray
    doubt: np.ndarray
    plan: list
    tests: tests.Tests
    meter: np.ndarray


def tested(seed, n=240, earlier=2):
    """Units with `earlier` sound tests before the fault comes and one test after it."""
    rng = np.random.default_rng(seed)
    units = a_fleet(rng, n, TODAY, simulated_fleet.START)
    units.halted_until = np.full(n, -1.0)  # nobody tests a pump that is switched off
    pumps, modules = sample_fleet.pumps(), sample_fleet.modules()
    info = {t["type"]: t for t in sample_fleet.table("pump_type_info")}
    plain = [{k: str(v) for k, v in row.items()} | {"float_switch": "0"} for row in units.rows]
    rows = [judged_fleet.recorded(row, info) for row in plain]
    fleet = chain.fleet_from_rows(rows, pumps, modules).fleet
    first = {}
    place = {row["serial"]: u for u, row in enumerate(units.rows)}
    for row in simulated_fleet.commissioned(rng, units):
        one = {k: judged_fleet.number(str(v)) for k, v in row.items() if k not in ("serial", "timestamp")}
        first.setdefault(place[row["serial"]], []).append(one)
    level, doubt = first_level(_Known(fleet, first))
    plan = [_plan(rng, units, u) for u in range(n)]
    days = [*np.linspace(120, ONSET - 40, earlier).astype(int), TODAY]
    made = [_test(rng, units, fleet, [None] * n if day < ONSET else plan, day) for day in days]
    whole = tests.Tests(*(np.concatenate(parts) for parts in zip(*made, strict=True)))
    return Tested(fleet, level, doubt, plan, whole, _meter(rng, units, fleet, plan))


class _Known(NamedTuple):
    fleet: chain.Fleet
    tests: dict


def _plan(rng, units, u):
    if rng.random() > FAULTY:
        return None
    kinds = [k for k in KINDS if k != "string_open" or units.true.strings[u] > 1]
    weight = np.array([simulated_faults.KINDS[k][0] for k in kinds], float)
    kind = str(rng.choice(kinds, p=weight / weight.sum()))
    _weight, sudden, low, high = simulated_faults.KINDS[kind]
    size = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    if kind == "string_open":
        size = float(rng.integers(1, int(units.true.strings[u])))
    return simulated_faults.Plan(kind, ONSET, 0 if rng.random() < sudden else 60, size)


def _faults(rng, units, plan, day):
    return simulated_faults.faults_of_day(rng, plan, units, day, None)[0]


def _test(rng, units, fleet, plan, day):
    """One test of each unit: bucket, hand cell; volts and amps at most, a dip at half of them."""
    n, faults = units.n, _faults(rng, units, plan, day)
    sun, air = rng.uniform(450, 1000, n), rng.uniform(24, 36, n)
    static = np.maximum(units.true_static + rng.normal(0, 1.0, n) * np.minimum(units.true_static / 8, 1), 0.5)
    at = chain.spot(units.true, sun[:, None], air[:, None], static[:, None], faults)
    flow = np.maximum(np.nan_to_num(at.flow_l_min[:, 0]), 0) * units.own_factor * np.exp(rng.normal(0, 0.025, n))
    open_v = 0.83 * units.true.v_oc_v * units.true.modules_in_series
    runs, electric, dipped = flow > 0, rng.random(n) < 0.75, rng.random(n) < 0.5
    rest = static + faults.static_level_drop_m * np.ones(n) + rng.normal(0, 0.02, n)
    volts = np.where(runs, np.nan_to_num(at.array_voltage_v[:, 0]), open_v) * np.exp(rng.normal(0, 0.01, n))
    amps = np.where(runs, np.nan_to_num(at.array_current_a[:, 0]), 0.0) * np.exp(rng.normal(0, 0.03, n))
    nothing = np.full(n, np.nan)
    return tests.Tests(
        row=np.arange(n), day=np.full(n, day), sun_w_m2=sun * units.test_cell * np.exp(rng.normal(0, 0.015, n)),
        sun_sd=np.full(n, 0.05), air_c=air, static_level_m=np.where(dipped, rest, fleet.static_level_m[:, MONTH]),
        level_sd_m=np.where(dipped, 0.05, 2.0), dipped=dipped, flow_l_min=flow, flow_sd=np.full(n, 0.03),
        bucket=np.ones(n, bool), beside_l_min=nothing, volts=np.where(electric, volts, np.nan),
        amps=np.where(electric, amps, np.nan), pumping_level_m=nothing, rest_m=np.where(dipped, rest, np.nan),
    )  # fmt: skip


def _meter(rng, units, fleet, plan, periods=8):
    """Shares of what was due by the chain as recorded, of four weeks each, the last up to TODAY."""
    shares = []
    for day in TODAY - 14 - 28 * np.arange(periods)[::-1]:
        faults = _faults(rng, units, plan, int(day))
        at = chain.spot(units.true, np.tile(DAY, (units.n, 1)), 31.0, units.true_static[:, None], faults)
        due = chain.spot(fleet, np.tile(DAY, (units.n, 1)), 31.0, fleet.static_level_m[:, MONTH][:, None])
        ratio = np.nan_to_num(at.flow_l_min).clip(0).sum(1) / np.nan_to_num(due.flow_l_min).clip(1e-3).sum(1)
        shares.append(ratio * units.own_factor * units.meter_gain * np.exp(rng.normal(0, 0.05, units.n)))
    return np.array(shares).T


def observations(made, u, meter):
    """What is known of one unit, in order of the days."""
    mine = made.tests.row == u
    own = tests.Tests(*(x[mine] for x in made.tests))
    t = len(own.row)
    due = tests.due(made.fleet, own)
    rows = tests.as_observations(own, due, np.full(t, made.level[u]), np.full(t, USUAL_L), np.full(t, np.nan))
    if meter:
        read = blank(made.meter.shape[1])
        read["day"], read["since"] = TODAY - 28 * np.arange(len(read))[::-1], 28
        read["clearness"], read["weather_var"], read["light_gain"] = 1.0, 0.002, 1.0
        read["supply_l"] = USUAL_L * 28
        read["expected_l"] = read["supply_l"] * np.exp(made.level[u])
        read["measured_l"] = read["supply_l"] * made.meter[u]
        read["unit"] = u
        rows = np.concatenate([rows, read])
    return rows[np.argsort(rows["day"], kind="stable")]


def told(made, u, sig, meter):
    """(what the search finds, odds of the causes after it) of one unit today; (None, None) where nothing can be
    said."""
    rows = observations(made, u, meter)
    if not len(rows) or rows["day"].max() < TODAY:
        return None, None
    level, doubt = made.level[u], made.doubt[u]
    found = judge.find(rows, TODAY, 1, level, doubt, noise.METER, False)
    got = odds.judge(rows, sig, TODAY, 1, level, doubt, noon_due(made.fleet, u, rows))
    return found, got and judge.agreed(found, got)


class Tally:
    """What was made of units whose truth is known."""

    def __init__(self):
        self.score, self.sound, self.flagged, self.found, self.first, self.second = ([] for _ in range(6))

    def take(self, plan, found, got, limit):
        if plan is None:
            self.score.append(np.log(max(got.none, 1e-6)))
            self.sound.append(got.none > 0.5)
            self.flagged.append(found.fault > limit)
            return
        cause = next(n for n, name in enumerate(names.NAMES) if MAP[name] == plan.kind)
        self.score.append(np.log(max((1 - got.none) * got.cause[cause], 1e-6)))
        self.found.append(found.fault > limit)
        if got.none < 0.5:
            best = np.argsort(-got.cause).tolist()
            self.first.append(best[0] == cause)
            self.second.append(cause in best[:2])

    def __str__(self):
        sound, flagged, found, first, second = (
            f"{np.mean(x):.1%}" for x in (self.sound, self.flagged, self.found, self.first, self.second)
        )
        return (f"log {np.mean(self.score):.3f}; sound said so {sound}, flagged {flagged}; faulty found {found}; "
                f"of {len(self.first)}: first {first}, of the first two {second}")  # fmt: skip


def tally(units, fleets, earlier, meter):
    limit, made_of = float(judge.limit(LIMIT_ALARMS, False)), Tally()
    for seed in range(fleets):
        made = tested(300 + seed, units, earlier)
        signs = signatures.of_units(made.fleet, range(units), MONTH)
        for u in range(units):
            found, got = told(made, u, signs[u], meter)
            if got is not None:
                made_of.take(made.plan[u], found, got, limit)
    return made_of


def main(units=240, fleets=2):
    for earlier, meter in ((0, False), (2, False), (0, True)):
        print(f"{earlier} earlier tests{', meter' if meter else ''}".ljust(24), tally(units, fleets, earlier, meter))


if __name__ == "__main__":
    main(*(int(n) for n in sys.argv[1:]))
