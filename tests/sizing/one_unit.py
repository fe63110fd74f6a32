"""Day records of one invented unit, whose water is a share of what was due, with noons where they are wanted."""

import numpy as np

from sizing import judge

DAY = 19500
FIRST = DAY - 80


def rows_of(ratio, expected=4000.0, days=80, noise=0.03, seed=2):
    """Day records whose measured water is `ratio` (days,) of the expected, with own cell and a little noise."""
    rows = np.zeros(days, judge.OBSERVATION)
    for name in rows.dtype.names:
        if rows.dtype[name].kind == "f":
            rows[name] = np.nan
    rng = np.random.default_rng(seed)
    rows["day"], rows["since"] = FIRST + 1 + np.arange(days), 1
    rows["supply_l"] = rows["expected_l"] = expected
    rows["measured_l"] = expected * np.asarray(ratio) * np.exp(rng.normal(0, noise, days))
    rows["clearness"], rows["weather_var"], rows["light_gain"], rows["told_by"] = rng.normal(1, 0.4, days), 0.0, 1.0, -1
    return rows


def fell(days_ago, to):
    ratio = np.ones(80)
    ratio[80 - days_ago :] = to
    return ratio


def with_noons(rows, amps=1.0, volts=1.0, level=0.0, since=DAY - 12):
    """The same rows with noon readings: shares of what was due from a day on, and a level that differs from the due."""
    n = len(rows)
    rng = np.random.default_rng(4)
    rows["noon_w_m2"] = rng.uniform(600, 900, n)
    late = rows["day"] > since
    rows["noon_a"] = 6.5 * np.where(late, amps, 1.0) * np.exp(rng.normal(0, 0.01, n))
    rows["noon_v"] = 58.0 * np.where(late, volts, 1.0) * np.exp(rng.normal(0, 0.005, n))
    rows["noon_level_m"] = 30.0 + np.where(late, level, 0.0) + rng.normal(0, 0.05, n)
    return rows, (np.full(n, 58.0), np.full(n, 6.5), np.full(n, 30.0), np.full(n, 28.0))
