"""How likely each cause is, from all readings of a unit at once.

Under "nothing is wrong" the differences of each channel of readings (`channels`) are normal with a known covariance, so
the evidence for a fault of a given size, manner and beginning is a sum over its readings (`weigh`). Summed over sizes
and beginnings with their rates beforehand, the evidence gives the odds: of each cause, of less demand, of a figure
written down wrongly, of nothing.
"""

from typing import NamedTuple

import numpy as np

from sizing.causes import channels, onsite, shape, weigh
from sizing.causes.names import NAMES, NOT_A_FAULT, NUMBER, RAMPS, RATES
from sizing.causes.table import X

RECENT_WATER_DAYS = 3  # over which a loss is told: what it costs now, not what it has cost on the mean
TRIFLE = 0.93  # a fault that leaves more of the water than this is not worth a flag
BEGINNINGS = np.array([0, 1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58, 72, 90, 112, 140, 175, 215, 265])
SPARSE = np.unique(np.concatenate([np.arange(0, 70, 2), BEGINNINGS]))  # finer, where a figure covers weeks
UNSEEN_DAYS = 150.0  # how long a fault may have gone unseen: beforehand, older beginnings are so much less likely
NOON_TRUST = 0.8  # noon readings of days in a row are not as independent as they are counted
NOON_SHIFT = 2.0  # log odds of a fault that they can add to or take from what the water says: they part causes
MISREAD, MISREAD_SD = 0.004, 0.8  # figures a time that are wrong without looking it, and how far off they are (log)
MISREAD_TEST = 0.001  # the same of a test: filled three times, its slips asked about on the spot (a judgement)
COPIED = 0.0008  # totals that are the last one's, written down again (a judgement)
NOUGHT = float(np.log((0.02 + weigh.SOFT) / (1 + weigh.SOFT)))  # of the water's scale: as good as nothing
# Weather that scatters without loss: so much likelier beforehand than a unit that cuts out, and how long it lasts
PATCHY, PATCHY_DAYS = np.log([3.0, 15.0]), 30.0  # with an own cell, without
PATCHY_CHANCE = (0.03, 0.3)  # that days scatter so under any cause, with an own cell or without
# Day records share errors that the covariance does not know (the chain's own shape, how a fault really comes), so that
# the causes they part alone are held less apart than counted; what noon readings part is trusted less already
# (NOON_TRUST). And no cause is ruled out by what a model leaves out.
DAILY_DOUBT, RULED_OUT = 1.6, 0.03
SIZE_SPREAD = 0.22  # how far a size may lie from the one tried, relative; grids step by about twice that (log loss)
EIGHTY = 1.2816  # sigmas on either side that hold four in five
REMEMBERED_DAYS = channels.REMEMBERED_DAYS
STARTS = np.array(RAMPS)
SPREAD = np.full(len(NAMES), SIZE_SPREAD**2)
SPREAD[[NUMBER["stands_still"], NUMBER["meter_stands"]]] = 0.0
SPREAD[NUMBER["string_open"]] = 0.08**2


class Odds(NamedTuple):
    """Of one unit. fault: log odds that any fault is there against none and less demand; demand: of less demand
    against the rest; cause (causes,): probabilities given that something is; none: probability of nothing; onset: first
    day with the fault, with its 80 % range; lost_l: litres a day now with range; kept: share of water left; misread:
    probability that nothing but the newest figure is wrong; size (causes,): of each, 0 where it cannot be."""

    fault: float
    demand: float
    cause: np.ndarray
    none: float
    onset: tuple
    lost_l: tuple
    kept: float
    misread: float = 0.0
    size: np.ndarray = None


class Asked(NamedTuple):
    """What is known of one unit when its causes are asked for.

    rows: its observations (judge.record.OBSERVATION); signatures: of the unit and month; today; first: day from which a
    fault could have begun (installed or last put right); level, level_sd: log of own output over the chain's and its
    doubt, from the commissioning tests; noon: expected (volts, amps, level, level at rest) at each row's noon, or None;
    noise: own scatter over the usual, variance ratio; rates: per unit and day (causes,); course: its days by quarter
    hours (shape.Course), or None; on_site: asked of its newest test, so that what costs that test water counts, though
    a full tank may hide it in the day's.
    """

    rows: np.ndarray
    signatures: object
    today: int
    first: int
    level: float
    level_sd: float
    noon: tuple | None = None
    noise: float = 1.0
    rates: np.ndarray = RATES
    course: object = None
    on_site: bool = False


