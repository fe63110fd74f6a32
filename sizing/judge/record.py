"""What is carried from night to night, what comes in, and what a night leaves behind.

`State` is a row of numbers an installation: its healthy level, the running evidence, its meter's last good total.
It is all that a night needs of the past, so that judging day by day and judging up to a day agree, whatever the
batches.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from sizing.judge import season

SIZES = np.array([0.08, 0.16, 0.33, 0.80, 3.0])  # losses (log) the running evidence is kept for; the last: stopped
NODES = 5  # of the day's clearness, when it is only known within a range

# What one reading said, as a row. Stored with the evaluation, it is also all that the causes are judged from.
OBSERVATION = np.dtype(
    [
        ("unit", np.int32),  # place in the fleet
        ("day", np.int32),  # days since 1970-01-01, local: the day of the reading
        ("since", np.float32),  # days that it covers
        ("measured_l", np.float32),
        ("supply_l", np.float32),  # due by weather and the chain, demand and own level left aside
        ("expected_l", np.float32),  # due by weather, own level and demand
        ("low_l", np.float32),  # 80 % range of the measured figure of a healthy unit
        ("high_l", np.float32),  # of a test: litres a day that people draw, where a float switch limits
        ("clearness", np.float32),  # on the scale of causes.table, mean over the days covered
        ("weather_var", np.float32),  # variance of log water by not knowing the sky, or by a well that ran dry
        ("light_gain", np.float32),  # per cent of water that a per cent of light is worth
        ("demand_l", np.float32),  # a day, where a float switch limits; NaN where not
        ("surprise", np.float32),  # standard deviations off the expected; negative: too little
        ("told_by", np.int16),  # neighbours that told the weather; -1: own cell; below: a test on site (causes.onsite)
        ("mistake", np.int8),  # doubt about the figure, mistakes.NAMES; not 0: not used
        ("other", np.int32),  # place of the unit with which a figure was exchanged; -1: none
        ("meant", np.float64),  # suggested figure; of a test by bucket: the meter's flow beside it over its own
        ("tick", np.float32),  # tank seen full: 1, 0, NaN
        ("hour", np.float32),  # of a meter reading, local
        ("noon_w_m2", np.float32),
        ("noon_v", np.float32),
        ("noon_a", np.float32),
        ("noon_level_m", np.float32),
        ("own_kwh_m2", np.float32),  # own cell's day in the plane
        ("sky", np.float32),  # clearness by the neighbours alone
        ("sky_var", np.float32),
    ]
)


def blank(count):
    """Observations (count,) of which nothing is known."""
    rows = np.zeros(count, OBSERVATION)
    for name in OBSERVATION.names:
        if rows.dtype[name].kind == "f":
            rows[name] = np.nan
    rows["other"] = -1
    return rows


@dataclass(frozen=True)
class Days:
    """Day records of one day: unit (m,), volume_l, and where known irradiation_kwh_m2 (in plane) and the quarter
    hour at
    solar noon; NaN where missing."""

    unit: np.ndarray
    volume_l: np.ndarray
    irradiation_kwh_m2: np.ndarray
    noon_w_m2: np.ndarray
    noon_v: np.ndarray
    noon_a: np.ndarray
    noon_level_m: np.ndarray
    tank_full: np.ndarray = None  # ticked by the caretaker: seen full at some time of that day, 1, 0, NaN
    sure: np.ndarray = None  # a person has said that the volume is right: it is not doubted any more

    def __post_init__(self):
        if self.tank_full is None:
            object.__setattr__(self, "tank_full", np.full(len(self.unit), np.nan))
        if self.sure is None:
            object.__setattr__(self, "sure", np.zeros(len(self.unit), bool))


@dataclass(frozen=True)
class Totals:
    """Meter totals read on one day: unit (m,), hour (local, with fraction; NaN: not written down), total_l, tank_full,
    and whether a person has said that the total is right (sure)."""

    unit: np.ndarray
    hour: np.ndarray
    total_l: np.ndarray
    tank_full: np.ndarray
    sure: np.ndarray = None

    def __post_init__(self):
        if self.sure is None:
            object.__setattr__(self, "sure", np.zeros(len(self.unit), bool))


@dataclass(frozen=True)
class State:
    """Arrays (n,), except evidence and onset (n, sizes), split (n, 4) and split_var (n, 10). Days count from
    1970-01-01."""

    level: np.ndarray  # log of own healthy output over the chain's
    level_var: np.ndarray
    noise: np.ndarray  # own scatter over the expected scatter, variance ratio
    demand: np.ndarray  # log litres a day, where a float switch limits
    demand_var: np.ndarray
    sky_bias: np.ndarray  # clearness here over the climatology's
    patchy: np.ndarray  # variance of clearness here over the usual
    due_l: np.ndarray  # running sum of expected litres, like a meter of what should have been
    supply_l: np.ndarray
    due_var: np.ndarray  # running sum of variances, litres squared
    sky_sum: np.ndarray  # running sums for the mean clearness of a period
    days: np.ndarray
    total: np.ndarray  # last good meter total and the sums at that moment
    total_day: np.ndarray
    due_at: np.ndarray
    supply_at: np.ndarray
    due_var_at: np.ndarray
    sky_at: np.ndarray
    days_at: np.ndarray
    doubted: np.ndarray  # the total last left out, and the sums at that moment, should the next agree with it
    doubted_due: np.ndarray
    doubted_day: np.ndarray
    evidence: np.ndarray  # log likelihood ratios, one a size
    onset: np.ndarray  # day each began to rise
    lacked: np.ndarray  # litres that the last period fell short of what was due
    doubts: np.ndarray  # days in a row with a doubted volume
    suspect: np.ndarray  # 1 while a flag is open: does not tell the weather, does not move its level
    split: np.ndarray  # own output through the year (judge.season): its constant, its wave, its lean, and
    split_var: np.ndarray  # the doubt of them
    season: np.ndarray  # log of output over the usual that neighbours lead to expect now

    def take(self, units):
        """State of some units."""
        return State(*(getattr(self, f.name)[units] for f in fields(self)))

    def put(self, units, part):
        """A copy in which some units' rows are replaced."""
        whole = {}
        for f in fields(self):
            column = getattr(self, f.name).copy()
            column[units] = getattr(part, f.name)
            whole[f.name] = column
        return State(**whole)

    def with_(self, **columns):
        """A copy with some columns replaced."""
        return replace(self, **columns)

    def as_rows(self):
        """One float64 row an installation, for storage: (n, width)."""
        return np.concatenate([_column(getattr(self, f.name)) for f in fields(self)], axis=1)

    @staticmethod
    def from_rows(rows):
        """Back from storage. rows (n, width) as `as_rows` gave them."""
        widths = [WIDTHS.get(f.name, 1) for f in fields(State)]
        if sum(widths) != rows.shape[1]:
            raise ValueError(
                f"a stored state has {rows.shape[1]} numbers, {sum(widths)} are needed: judge from the readings again"
            )
        parts = np.split(np.asarray(rows, float), np.cumsum(widths)[:-1], axis=1)
        out = [part.copy() if part.shape[1] > 1 else part[:, 0].copy() for part in parts]
        return State(*out)


WIDTHS = {"evidence": SIZES.size, "onset": SIZES.size, "split": season.PLACES, "split_var": season.PAIRS}


def _column(values):
    values = np.asarray(values, float)
    return values if values.ndim == 2 else values[:, None]


def new_state(n, level=0.0, level_sd=0.08, demand_l=np.nan, day=0):
    """State of n installations on their first day: level from test sheet and commissioning tests, demand as
    surveyed."""

    def full(value):
        return np.array(np.broadcast_to(np.asarray(value, float), (n,)))

    zero = {f.name: np.zeros(n) for f in fields(State)}
    split, split_var = season.start(full(level), full(level_sd))
    zero |= {
        "split": split,
        "split_var": split_var,
        "level": full(level),
        "level_var": full(level_sd) ** 2,
        "noise": np.ones(n),
        "patchy": np.ones(n),
        "demand": np.log(np.maximum(full(demand_l), 1.0)),
        "demand_var": np.full(n, 0.18**2),
        "total": np.full(n, np.nan),
        "doubted": np.full(n, np.nan),
        "evidence": np.zeros((n, SIZES.size)),
        "onset": np.full((n, SIZES.size), float(day)),
    }
    return State(**zero)
