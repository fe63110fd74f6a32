"""The running evidence: what one more figure adds to "nothing is wrong" and to losses of several sizes.

For every size of loss a cumulative sum of log likelihood ratios is kept (Page 1954, Biometrika 41:100), set back to
nought whenever
nothing wrong is likelier; so the sum counts only from the likeliest onset on. A float switch blunts both the level
and the loss: where
demand limits, a loss of half the supply may cost no water, and the ratio then says nothing.
"""

import numpy as np
from scipy.special import ndtr

from sizing.judge.record import SIZES

DEMAND_SPREAD = 0.25  # of a household's or village's draw from day to day (log), common practice, no source
METER_NOISE = (
    0.02  # class 2 in its upper range, one sigma; its constant part is in the level (ISO 4064-1, seen second-hand)
)
CHAIN_NOISE = 0.015  # what the chain leaves open from day to day: air temperature, wind, shape of the day
LIGHT_NOISE = 0.025  # the same of the light that reaches the cells: dirt, its colour, low sun
GAIN_A_FIGURE = 2.5  # evidence that a single figure can give or take: a day's outage is no fault
LEVEL_DRIFT = 0.0045  # of a healthy level in a day (log): 5 % in some months, by dirt and the well's seasons
REACH = 3.0  # a surprise beyond this many deviations moves the level no further
FROZEN = 3.0  # evidence above which the level waits
LEAST = 0.02  # smallest share of the expected that a ratio distinguishes from nothing


def limited(supply_l, demand_l):
    """Mean litres of a day when a float switch stops at the demand, which varies from day to day; NaN demand: no limit.

    The mean of the lesser of a sure supply and a normal demand. Broadcasts.
    """
    spread = DEMAND_SPREAD * demand_l
    z = (supply_l - demand_l) / spread
    mean = supply_l - spread * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))
    return np.where(np.isfinite(demand_l), np.maximum(mean, 0.0), supply_l)


def freedom(supply_l, demand_l):
    """Share (0-1) by which more or less supply shows in the water: 1 without a float switch, near 0 when always
    full."""
    spread = DEMAND_SPREAD * demand_l
    free = ndtr((demand_l - supply_l) / spread) * supply_l / np.maximum(limited(supply_l, demand_l), 1e-9)
    return np.where(np.isfinite(demand_l), np.clip(free, 0.0, 1.0), 1.0)


def weigh(state, ratio, variance, supply_l, demand_l, day, span=1.0):
    """States after one figure each, and how surprising it was.

    ratio (m,): log of measured over expected (own level in); variance (m,): of it, own level left aside; supply_l:
    litres a
    day with own level; demand_l: litres a day or NaN; span: days the figure covers. Figures not finite change nothing.
    """
    seen = np.isfinite(ratio) & np.isfinite(variance) & np.isfinite(supply_l)
    e, span, supply_l = np.where(seen, ratio, 0.0), np.where(seen, span, 0.0), np.where(seen, supply_l, 1.0)
    free = freedom(supply_l, demand_l)
    drift = LEVEL_DRIFT**2 * span
    level_var = np.minimum(state.level_var + np.where(seen, drift, 0), 0.15**2)
    v = np.where(seen, variance, 1.0) * state.noise
    total = v + free**2 * level_var
    z = e / np.sqrt(total)

    with np.errstate(divide="ignore"):
        lost = [
            np.log(
                np.maximum(limited(supply_l * np.exp(-d), demand_l), 1e-3)
                / np.maximum(limited(supply_l, demand_l), 1e-3)
            )
            for d in SIZES
        ]
    shift = np.stack(lost, axis=1)
    heavy = total + 0.3 * np.maximum(np.abs(e) - 4 * np.sqrt(total), 0) ** 2  # one wild figure proves little
    gain = (shift * e[:, None] - 0.5 * shift**2) / heavy[:, None]
    gain = np.clip(gain, -GAIN_A_FIGURE, GAIN_A_FIGURE * np.maximum(np.sqrt(span / 3), 1)[:, None])
    evidence = np.where(seen[:, None], np.maximum(state.evidence + gain, 0.0), state.evidence)
    onset = np.where(state.evidence <= 0, (float(day) - span + 1)[:, None], state.onset)

    calm = seen & (state.suspect == 0) & (evidence[:, :4].max(axis=1) < FROZEN)
    expected = limited(supply_l, demand_l)
    drawn = e + np.log(np.maximum(expected, 1))
    kalman = np.where(calm, free * level_var / total, 0.0)
    step = np.clip(e, -REACH * np.sqrt(total), REACH * np.sqrt(total))
    draw_var = np.minimum(state.demand_var + np.where(seen, 0.02**2 * span, 0), 0.3**2)
    # was it the demand that limited? a figure near the supply says nothing of the demand, one below it does
    by_supply = np.exp(-0.5 * (drawn - np.log(np.maximum(supply_l, 1))) ** 2 / (v + 0.05**2)) / np.sqrt(v + 0.05**2)
    by_demand = (
        np.exp(-0.5 * ((drawn - state.demand) / DEMAND_SPREAD) ** 2)
        / DEMAND_SPREAD
        * ndtr((np.log(np.maximum(supply_l, 1)) - state.demand) / 0.3)
    )
    limits = calm & np.isfinite(demand_l) & (np.abs(drawn - state.demand) < 3 * DEMAND_SPREAD)
    r = np.where(limits, by_demand / (by_demand + by_supply + 1e-9), 0.0)
    draw = r * draw_var / (draw_var + DEMAND_SPREAD**2 / np.maximum(span, 1) + 1e-9)
    noise = np.where(calm, np.clip(state.noise * (1 + 0.03 * (np.minimum(z * z, 6.0) - 1)), 0.5, 3.0), state.noise)
    after = state.with_(
        level=state.level + kalman * step,
        level_var=level_var * (1 - kalman * free),
        demand=state.demand + draw * np.clip(drawn - state.demand, -0.5, 0.5),
        demand_var=draw_var * (1 - draw),
        noise=noise,
        evidence=evidence,
        onset=onset,
    )
    return after, np.where(seen, z, np.nan)