def judge(rows, signatures, today, first, level, level_sd, noon=None, noise=1.0, rates=RATES, course=None):
    """Odds of the causes of one unit today (see `Asked`); None where there is nothing to go by."""
    return _judge(Asked(rows, signatures, today, first, level, level_sd, noon, noise, rates, course))


def judge_many(asked):
    """Odds of many units, in the order of the `Asked`; None where there is nothing to go by."""
    return [_judge(one) for one in asked]


class Weighed(NamedTuple):
    """What the readings say of all hypotheses (h, ramps, begin): g'Wy and g'Wg (`weigh`), what else was told, log of
    water kept now; innocent: log weights of a misread figure, first, and of patchy weather."""

    linear: np.ndarray
    square: np.ndarray
    told: np.ndarray
    now: np.ndarray
    innocent: np.ndarray


def _judge(ask):
    water = channels.water_channel(ask.rows, ask.today, ask.level, ask.noise)
    if water is None or ask.today < ask.first - 1:  # nothing to go by, or sound on a later day: nothing can have begun
        return None
    sees = bool(water.own_cell.any()) or (ask.noon is not None and bool(onsite.other_noons(ask.rows).any()))
    sig = ask.signatures if sees else ask.signatures.without_cell
    ages = BEGINNINGS if water.daily else SPARSE
    begin, weight = beforehand(sig, ask, np.union1d(ages, ask.today - water.began))
    base, found = weigh_water(ask, sig, water, begin, weight)
    spread, doubt = SPREAD[sig.cause], DAILY_DOUBT if water.daily else 1.0

    def post():
        return weight + over_sizes(found.linear, found.square, spread) + found.told

    by_water, kept = post(), _kept(found, spread)
    if ask.noon is None and ask.course is None:
        return _summary(by_water, sig, begin, kept, base, found.innocent, doubt, ask.rates)
    if _weigh_noons(ask, sig, begin, found):
        doubt = 1.0
    odds = _summary(post(), sig, begin, kept, base, found.innocent, doubt, ask.rates)
    alone, demand, _sound, _all = _sums(by_water, sig, kept, found.innocent)
    fault = alone + np.clip(odds.fault - alone, -NOON_SHIFT, NOON_SHIFT)
    return odds._replace(fault=float(fault), demand=demand)


def weigh_water(ask, sig, water, begin, weight):
    """((litres a day due now, its sigma in proportion), Weighed) from the water alone."""
    covariance = channels.water_covariance(water, ask.level_sd)
    inverse, weighed = turned(covariance, water.var, water.y)
    came, recent = sig.shares > 0, recent_share(water, ask.today)
    log_kept, usual = _at_readings(sig, water)
    supply, draw, base = _float_tables(water)
    linear, square, told, now = _along(ask, sig, water, begin, inverse, weighed, (log_kept, usual), (supply, draw))
    if ask.on_site and water.tested[-1] < 0:
        newest = np.eye(water.day.size)[-1]
        kept_then = (log_kept, log_kept)
        now = np.minimum(now, _along(ask, sig, water, begin, inverse, weighed, kept_then, (supply, draw), newest)[3])
    own = int(not water.own_cell[-1])
    innocent = [_misread(water, inverse, weighed)]
    gain, patchy = np.empty((2, begin.size))
    unlikely = PATCHY[own] - (ask.today - begin) / PATCHY_DAYS
    for i in np.flatnonzero(sig.scatter > 0):
        for r in np.flatnonzero(came[i]):
            weigh.scattered(
                water.day, water.span, inverse, weighed, water.var, water.raw, log_kept, sig.smaller, sig.size, i,
                sig.scatter[i], water.floats, supply, begin, STARTS[r], linear[i, r], square[i, r], gain, patchy,
                water.tested < 0,
            )  # fmt: skip
            # any other cause may meet patchy weather too, so that scatter alone can speak for this one only so far
            steady = linear[i, r] - 0.5 * square[i, r]
            told[i, r] += gain - np.logaddexp(0.0, np.log(PATCHY_CHANCE[own]) + gain - steady)
            linear[i, r] = square[i, r] = 0.0
            innocent.append(log_sum(weight[i, r] + unlikely + patchy))
    # what is due now is known as far as own level, slow changes and the newest readings are
    noise = np.sqrt(recent**2 @ water.due_var + ask.level_sd**2 + 0.5 * channels.SLOW_SD**2)
    return (float(base @ recent), float(noise)), Weighed(linear, square, told, now, np.array(innocent))


