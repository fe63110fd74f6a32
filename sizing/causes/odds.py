"""How likely each cause is, from all readings of a unit at once.

Under "nothing is wrong" the readings differ from the expected by the unit's own level (known from test sheet and
commissioning
within a few per cent), by slow changes (seasons of the well), by dirt that comes and goes, by weather not known and
by the
instrument. That is a normal distribution with a known covariance, so the evidence for a fault of a given size and
beginning is one scalar product each (Kay, Fundamentals of Statistical Signal Processing, Detection Theory, 1998,
sec. 4.4).
Summed over sizes and beginnings with their rates beforehand, the evidence gives the odds.
"""

import warnings
from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dpotrf, dtrtrs
from scipy.special import logsumexp, ndtr

from sizing.causes.names import CAUSES, NAMES, NOT_A_FAULT, NUMBER, RAMPS, RATES
from sizing.causes.table import SUNS, X

LEAST = 0.02  # smallest ratio told apart from nothing
SLOW_SD, SLOW_DAYS = 0.055, 70.0  # healthy output over the chain's: the well's seasons, the sky's bias
DIRT_SD, DIRT_DAYS = 0.025, 12.0  # of light; times what light is worth
FIXED_VAR = 0.02**2 + 0.015**2  # meter, and what the chain leaves open from day to day
LIGHT_SD = 0.025  # the same of light
LASTING = 0.3  # correlation from day to day of what neighbours do not see of the weather
SHAPE_SD = 0.04  # of the chain's own shape over clearness, a unit of its scale
DRAW_SD, DRAW_SLOW, DRAW_DAYS = 0.25, 0.12, 40.0
RECENT_WATER_DAYS = 3  # over which a loss is told: what it costs now, not what it has cost on the mean
TRIFLE = 0.93  # a fault that leaves more of the water than this is not worth a flag
RECENT_DAYS, BLOCK_DAYS, REMEMBERED_DAYS = 16, 8, 240
BEGINNINGS = np.array([0, 1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58, 72, 90, 112, 140])
METER = (NUMBER["meter_stands"], NUMBER["meter_slow"])
NOON_TRUST = 0.6  # noon readings of days in a row are not as independent as they are counted
NOON_SHIFT = 2.0  # log odds of a fault that they can add to or take from what the water says: they part causes
CURRENT = (0.05, 0.035, 0.03, 0.04)  # of noon current: own level, slow, dirt, scatter (log)
VOLTAGE = (0.03, 0.02, 0.02, 0.03)
LEVEL = (1.5, 1.5, 0.1, 0.15)  # m
CELL = (0.05, 0.02, 0.02, 0.05)


class Odds(NamedTuple):
    """Of one unit. fault: log odds that any fault is there against none and less demand; cause (causes,):
    probabilities given
    that something is; none: probability of nothing; onset: day with its 80 % range; lost_l: litres a day now with
    range."""

    fault: float
    demand: float
    cause: np.ndarray
    none: float
    onset: tuple
    lost_l: tuple
    kept: float


class Series(NamedTuple):
    """One channel of a unit: end day and days covered, differences y, their variance, load of the own level and its
    slow changes on each, log clearness or irradiance to read signatures at."""

    day: np.ndarray
    span: np.ndarray
    y: np.ndarray
    var: np.ndarray
    load: np.ndarray
    at: np.ndarray
    gain: np.ndarray  # of water by light, for the dirt that comes and goes


def limited(supply, demand, spread=DRAW_SD):
    """As evidence.limited: mean of the lesser of a sure supply and a varying demand; NaN demand: no limit."""
    with np.errstate(invalid="ignore"):
        z = (supply - demand) / (spread * demand)
        mean = supply - spread * demand * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))
    return np.where(np.isfinite(demand), np.maximum(mean, 1e-6), supply)


def _free(supply, demand):
    with np.errstate(invalid="ignore"):
        f = ndtr((demand - supply) / (DRAW_SD * demand)) * supply / limited(supply, demand)
    return np.where(np.isfinite(demand), np.clip(f, 0, 1), 1.0)


