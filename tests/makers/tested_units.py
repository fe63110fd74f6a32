"""Units of which nothing is known but spot tests: sound ones and such that lose a share of their flow from a day on.

    python -m tests.makers.tested_units [UNITS, 400]

Prints, by tests at commissioning and tests a year: sound units flagged among a hundred a year where the setting allows
ten, and the share of losses that was flagged within a year. Sun (5 % a test, and 3 % that a hand cell is off by for
good), flow, own level, what tests of a unit have in common, and its seasons are drawn anew for each unit.
"""

import sys

import numpy as np

from sizing import judge
from sizing.causes import onsite
from sizing.judge import noise
from sizing.judge.onsite import LEAST_SD
from sizing.judge.record import blank

FIRST = 19500
LIGHT_GAIN = 1.2  # per cent of flow that a per cent of light is worth
SUN_SD, CELL_SD, FLOW_SD, CHAIN_SD, SLOW_SD, SLOW_DAYS = 0.05, 0.03, 0.03, 0.03, 0.04, 80.0
USUAL_L = 4000.0 * onsite.SPAN_DAYS


def figures_of(rng, days, at_commissioning=3, lost=0.0, from_day=0):
    """(observations of tests on `days` (t,), level and its doubt by the tests at commissioning) of one unit."""
    level, carry, cell = rng.normal(onsite.TYPE_LEVEL, onsite.TYPE_SD), rng.normal(0, onsite.CARRY_SD), rng.normal(0, 1)

    def scatter(n):
        light = rng.normal(0, SUN_SD, n) + CELL_SD * cell
        return LIGHT_GAIN * light + rng.normal(0, FLOW_SD, n) + rng.normal(0, CHAIN_SD, n)

    known, doubt = onsite.TYPE_LEVEL, onsite.TYPE_SD
    if at_commissioning:
        seen = np.median(level + carry + scatter(at_commissioning))
        error = onsite.CARRY_SD**2 + 0.06**2 / at_commissioning
        gain = onsite.TYPE_SD**2 / (onsite.TYPE_SD**2 + error)
        known, doubt = known + gain * (seen - known), doubt * np.sqrt(1 - gain)
    apart = np.abs(days[:, None] - days[None, :])
    flow = level + carry + scatter(days.size) + rng.multivariate_normal(
        np.zeros(days.size), SLOW_SD**2 * np.exp(-apart / SLOW_DAYS)
    )  # fmt: skip
    rows = blank(days.size)
    rows["day"], rows["since"], rows["told_by"] = FIRST + days, onsite.SPAN_DAYS, onsite.BY_BUCKET
    rows["supply_l"] = USUAL_L * np.exp(onsite.carried_mean(known))
    rows["measured_l"] = USUAL_L * np.exp(flow) * np.where(days >= from_day, 1 - lost, 1.0)
    rows["clearness"], rows["light_gain"] = 1.0, LIGHT_GAIN
    rows["weather_var"] = max((LIGHT_GAIN * SUN_SD) ** 2 + FLOW_SD**2 + CHAIN_SD**2, LEAST_SD**2)
    return rows, known, doubt


def raised(made, limit):
    """Days (since the first) of the tests that would raise a flag."""
    rows, level, doubt = made
    found = (
        (int(rows["day"][n]), judge.find(rows[: n + 1], int(rows["day"][n]), FIRST, level, doubt, noise.METER, False))
        for n in range(len(rows))
    )
    return [day - FIRST for day, got in found if got.fault > limit]


def some_days(rng, years, a_year):
    return np.sort(rng.choice(np.arange(20, int(365 * years)), int(years * a_year), replace=False))


def main(units=400):
    rng, limit = np.random.default_rng(3), float(judge.limit(10, False))
    losses = (0.2, 0.3, 0.4, 0.6)
    print("commissioning  a year  sound flagged in 100 a year  found: ", "  ".join(f"{q:.0%}" for q in losses))
    for first in (0, 1, 3):
        for a_year in (2, 4, 8):
            sound = sum(bool(raised(figures_of(rng, some_days(rng, 2, a_year), first), limit)) for _ in range(units))
            shares = []
            for lost in losses:
                made = (figures_of(rng, some_days(rng, 2, a_year), first, lost, 300) for _ in range(units // 2))
                shares.append(np.mean([any(300 <= day <= 665 for day in raised(one, limit)) for one in made]))
            flagged = 100 * sound / (2 * units)
            print(f"{first:13} {a_year:7} {flagged:28.1f} {'':7}", "  ".join(f"{s:.0%}" for s in shares))


if __name__ == "__main__":
    main(*(int(n) for n in sys.argv[1:]))