def recent_share(water, today):
    """Weights of the newest readings, by which it is told what a loss costs now (m,)."""
    recent = water.span * (water.day > min(today - RECENT_WATER_DAYS, water.day.max() - 0.5))
    return recent / recent.sum()


def along(ask, sig, water, begin, inverse, weighed):
    """g'(weighed) of the water channel by all hypotheses (h, ramps, begin), whatever stands for its weighed readings.
    """
    supply, draw, _base = _float_tables(water)
    return _along(ask, sig, water, begin, inverse, weighed, _at_readings(sig, water), (supply, draw))[0]


def _along(ask, sig, water, begin, inverse, weighed, kept, tables, recent=None):
    """(g'(weighed), g'Wg, what the ticks tell, log of water kept now, or in the figures weighed by recent), each (h,
    ramps, begin)."""
    recent = recent_share(water, ask.today) if recent is None else recent
    came = sig.shares > 0
    linear, square, told, now = np.zeros((4, *came.shape, begin.size))
    tick = np.where(np.isfinite(water.demand), water.tick, np.nan)
    lean = channels.ticking_habit(water, ask.today) if water.daily else 0.0
    weigh.water(
        water.day, water.span, inverse, weighed, kept[0], sig.smaller, sig.size, sig.form, water.floats, *tables,
        begin, STARTS, came, recent, tick, lean, water.supply, water.demand, channels.DRAW_SD,
        linear, square, told, now, water.tested < 0, kept[1],
    )  # fmt: skip
    return linear, square, told, now


def log_sum(x):
    top = x.max()
    return float(top + np.log(np.exp(x - top).sum()))


def over_sizes(linear, square, spread):
    """Gain with the size left open about the one tried: its factor is normal about 1 with a variance of spread (h,)."""
    t = spread[:, None, None]
    wide = 1 + t * square
    return (t * linear**2 + 2 * linear - square) / (2 * wide) - 0.5 * np.log(wide)


def _kept(found, spread):
    """Share of water kept now, at the likeliest size about the one tried."""
    t = spread[:, None, None]
    return np.exp(found.now * np.clip((1 + t * found.linear) / (1 + t * found.square), 0.3, 2.0))


def beforehand(sig, ask, ages):
    """Days of beginning (b,), the latest first, and log weights (h, ramps, b) of what is thought before any reading."""
    today, rates = ask.today, ask.rates
    age = ages[(ages >= 0) & (today - ages >= ask.first - 1)].astype(float)
    width = np.diff(np.append(age, age[-1] * 1.25 + 1))
    with np.errstate(divide="ignore"):
        weight = np.log(rates[sig.cause] / sig.sizes_of_cause)[:, None] + np.log(sig.shares)
    return today - age, weight[:, :, None] + np.log(width) - age / UNSEEN_DAYS


def turned(covariance, var, y):
    """(inverse, inverse times y) of a covariance with var on its diagonal."""
    m = y.size
    low, inverse = np.empty((m, m)), np.empty((m, m))
    weigh.factor(covariance, var, low)
    weigh.inverted(low, inverse)
    return inverse, inverse @ y


def _at_readings(sig, water):
    """Log of water left by each hypothesis at each reading (h, m), and the same of whole days where that reading is a
    test. An own cell that shares the fault's light makes less of it: what is due is then reckoned from too little
    sun."""
    out = channels.read_curves(sig.log_water, X, water.at)
    if water.own_cell.any():
        seen = channels.read_curves(sig.log_cell, X, water.at)
        out = out - np.where(water.own_cell, seen * np.minimum(water.gain, 3.0), 0.0)
    drawn = sig.form == weigh.DRAWN
    out[drawn] = np.log(sig.demand[drawn])[:, None]
    test, usual = water.tested < 0, out
    if test.any():
        at_sun, out = channels.read_curves(sig.flow, channels.SUNS, water.sun[test]), out.copy()
        out[:, test] = onsite.flow_left(sig, at_sun, water.tested[test])
        out[np.ix_(drawn, test)] = usual[np.ix_(drawn, test)]
        if water.floats:
            usual[:, test] = onsite.day_left(sig.form, usual[:, test], water.supply[test], water.drawn[test])
    return out, usual


_STEPS = np.exp(np.linspace(weigh.LOG_LEAST, weigh.LOG_MOST, weigh.STEPS))