def _blocks(rows, today):
    """Groups of rows: recent ones alone, older day records some days together. Returns group number of each row."""
    age = today - rows["day"]
    old = (age > RECENT_DAYS) & (rows["since"] <= 1)
    key = np.where(old, 10**6 + age // BLOCK_DAYS, np.arange(len(rows)))
    _, group = np.unique(key, return_inverse=True)
    return group


def _pool(group, values, weight):
    total = np.bincount(group, weight)
    return np.bincount(group, weight * values) / total, total


class Water(NamedTuple):
    """The water channel with what the float switch needs: supply and demand a day of each figure."""

    series: Series
    supply: np.ndarray
    demand: np.ndarray
    draw_load: np.ndarray
    raw: np.ndarray  # variances before wild figures lost weight
    tick: np.ndarray
    hour: np.ndarray
    sky_sd: np.ndarray  # of log water by weather that nobody told, of lone day figures


def water_channel(rows, today, level, noise=1.0):
    """The water channel from a unit's observations (judge.record.OBSERVATION) up to today; None if fewer than two."""
    with np.errstate(invalid="ignore"):
        ok = (rows["mistake"] == 0) & np.isfinite(rows["measured_l"]) & (rows["expected_l"] > 20 * rows["since"])
        ok &= (rows["day"] <= today) & (rows["day"] > today - REMEMBERED_DAYS)
    rows = rows[ok]
    if len(rows) < 1:
        return None
    rows = rows[np.argsort(rows["day"], kind="stable")]
    span = rows["since"].astype(float)
    supply = np.maximum(rows["supply_l"] / span * np.exp(level), 1.0)
    demand = rows["demand_l"].astype(float)
    expected = limited(supply, demand)
    free = _free(supply, demand)
    measured = rows["measured_l"] / span
    ratio = np.log(np.maximum(measured, LEAST * expected) / expected) + 0.5 * rows["weather_var"]
    light = rows["light_gain"] * free
    var = (rows["weather_var"] + FIXED_VAR + (LIGHT_SD * light) ** 2 / span + (15.0 / (expected * span)) ** 2) * noise
    var = var + (1 - free) * DRAW_SD**2 / span
    group = _blocks(rows, today)
    sure = _robust(ratio, var, span, free)
    weight = 1 / sure
    y, total = _pool(group, ratio, weight)
    day, _ = _pool(group, rows["day"].astype(float), weight)
    covers = np.bincount(group, span)
    at, _ = _pool(group, rows["clearness"].astype(float), weight)
    load, _ = _pool(group, free, weight)
    light, _ = _pool(group, light, weight)
    supply, _ = _pool(group, supply, weight)
    floats = np.isfinite(demand).all()
    demand = _pool(group, demand, weight)[0] if floats else np.full(len(y), np.nan)
    last = np.zeros(len(y), int)
    last[group] = np.arange(len(rows))
    tick, hour = rows["tick"][last].astype(float), rows["hour"][last].astype(float)
    alone = np.bincount(group) == 1
    raw = np.where(alone, var[last], 1 / total)
    series = Series(day + np.where(alone, 0, (covers - 1) / 2), covers, y, 1 / total, load, at, light)
    told = alone & (rows["told_by"][last] >= 0) & (span[last] <= 1)
    by_sky = np.where(told, np.sqrt(np.maximum(rows["weather_var"][last], 0)), 0.0)
    return Water(series, supply, demand, 1 - load, raw, tick, hour, by_sky)


def _covariance(series, level_sd, slow_sd, slow_days, quick_sd, quick_days):
    mid = series.day - series.span / 2
    apart = np.abs(mid[:, None] - mid[None, :])
    k = level_sd**2 + slow_sd**2 * np.exp(-apart / slow_days)
    quick = quick_sd**2 * np.exp(-apart / quick_days)
    return k * np.outer(series.load, series.load) + quick * np.outer(series.gain, series.gain)


def _robust(y, var, span, scale=1.0, size=0.045):
    """Variances in which a day far from those around it counts for less; runs of such days keep their weight, and so
    do long
    periods, which are no slips. size times scale: how much days may differ anyway."""
    n = len(y)
    if n < 5:
        return var
    near = np.clip(np.arange(n)[:, None] + np.array([-3, -2, -1, 1, 2, 3]), -1, n)
    padded = np.append(y, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        around = np.nanmedian(np.where(near < 0, np.nan, padded[near]), axis=1)
    sd = np.sqrt(var + (size * scale) ** 2)
    off = np.where(span > 3, 0.0, np.maximum(np.abs(y - around) / sd - 3.0, 0))
    return var + 0.4 * (off * sd) ** 2


def growth(series, begin, ramp):
    """(share of the span after the beginning, how far grown then): each (b, m) for days of beginning (b,); ramp 0:
    at once."""
    end, start = series.day[None, :], series.day[None, :] - series.span[None, :]
    b = begin[:, None]
    after = np.clip((end - b) / np.maximum(end - start, 1e-9), 0, 1)
    if ramp <= 0:
        return after, (after > 0).astype(float)
    middle = (np.maximum(start, b) + end) / 2
    return after, np.where(after > 0, np.clip((middle - b) / ramp, 0, 1), 0.0)


class Ways(NamedTuple):
    """Hypotheses spread over beginnings, for one ramp: places in the signatures (h,), begin (b,), log weight (h, b)."""

    ramp: float
    which: np.ndarray
    begin: np.ndarray
    weight: np.ndarray


def _ways(signatures, today, first, rates):
    age = BEGINNINGS.astype(float)
    age = age[today - age >= first - 1]
    width = np.log(np.diff(np.append(age, age[-1] * 1.25 + 1)))
    count = np.bincount(signatures.cause, minlength=len(NAMES))
    out = []
    for ramp in RAMPS:
        share = np.array([_share(CAUSES[c], ramp) for c in signatures.cause])
        which = np.flatnonzero(share > 0)
        cause = signatures.cause[which]
        weight = np.log(rates[cause] * share[which] / count[cause])
        out.append(Ways(ramp, which, today - age, weight[:, None] + width[None, :]))
    return out


def _share(cause, ramp):
    if ramp == 0:
        return cause.sudden
    return (1 - cause.sudden) / len(cause.ramp_days) if ramp in cause.ramp_days else 0.0


def _solve(k, y, g):
    """Log likelihood ratios of mean shifts g (..., m) for differences y with covariance k."""
    low = cho_factor(k, lower=True, check_finite=False)
    flat = g.reshape(-1, g.shape[-1])
    s = cho_solve(low, flat.T, check_finite=False)
    quadratic = np.einsum("hm,mh->h", flat, s)
    return (flat @ cho_solve(low, y, check_finite=False) - 0.5 * quadratic).reshape(g.shape[:-1])


def _log_normal(k, r):
    c, _ = dpotrf(k, lower=1)
    z, _ = dtrtrs(c, r, lower=1)
    return -0.5 * z @ z - np.log(np.diag(c)).sum()


def judge(rows, signatures, today, first, level, level_sd, noon=None, noise=1.0, rates=RATES):
    """Odds of the causes of one unit today.

    rows: its observations; signatures: causes.signatures of the unit; first: day from which a fault could have begun
    (installed or
    last put right); level, level_sd: log of own output over the chain's and its doubt, from the commissioning tests;
    noon:
    expected (volts, amps, level) at each row's noon irradiance, NaN where nothing; rates: per unit and day (15,).
    """
    water = water_channel(rows, today, level, noise)
    if water is None or today < first - 1:  # nothing to go by, or sound on a later day: no fault can have begun
        return None
    s = water.series
    k = _covariance(s, level_sd, SLOW_SD, SLOW_DAYS, DIRT_SD, DIRT_DAYS)
    if water.sky_sd.any():  # weather that neighbours miss lasts
        apart = np.abs(s.day[:, None] - s.day[None, :])
        same = LASTING * np.exp(-(apart - 1) / 1.5) * np.outer(water.sky_sd, water.sky_sd)
        k = k + np.where((apart > 0) & (apart < 8), same, 0.0)
    bent = SHAPE_SD * (s.at - 1.0) * s.load
    k = k + np.outer(bent, bent)
    if np.isfinite(water.demand).any():
        k = k + _covariance(s._replace(load=water.draw_load), 0.2, DRAW_SLOW, DRAW_DAYS, 0.0, 1.0)
    k_water = k + np.diag(s.var)
    solved = cho_factor(k_water, lower=True, check_finite=False)
    weighed = cho_solve(solved, s.y, check_finite=False)
    channels = [] if noon is None else _noon_channels(rows, today, noon, signatures.tracking)
    base = limited(water.supply, water.demand)
    log_kept = np.log(np.maximum(_at(signatures.water, X, s.at), LEAST))
    recent = s.span * (s.day > min(today - RECENT_WATER_DAYS, s.day.max() - 0.5))
    recent = recent / recent.sum()
    post, water_post, causes, begins, keeps = [], [], [], [], []
    none = None
    for way in _ways(signatures, today, first, rates):
        after, grown = growth(s, way.begin, way.ramp)
        g = _shift(signatures, way, after, grown, log_kept, water, base)
        flat = g.reshape(-1, g.shape[-1])
        gain = flat @ weighed - 0.5 * np.einsum("hm,mh->h", flat, cho_solve(solved, flat.T, check_finite=False))
        gain = gain.reshape(g.shape[:2])
        cause = signatures.cause[way.which]
        for i in np.flatnonzero(signatures.scatter[way.which] > 0):
            none = _log_normal(k_water, s.y) if none is None else none
            gain[i] = _scattered(g[i], signatures.scatter[way.which[i]] * (after > 0.3) * grown, k, s, water.raw, none)
        gain += _ticks(water, g, cause)
        water_post.append((way.weight + gain).ravel())
        for channel in channels:
            gain = gain + NOON_TRUST * channel(signatures, way)
        post.append((way.weight + gain).ravel())
        causes.append(np.repeat(cause, len(way.begin)))
        begins.append(np.tile(way.begin, len(cause)))
        keeps.append(np.exp(g @ recent).ravel())
    causes, begins, keeps = (np.concatenate(x) for x in (causes, begins, keeps))
    odds = _summary(np.concatenate(post), causes, begins, keeps, base @ recent)
    if not channels:
        return odds
    by_water = _summary(np.concatenate(water_post), causes, begins, keeps, base @ recent)
    fault = by_water.fault + np.clip(odds.fault - by_water.fault, -NOON_SHIFT, NOON_SHIFT)
    return odds._replace(fault=float(fault), demand=by_water.demand)


def _shift(signatures, way, after, grown, log_kept, water, base):
    """Mean of the water channel under each hypothesis and beginning: (h, b, m)."""
    ratio = 1 + after * np.expm1(grown * log_kept[way.which][:, None, :])
    if not np.isfinite(water.demand).any():
        return np.log(np.maximum(ratio, LEAST))
    now = limited(water.supply * ratio, water.demand)
    for i in np.flatnonzero(signatures.cause[way.which] == NOT_A_FAULT):
        drawn = water.demand * (1 + after * (signatures.demand[way.which[i]] ** grown - 1))
        now[i] = limited(np.broadcast_to(water.supply, drawn.shape), drawn)
    return np.log(np.maximum(now / base, LEAST))


def _at(curves, knots, at):
    """Curves (h, k) over knots, read at points (m,): (h, m)."""
    place = np.clip(np.interp(at, knots, np.arange(len(knots))), 0, len(knots) - 1.000001)
    i = place.astype(int)
    return curves[:, i] + (place - i) * (curves[:, i + 1] - curves[:, i])


def _scattered(g, extra, k, s, raw, none):
    """Log density with a scatter from day to day that comes with the fault (b, m); every third beginning, the rest
    between."""
    some = np.unique(np.append(np.arange(0, len(g), 3), len(g) - 1))
    # where the scatter is in, a wild day is no surprise and needs no leniency
    var = [np.where(extra[j] > 0, raw + extra[j] ** 2 / np.maximum(s.span, 1), s.var) for j in some]
    # days that only scatter more, losing nothing, are patchy weather: the fault must win over that too
    got = []
    for j, v in zip(some, var, strict=True):
        wide = k + np.diag(v)
        got.append(_log_normal(wide, s.y - g[j]) - max(none, _log_normal(wide, s.y)))
    return np.interp(np.arange(len(g)), some, got)


def _ticks(water, g, cause):
    """What the caretaker's "tank full" adds: unlikely under a fault that starves the tank, likely when less is
    drawn. (h, b)."""
    seen = np.isfinite(water.tick) & np.isfinite(water.demand)
    if not seen.any():
        return 0.0
    late = np.clip((np.nan_to_num(water.hour[seen], nan=12.0) - 7) / 6, 0.15, 1.0)

    def chance(full_share):
        return np.clip(0.85 * full_share * late, 0.02, 0.9)

    tick = water.tick[seen] > 0
    free = _free(water.supply[seen], water.demand[seen])
    kept = np.exp(g[..., seen])
    sound = chance(1 - free)
    p = chance((1 - free) * kept**4)
    less, meter = cause == NOT_A_FAULT, np.isin(cause, METER)
    p[less] = np.where(kept[less] < 0.99, chance(np.clip(1 - free * kept[less] ** 4, 0, 1)), sound)
    p[meter] = sound
    return 0.7 * np.where(tick, np.log(p / sound), np.log((1 - p) / (1 - sound))).sum(axis=-1)


def _noon_channels(rows, today, noon, tracking):
    """Functions that weigh noon current, voltage, level and the own cell against the sky, one each where there are
    readings."""
    volts, amps, level = noon
    ok = (rows["day"] <= today) & (rows["day"] > today - 150) & (rows["noon_w_m2"] > 350)
    out = []
    floats = np.isfinite(rows["demand_l"])
    with np.errstate(divide="ignore", invalid="ignore"):
        held_back = np.log(rows["noon_v"] / volts) > 0.045  # the array rises above its best point: it does not limit
    ok &= ~(held_back & tracking)
    runs = rows["noon_a"] > 0.15 * amps
    seen = ok & np.isfinite(rows["noon_a"]) & (amps > 0.1) & (runs | ~floats)
    y = np.log(np.maximum(rows["noon_a"], 0.05 * amps) / np.maximum(amps, 1e-6))
    out += _channel(rows, today, seen, y, CURRENT, lambda sig: np.log(np.maximum(sig.current, 0.05)))
    with np.errstate(divide="ignore", invalid="ignore"):
        stalled = np.log(rows["noon_v"] / volts) < -0.5  # stands with the current through it: a matter of thresholds
    seen = ok & np.isfinite(rows["noon_v"]) & (volts > 1) & runs & ~stalled
    y = np.log(np.maximum(rows["noon_v"], 0.1) / np.maximum(volts, 1e-6))
    out += _channel(rows, today, seen, y, VOLTAGE, lambda sig: np.log(np.maximum(sig.voltage, 0.2)))
    seen = ok & np.isfinite(rows["noon_level_m"]) & np.isfinite(level) & runs
    out += _channel(rows, today, seen, rows["noon_level_m"] - level, LEVEL, lambda sig: sig.level)
    return out


def _channel(rows, today, seen, y, spread, signature):
    if seen.sum() < 4:
        return []
    rows, y = rows[seen], y[seen].astype(float)
    age = today - rows["day"]
    keep = (age <= 12) | (age % 5 == 0)
    rows, y = rows[keep], y[keep]
    m = len(y)
    if m < 3:
        return []
    s = Series(
        rows["day"].astype(float),
        np.ones(m),
        y,
        np.full(m, spread[3] ** 2),
        np.ones(m),
        rows["noon_w_m2"].astype(float),
        np.ones(m),
    )
    var = _robust(s.y, s.var, s.span, 1.0, spread[2])
    k = _covariance(s, spread[0], spread[1], SLOW_DAYS, spread[2], DIRT_DAYS) + np.diag(var)

    def weigh(sig, way):
        shift = _at(signature(sig)[way.which], SUNS, s.at)
        after, grown = growth(s, way.begin, way.ramp)
        out = np.zeros((len(way.which), len(way.begin)))
        moves = np.abs(shift).max(axis=1) > 1e-3
        if moves.any():
            out[moves] = _solve(k, s.y, shift[moves][:, None, :] * (after * grown))
        return out

    return [weigh]


def _summary(post, causes, begins, keeps, base):
    """Odds from log weights of all hypotheses; nothing wrong has weight 1."""
    trifle = keeps > TRIFLE
    fault, less = (causes != NOT_A_FAULT) & ~trifle, (causes == NOT_A_FAULT) & ~trifle
    total_fault, total_less, total_trifle = (logsumexp(post[k]) if k.any() else -np.inf for k in (fault, less, trifle))
    everything = logsumexp([0.0, total_fault, total_less, total_trifle])
    sound = np.logaddexp(0.0, total_trifle)
    post = np.where(trifle, -np.inf, post)
    p = np.exp(post - everything)
    by_cause = np.bincount(causes, p, minlength=len(NAMES))
    none = float(np.exp(sound - everything))
    share = by_cause / max(by_cause.sum(), 1e-300)
    weight = p / max(p.sum(), 1e-300)
    order = np.argsort(begins)
    onset = tuple(np.interp([0.5, 0.1, 0.9], np.cumsum(weight[order]), begins[order]))
    lost = base * (1 - keeps)
    order = np.argsort(lost)
    lost_l = tuple(np.interp([0.5, 0.1, 0.9], np.cumsum(weight[order]), lost[order]))
    kept = float((weight * keeps).sum())
    return Odds(
        float(total_fault - np.logaddexp(sound, total_less)), float(total_less - np.logaddexp(sound, total_fault)),
        share, none, onset, lost_l, kept,
    )  # fmt: skip
