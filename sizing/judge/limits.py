"""The one setting, false alarms per hundred units a year, turned into the limit of log odds, and what it costs in days.

Both stand in a table made by simulation (`python -m tests.makers.simulate_limits`): flags that the whole rule would
raise on sound units of simulated fleets, causes asked, were counted for each limit, and losses put into sound units'
figures were looked for. Other fleets may see half or twice as many.
"""

import csv
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sizing.judge.noise import KINDS, kind_of

# Running evidence from which a unit that reports daily is looked at: one unit-day in five or less. Looking at all of
# them would tell losses that came at once about a day sooner.
ASK = 6.0
TABLE = Path(__file__).parents[1] / "tables" / "false_alarms.csv"
LOSSES = (0.10, 0.20, 0.40, 1.0)  # for which the days to notice are kept
LONGEST = 182  # days; what takes longer counts as not noticed


class Limits(NamedTuple):
    """alarms (a,) per hundred units a year; limit (kinds, a); days (kinds, losses, a), NaN: not within LONGEST."""

    alarms: np.ndarray
    limit: np.ndarray
    days: np.ndarray


@lru_cache(maxsize=1)
def simulated():
    """The table as arrays."""
    with TABLE.open(newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    alarms = np.array(sorted({float(r["alarms_per_hundred_unit_years"]) for r in rows}))
    limit = np.full((len(KINDS), len(alarms)), np.nan)
    days = np.full((len(KINDS), len(LOSSES), len(alarms)), np.nan)
    for r in rows:
        kind, at = KINDS.index(r["reports"]), int(np.searchsorted(alarms, float(r["alarms_per_hundred_unit_years"])))
        limit[kind, at] = float(r["limit"])
        for k, loss in enumerate(LOSSES):
            days[kind, k, at] = float(r[f"days_{round(100 * loss)}"] or "nan")
    return Limits(alarms, limit, days)


def limit(alarms_per_hundred, daily, has_cell=True):
    """Limit of log odds (broadcasts); between the kept ones on a logarithmic scale, held beyond them."""
    known = simulated()
    x = np.log(np.clip(alarms_per_hundred, known.alarms[0], known.alarms[-1]))
    each = [np.interp(x, np.log(known.alarms), row) for row in known.limit]
    return np.choose(kind_of(daily, has_cell), each)


def days_to_notice(alarms_per_hundred, loss, kind):
    """Days, by the median, from a sudden loss of a share in LOSSES to its flag; None: not within half a year.

    kind: a place in noise.KINDS.
    """
    known = simulated()
    days = known.days[kind, LOSSES.index(loss)]
    x = np.log(np.clip(alarms_per_hundred, known.alarms[0], known.alarms[-1]))
    got = np.interp(x, np.log(known.alarms), np.where(np.isnan(days), 2 * LONGEST, days))
    return None if got > LONGEST else float(got)