def _float_tables(water):
    """Log of water against the sound unit's by what is left of supply, and of demand (m, STEPS), and litres due."""
    if not water.floats:
        return np.zeros((1, weigh.STEPS)), np.zeros((1, weigh.STEPS)), water.supply
    base = channels.limited(water.supply, water.demand)
    less = channels.limited(water.supply[:, None] * _STEPS, water.demand[:, None])
    drawn = channels.limited(
        np.broadcast_to(water.supply[:, None], less.shape), water.demand[:, None] * _STEPS
    )  # fmt: skip
    less, drawn = (np.log(np.maximum(x / base[:, None], weigh.LEAST)) for x in (less, drawn))
    test = water.tested < 0
    return less, drawn, np.where(test, onsite.held(water.supply, water.drawn), base) if test.any() else base


def _misread(water, inverse, weighed):
    """Log weight of "nothing but the newest figure is wrong": that figure alone given a wide spread."""
    n = water.day.size - 1
    wide = MISREAD_SD**2
    p, r = inverse[n, n], weighed[n]
    often = MISREAD_TEST if water.tested[n] < 0 else MISREAD
    any_way = float(np.log(often) - 0.5 * np.log1p(wide * p) + 0.5 * r**2 * wide / (1 + wide * p))
    if water.span[n] <= 3 or water.y[n] > NOUGHT:
        return any_way
    return float(np.logaddexp(any_way, np.log(COPIED) + 0.5 * r**2 / p))  # the last total written down again


def _weigh_noons(ask, sig, begin, found):
    """Adds what noons, the own cell and the day's shape say; whether they had anything to say but the day's total."""
    some, idle = [], None
    if ask.noon is not None:
        some, idle = channels.noon_channels(ask.rows, ask.today, ask.noon, sig.tracking)
    shapes, stood = [], None
    if ask.course is not None:
        shapes, stood = shape.channel(ask.course, ask.rows, ask.today, sig)
    by_noon = some + channels.cell_channel(ask.rows, ask.today, X)
    beside = channels.meter_channel(ask.rows, ask.today)
    weighed_by = [*((one, NOON_TRUST) for one in by_noon), *((one, shape.TRUST) for one in shapes),
                  *((one, 1.0) for one in beside)]  # fmt: skip
    for one, trust in weighed_by:
        add_channel(one, trust, sig, begin, found)
    for one, trust in ((idle, NOON_TRUST), (stood, shape.STOOD_TRUST)):
        if one is not None:
            add_standing(one, trust, sig, begin, found)
    return bool(some) or idle is not None or bool(shapes)


def add_channel(one, trust, sig, begin, found):
    """Adds what a channel of single days says to what is found."""
    loose = loosened(*by_channel(one, trust, sig, begin), one.loose)
    for whole, part in zip((found.told, found.linear, found.square), loose, strict=True):
        whole += part


def by_channel(one, trust, sig, begin, weighed=None):
    """(g'Wy, g'Wg) of a channel of single days (h, ramps, begin); weighed: what stands for Wy, if not that."""
    inverse, usual = turned(one.covariance, np.zeros(one.y.size), one.y)
    linear, square = np.zeros((2, *sig.shares.shape, begin.size))
    weigh.noon(
        one.day, inverse, usual if weighed is None else weighed, np.ascontiguousarray(one.shift(sig)), begin, STARTS,
        sig.shares > 0, trust, linear, square,
    )  # fmt: skip
    return linear, square


def add_standing(one, trust, sig, begin, found):
    """Adds what standing still, or not, says to what is found (channels.Idle)."""
    chance = chance_to_stand(sig, one)
    weigh.idle(one.day, one.stood, one.sound, chance, begin, STARTS, sig.shares > 0, trust, found.told)


def loosened(linear, square, spread):
    """(gain by itself, g'Wy, g'Wg) of one channel whose shift g may be off by its own factor, normal about 1 with a
    variance of spread: W is then the inverse of K + spread g g' (Woodbury, as in weigh.scattered)."""
    wide = 1 + spread * square
    return (spread * linear**2 / wide - np.log(wide)) / 2, linear / wide, square / wide


