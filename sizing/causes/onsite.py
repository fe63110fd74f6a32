"""Tests on site among a unit's observations: how they are told from other readings, and what a fault does to them.

A test stands there as a quarter of an hour of a usual day (judge.onsite), so that its flow over the flow that was due
is a figure as a day's water over the water due. It covers no days, knows its sun from an instrument, and no float
switch takes part in it.
"""

import numpy as np

from sizing import compiled
from sizing.causes import weigh
from sizing.causes.names import NUMBER

SPAN_DAYS = 15 / 1440
# What stands for "told by" (judge.record.OBSERVATION) at a test: flow by the unit's own meter or by a bucket, level as
# recorded or dipped; and a dip alone, which says nothing of the flow.
BY_METER, BY_BUCKET, METER_DIPPED, BUCKET_DIPPED, DIP = -2, -3, -4, -5, -6
TYPE_LEVEL, TYPE_SD = -0.06, 0.08  # log of output over the chain's among sound units, before their own tests
CARRY_SD = 0.05  # from a quarter of an hour to days: shape of the day, low sun
SUN_SD = 0.05  # a hand-held cell (field practice, 5.2)


def is_test(told_by):
    """Whether readings are tests on site; any shape."""
    return np.asarray(told_by) <= BY_METER


def by_bucket(told_by):
    """Whether the flow went past the unit's own meter."""
    return np.isin(told_by, (BY_BUCKET, BUCKET_DIPPED))


def dipped(told_by):
    """Whether the flow due was reckoned at the level of that day."""
    return np.isin(told_by, (METER_DIPPED, BUCKET_DIPPED))


def other_noons(rows):
    """Which observations have a noon of the unit's own instruments, not of a test."""
    return np.isfinite(rows["noon_w_m2"]) & ~is_test(rows["told_by"])


@compiled()
def carried(level_sd):
    """(covariance with the own level, variance) of what tests of a unit have in common and its days have not.

    level_sd: doubt of the own level after the tests at commissioning. Those fix level and carry together, the first as
    prior TYPE_SD, the second as CARRY_SD: so a later test is known better by them than a day's water is.
    """
    gain = min(max(1.0 - (level_sd / TYPE_SD) ** 2, 0.0), 1.0)
    share = (CARRY_SD / TYPE_SD) ** 2
    return -gain * CARRY_SD**2, CARRY_SD**2 * (1.0 - gain * share)


def carried_mean(level):
    """How much more (log) a sound unit's test shows than its days: what the tests at commissioning leave of it."""
    return (CARRY_SD / TYPE_SD) ** 2 * (np.asarray(level, float) - TYPE_LEVEL)


def held(supply, drawn):
    """Litres a day that a float switch lets come of a supply where people draw so much; NaN: no limit. Broadcasts."""
    return np.where(np.isfinite(drawn), np.minimum(supply, drawn), supply)


def day_left(form, left, supply, drawn):
    """Log of a day's water left (h, t) behind a float switch, from the log of what is left of supply or of the draw."""
    given, asked = (np.where((form == changed)[:, None], np.exp(left), 1.0) for changed in (weigh.SUPPLY, weigh.DRAWN))
    kept = held(supply * given, drawn * asked) / held(supply, drawn)
    return np.where((form == weigh.BOOKS)[:, None], left, np.log(np.maximum(kept, weigh.LEAST)))


def flow_left(sig, flow_at_sun, told_by):
    """Log of flow left at tests (h, t) by signatures of h hypotheses. flow_at_sun (h, t): of the chain with the fault
    over the sound one's at that sun; told_by (t,).

    A bucket does not go through the meter; a dipped level has the sunk well in what is due; and what stands by chance
    is waited for, so that the test finds it running.
    """
    out = np.log(np.maximum(flow_at_sun, weigh.LEAST))
    out[np.ix_(sig.form == weigh.BOOKS, by_bucket(told_by))] = 0.0
    out[np.ix_(sig.cause == NUMBER["water_sinks"], dipped(told_by))] = 0.0
    out[(sig.cause == NUMBER["cuts_out"]) & (sig.size > 0)] = 0.0
    return out
