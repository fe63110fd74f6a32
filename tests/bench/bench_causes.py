"""What it costs to ask the causes of flagged units: signatures and odds, milliseconds a unit, in one process.

    python -m tests.bench.bench_causes [units]

Units differ in depth and frame, so that none shares another's signatures; the nights of a month find them again.
Prints processor time, which a busy machine does not lengthen.
"""

import sys
import time

import numpy as np

from sizing import judge
from sizing.causes import checks, odds, shape, signatures
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row

DAY, DAYS, MONTH = 19800, 240, 5


def fleet(n):
    """n installations, every second with two strings, every third with a float switch."""
    rng = np.random.default_rng(1)
    depth = rng.uniform(15, 45, n)
    return invented_fleet(*[
        row(static_level_m=float(d), setting_depth_m=float(d) + 15, tilt_deg=float(rng.uniform(8, 25)),
            latitude_deg=float(rng.uniform(5, 15)), strings=1 + i % 2, float_switch=i % 3 == 0,
            pump_type="screw", need_l_day=3000.0)
        for i, d in enumerate(depth)
    ])  # fmt: skip


def rows_of(rng, unit, rhythm, float_switch):
    """Observations of a unit that lost a quarter of its water forty days ago. rhythm: days between figures."""
    count = DAYS // rhythm
    rows = np.zeros(count, judge.OBSERVATION)
    for name in rows.dtype.names:
        if rows.dtype[name].kind == "f":
            rows[name] = np.nan
    rows["unit"], rows["day"], rows["since"] = unit, DAY - DAYS + rhythm * (1 + np.arange(count)), rhythm
    rows["supply_l"] = rows["expected_l"] = 4000.0 * rhythm
    fell = np.where(rows["day"] > DAY - 40, 0.75, 1.0)
    rows["measured_l"] = 4000 * rhythm * fell * np.exp(rng.normal(0, 0.04, count))
    rows["clearness"], rows["weather_var"], rows["light_gain"] = rng.normal(1, 0.4, count), 0.002, 1.0
    rows["told_by"] = 5
    if float_switch:
        rows["demand_l"], rows["tick"] = 3500.0, rng.integers(0, 2, count)
    return rows


def with_noons(rng, rows):
    """The same with noon readings, and what was due at those noons."""
    n = len(rows)
    rows["noon_w_m2"], rows["told_by"] = rng.uniform(500, 950, n), -1
    rows["sky"], rows["sky_var"] = rows["clearness"] + rng.normal(0, 0.2, n), 0.05
    due = np.full(n, 58.0), np.full(n, 6.5), np.full(n, 30.0), np.full(n, 28.0)
    rows["noon_v"], rows["noon_a"], rows["noon_level_m"] = (d * np.exp(rng.normal(0, 0.02, n)) for d in due[:3])
    return rows, due


def course_of(rng, made, unit):
    """Its days by quarter hours: clear ones with cloud, by flow and an own cell."""
    due = shape.due(made, unit, MONTH)
    clear = shape.hours_to_quarters(due.light[-1, -4])
    sun = clear * rng.uniform(0.4, 1.0, (DAYS, clear.size))
    ran = np.interp(sun, np.arange(due.flow.size) * 25.0, due.flow)
    return shape.Course(DAY - DAYS + 1 + np.arange(DAYS), ran, sun, False, due)


def spent(work):
    start = time.process_time()
    made = work()
    return made, time.process_time() - start


def main(n=300):
    rng = np.random.default_rng(2)
    made = fleet(n)
    signatures.of_units(made, [0], MONTH)  # compiles
    signatures.forget()
    sigs, seconds = spent(lambda: signatures.of_units(made, range(n), MONTH))
    print(f"signatures, worked out: {1000 * seconds / n:.2f} ms a unit")
    sigs, seconds = spent(lambda: signatures.of_units(made, range(n), MONTH))
    print(f"signatures, the next night: {1000 * seconds / n:.3f} ms a unit")
    found = []
    courses, seconds = spent(lambda: [course_of(rng, made, unit) for unit in range(n)])
    print(f"what is due of a day by quarter hours: {1000 * seconds / n:.2f} ms a unit")
    for name, rhythm, noons in (
        ("meter read monthly", 30, False), ("daily meter", 1, False), ("logger", 1, True),
        ("logger with its quarter hours", 1, True),
    ):  # fmt: skip
        asked = []
        for unit in range(n):
            rows, due = rows_of(rng, unit, rhythm, bool(made.float_switch[unit])), None
            if noons:
                rows, due = with_noons(rng, rows)
            one = odds.Asked(rows, sigs[unit], DAY, DAY - DAYS, 0.0, 0.05, due)
            asked.append(one._replace(course=courses[unit]) if "quarter" in name else one)
        odds.judge_many(asked[:2])
        found, seconds = spent(lambda asked=asked: odds.judge_many(asked))
        print(f"odds, {name}: {1000 * seconds / n:.2f} ms a unit")
    _, seconds = spent(lambda: [checks.choose(o.cause, checks.effects(s, o.size)) for o, s in zip(found, sigs)])
    print(f"checks to make: {1000 * seconds / n:.2f} ms a unit")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