def chance_to_stand(sig, idle):
    """Chance that a noon finds it standing, by each hypothesis grown whole (h, m)."""
    chance = channels.read_curves(sig.idle, channels.SUNS, idle.sun)
    chance = np.where(np.isnan(chance), np.nan, np.maximum(chance, idle.sound))
    drawn = sig.form == weigh.DRAWN
    if drawn.any():  # less drawn: the tank is full by noon more often
        chance[drawn] = 1 - (1 - idle.sound) * np.clip(sig.demand[drawn, None], 0.2, 1) ** 2
    starved = (sig.form == weigh.SUPPLY) & np.isnan(chance).all(axis=1)
    bright = np.clip(sig.water[starved, -8], 0, 1)[:, None]
    chance[starved] = np.maximum(channels.STANDS_BY_CHANCE, idle.sound * bright**3)
    return chance


def _small(x):
    """exp(x); nought where it is next to nothing: numbers at the edge of what can be written are slow to work with."""
    return np.where(x > -250.0, np.exp(np.maximum(x, -250.0)), 0.0)


def _sums(post, sig, kept, innocent):
    """(log odds of a fault, of less demand, log weight of nothing, of everything) from log weights (h, ramps, begin);
    nothing wrong has weight 1."""
    top = max(float(post.max()), float(innocent.max()), 0.0)
    p = _small(post - top)
    trifle = p * (kept > TRIFLE)
    of_trifle = trifle.sum()
    less = sig.cause == NOT_A_FAULT
    of_less = p[less].sum() - trifle[less].sum()
    of_fault = p.sum() - of_trifle - of_less
    sound = np.exp(-top) + of_trifle + np.exp(innocent - top).sum()
    logs = np.log(np.maximum([of_fault, sound + of_less, of_less, sound + of_fault, sound], 1e-300))
    return (
        float(logs[0] - logs[1]), float(logs[2] - logs[3]), float(logs[4] + top),
        float(np.log(sound + of_fault + of_less) + top),
    )  # fmt: skip


def _summary(post, sig, begin, kept, base, innocent, doubt, rates):
    """Odds from log weights (h, ramps, begin) of all hypotheses; innocent: those of a misread figure, first, and of
    patchy weather; doubt: how far the causes are held less apart than counted."""
    fault, demand, sound, everything = _sums(post, sig, kept, innocent)
    p = np.where(kept > TRIFLE, 0.0, _small(post - everything))
    by_cause = np.bincount(sig.cause, p.sum(axis=(1, 2)), minlength=len(NAMES))
    total = max(by_cause.sum(), 1e-300)
    size = np.bincount(sig.cause, p.sum(axis=(1, 2)) * sig.size, minlength=len(NAMES))
    left, weight = (kept[p > 1e-7 * total], p[p > 1e-7 * total]) if total > 1e-290 else (np.ones(1), np.ones(1))
    return Odds(
        fault, demand, _held_back(by_cause / total, doubt, rates, sig.cause), float(np.exp(sound - everything)),
        _first_day(begin, p.sum(axis=(0, 1)) / total), _lost(left, weight / weight.sum(), *base),
        float((weight * left).sum() / weight.sum()), float(np.exp(innocent[0] - everything)),
        size / np.maximum(by_cause, 1e-300),
    )  # fmt: skip


def _held_back(cause, doubt, rates, asked):
    """Odds of the causes after the doubt in the model itself."""
    possible = np.bincount(asked, minlength=len(NAMES)) > 0
    cause = np.where(possible, np.maximum(cause, 1e-12) ** (1 / doubt), 0.0)
    before = np.where(possible, rates, 0.0)
    return (1 - RULED_OUT) * cause / cause.sum() + RULED_OUT * before / before.sum()


def _first_day(begin, weight):
    """Likeliest first day with the fault, and its 80 % range: begin is the moment, with its share of the day."""
    order = np.argsort(begin)
    at, through = begin[order], np.cumsum(weight[order])
    return tuple(float(np.floor(at[min(np.searchsorted(through, q), at.size - 1)]) + 1) for q in (0.5, 0.1, 0.9))


def _lost(kept, weight, base, sigma):
    """Litres a day lost now and their 80 % range: over the hypotheses, and as far as is known what was due."""
    lost = base * (1 - kept)
    order = np.argsort(lost)
    middle, low, high = np.interp([0.5, 0.1, 0.9], np.cumsum(weight[order]), lost[order])
    own = EIGHTY * base * sigma  # measured is known, what was due is not
    low, high = middle - np.hypot(middle - low, own), middle + np.hypot(high - middle, own)
    return float(middle), float(max(low, 0.0)), float(high)
