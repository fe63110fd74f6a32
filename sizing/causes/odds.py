"""How likely each cause is, from all readings of a unit at once.

Under "nothing is wrong" the readings differ from the expected by the unit's own level (known from test sheet and commissioning
within a few per cent), by slow changes (seasons of the well), by dirt that comes and goes, by weather not known and by the
instrument. That is a normal distribution with a known covariance, so the evidence for a fault of a given size and
beginning is one scalar product each (Kay, Fundamentals of Statistical Signal Processing, Detection Theory, 1998, sec. 4.4).
Summed over sizes and beginnings with their rates beforehand, the evidence gives the odds.
"""

from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logsumexp

from sizing.causes.names import CAUSES, NAMES, NOT_A_FAULT, NUMBER, RATES
from sizing.causes.table import SUNS, X

LEAST = 0.02  # smallest ratio told apart from nothing
SLOW_SD, SLOW_DAYS = 0.045, 70.0  # healthy output over the chain's: the well's seasons, the sky's bias
DIRT_SD, DIRT_DAYS = 0.022, 12.0
FIXED_VAR = 0.02**2 + 0.025**2  # meter, and what the chain leaves open from day to day
DRAW_SD, DRAW_SLOW, DRAW_DAYS = 0.22, 0.12, 40.0
RECENT_DAYS, BLOCK_DAYS, REMEMBERED_DAYS = 40, 6, 300
BEGINNINGS = np.array([0, 1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58, 72, 90, 112, 140])
FLAT = np.zeros(SUNS.size)
CURRENT = (0.05, 0.035, 0.02, 0.035)  # of noon current: own level, slow, dirt, scatter (log)
VOLTAGE = (0.03, 0.012, 0.008, 0.015)
LEVEL = (1.5, 1.5, 0.1, 0.15)  # m
CELL = (0.05, 0.02, 0.02, 0.05)


class Odds(NamedTuple):
    """Of one unit. fault: log odds that any fault is there against none and less demand; cause (causes,): probabilities given
    that something is; none: probability of nothing; onset: day with its 80 % range; lost_l: litres a day now with range."""

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


def limited(supply, demand, spread=DRAW_SD):
    """As evidence.limited: mean of the lesser of a sure supply and a varying demand; NaN demand: no limit."""
    from scipy.special import ndtr

    with np.errstate(invalid="ignore"):
        z = (supply - demand) / (spread * demand)
        mean = supply - spread * demand * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))
    return np.where(np.isfinite(demand), np.maximum(mean, 1e-6), supply)


def _free(supply, demand):
    from scipy.special import ndtr

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
    raw: np.ndarray
    tick: np.ndarray
    hour: np.ndarray
    expected: np.ndarray


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
    var = (rows["weather_var"] + FIXED_VAR + (15.0 / (expected * span)) ** 2) * noise
    var = var + ((1 - free) * DRAW_SD) ** 2 / span
    group = _blocks(rows, today)
    weight = 1 / var
    y, total = _pool(group, ratio, weight)
    day, _ = _pool(group, rows["day"].astype(float), weight)
    covers = np.bincount(group, span)
    at, _ = _pool(group, rows["clearness"].astype(float), weight)
    load, _ = _pool(group, free, weight)
    supply, _ = _pool(group, supply, weight)
    floats = np.isfinite(demand).all()
    demand = _pool(group, demand, weight)[0] if floats else np.full(len(y), np.nan)
    last = np.zeros(len(y), int)
    last[group] = np.arange(len(rows))
    tick, hour = rows["tick"][last].astype(float), rows["hour"][last].astype(float)
    pooled = 1 / total
    series = Series(day + (covers - 1) / 2 * (np.bincount(group) > 1), covers, y, pooled, load, at)
    return Water(series, supply, demand, 1 - load, y, tick, hour, limited(supply, demand))


def _covariance(series, level_sd, slow_sd, slow_days, quick_sd, quick_days):
    mid = series.day - series.span / 2
    apart = np.abs(mid[:, None] - mid[None, :])
    k = level_sd**2 + slow_sd**2 * np.exp(-apart / slow_days) + quick_sd**2 * np.exp(-apart / quick_days)
    return k * series.load[:, None] * series.load[None, :]


def _robust(series, scale):
    """Variances in which a figure far from the ones around it counts for less; runs of such figures keep their weight."""
    y, n = series.y, len(series.y)
    if n < 5:
        return series.var
    around = np.array([np.median(np.delete(y[max(0, i - 3) : i + 4], min(i, 3))) for i in range(n)])
    sd = np.sqrt(series.var + scale**2)
    off = np.maximum(np.abs(y - around) / sd - 3.0, 0)
    return series.var + 0.4 * (off * sd) ** 2


def growth(series, begin, ramp):
    """(sudden share of the span after the beginning, how far grown): each (b, m) for b (begin, ramp) pairs; ramp 0: at once."""
    end, start = series.day[None, :], series.day[None, :] - series.span[None, :]
    b, r = begin[:, None], ramp[:, None]
    after = np.clip((end - b) / np.maximum(end - start, 1e-9), 0, 1)
    middle = (np.maximum(start, b) + end) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        grown = np.where(r > 0, np.clip((middle - b) / np.where(r > 0, r, 1), 0, 1), 1.0)
    return after, grown * (after > 0)


def _beginnings(today, first):
    """(begin day, ramp, log weight in days) of each way of beginning, by cause number."""
    days = today - BEGINNINGS.astype(float)
    days = days[days >= first - 1]
    width = np.diff(np.append(BEGINNINGS[: len(days)], BEGINNINGS[len(days) - 1] * 1.25 + 1)).astype(float)
    out = []
    for cause in CAUSES:
        begin, ramp, weight = [], [], []
        if cause.sudden > 0:
            begin.append(days)
            ramp.append(np.zeros(len(days)))
            weight.append(np.log(width * cause.sudden))
        for r in cause.ramp_days:
            begin.append(days)
            ramp.append(np.full(len(days), r))
            weight.append(np.log(width * (1 - cause.sudden) / len(cause.ramp_days)))
        out.append((np.concatenate(begin), np.concatenate(ramp), np.concatenate(weight)))
    return out


def _solve(k, y, g, extra=None):
    """Log likelihood ratios of mean shifts g (h, m) for covariance k, and of the changed covariance k + diag(extra)."""
    low = cho_factor(k, lower=True)
    s = cho_solve(low, g.T)
    return g @ cho_solve(low, y) - 0.5 * np.einsum("hm,mh->h", g, s)


def _log_normal(k, r):
    c, low = cho_factor(k, lower=True)
    return -0.5 * r @ cho_solve((c, low), r) - np.log(np.diag(c)).sum()


def judge(rows, signatures, today, first, level, level_sd, noon=None, noise=1.0, rates=RATES):
    """Odds of the causes of one unit today.

    rows: its observations; signatures: causes.signatures of the unit; first: day from which a fault could have begun (installed or last
    put right); level, level_sd: log of own output over the chain's and its doubt, from the commissioning tests; noon: expected
    (volts, amps, level) at each row's noon irradiance, NaN where nothing; rates: per unit and day (15,).
    """
    water = water_channel(rows, today, level, noise)
    if water is None:
        return None
    s = water.series
    ways = _beginnings(today, first)
    logs, causes, begins, keeps = [], [], [], []
    k = _covariance(s, level_sd, SLOW_SD, SLOW_DAYS, DIRT_SD, DIRT_DAYS)
    draw = s._replace(load=water.draw_load)
    if np.isfinite(water.demand).any():
        k = k + _covariance(draw, 0.2, DRAW_SLOW, DRAW_DAYS, 0.0, 1.0)
    var = _robust(s, DIRT_SD + 0.02)
    k_water = k + np.diag(var)
    others = _noon_channels(rows, today, noon) if noon is not None else []
    base = limited(water.supply, water.demand)
    shares = _at(signatures.water, X, s.at)
    shifts, extras, where = [], [], []
    for h, cause in enumerate(signatures.cause):
        begin, ramp, weight = ways[cause]
        after, grown = growth(s, begin, ramp)
        keep = np.maximum(shares[h], LEAST)[None, :]
        if cause == NOT_A_FAULT:
            kept_demand = water.demand * (1 + after * (signatures.demand[h] ** grown - 1))
            now = limited(np.broadcast_to(water.supply, kept_demand.shape), kept_demand)
        else:
            ratio = 1 + after * (keep**grown - 1)
            now = limited(water.supply * ratio, water.demand)
        g = np.log(np.maximum(now / base, LEAST))
        shifts.append(g)
        extras.append(np.where(after > 0.3, signatures.scatter[h] * np.minimum(grown * 1.3, 1), 0.0) if signatures.scatter[h] else None)
        logs.append(np.log(rates[cause]) - np.log((signatures.cause == cause).sum()) + weight)
        causes.append(np.full(len(begin), cause))
        begins.append(begin)
        keeps.append(np.exp(g[:, -1]))
        where.append(np.full(len(begin), h))
    g = np.concatenate(shifts)
    gain = _solve(k_water, s.y, g)
    gain = _scattered(gain, shifts, extras, k, s, k_water)
    gain += _ticks(water, g, np.concatenate(causes))
    causes, begins, keeps, where = (np.concatenate(x) for x in (causes, begins, keeps, where))
    for channel in others:
        gain += channel(signatures, where, begins, np.concatenate([ways[c][1] for c in signatures.cause]))
    post = np.concatenate(logs) + gain
    return _summary(post, causes, begins, keeps, base[-1], today)


def _at(curves, knots, at):
    """Curves (h, k) over knots, read at points (m,): (h, m)."""
    place = np.clip(np.interp(at, knots, np.arange(len(knots))), 0, len(knots) - 1.000001)
    i = place.astype(int)
    return curves[:, i] + (place - i) * (curves[:, i + 1] - curves[:, i])


def _scattered(gain, shifts, extras, k, s, k_water):
    """A cause that makes days differ (a controller that cuts out) is weighed with that scatter in."""
    none = None
    start = 0
    for g, extra in zip(shifts, extras, strict=True):
        if extra is not None:
            if none is None:
                none = _log_normal(k_water, s.y)
            for j in range(len(g)):
                if j % 2 and len(g) > 12:
                    gain[start + j] = gain[start + j - 1]
                    continue
                wide = k + np.diag(s.var + extra[j] ** 2 / np.maximum(s.span, 1))
                gain[start + j] = _log_normal(wide, s.y - g[j]) - none
        start += len(g)
    return gain


def _ticks(water, g, causes):
    """What the caretaker's "tank full" adds: full is unlikely under a fault that starves the tank, likely when less is drawn."""
    seen = np.isfinite(water.tick) & np.isfinite(water.demand)
    if not seen.any():
        return np.zeros(len(g))
    def chance(full_share):
        late = np.clip((np.nan_to_num(water.hour[seen], nan=12.0) - 7) / 6, 0.15, 1.0)
        return np.clip(0.85 * full_share * late, 0.02, 0.9)

    tick = water.tick[seen] > 0
    supply, demand = water.supply[seen], water.demand[seen]
    kept = np.exp(g[:, seen])
    base = limited(supply, demand)
    sound = chance(1 - _free(supply, demand))
    fault = chance(np.clip((1 - _free(supply, demand)) * kept**4, 0, 1))
    less = chance(np.clip(1 - _free(supply, demand) * kept**4, 0, 1))
    meter = np.isin(causes, [NUMBER["meter_stands"], NUMBER["meter_slow"]])[:, None]
    p = np.where((causes == NOT_A_FAULT)[:, None], np.where(kept < 0.99, less, sound), np.where(meter, sound, fault))
    del base
    return 0.7 * np.where(tick, np.log(p / sound), np.log((1 - p) / (1 - sound))).sum(axis=1)


def _noon_channels(rows, today, noon):
    """Functions that weigh noon current, voltage, level and the own cell against the sky, one each where there are readings."""
    volts, amps, level = noon
    ok = (rows["day"] <= today) & (rows["day"] > today - 150) & (rows["noon_w_m2"] > 350)
    out = []
    floats = np.isfinite(rows["demand_l"])
    runs = rows["noon_a"] > 0.15 * amps
    seen = ok & np.isfinite(rows["noon_a"]) & (amps > 0.1) & (runs | ~floats)
    y = np.log(np.maximum(rows["noon_a"], 0.05 * amps) / np.maximum(amps, 1e-6))
    out += _channel(rows, today, seen, y, CURRENT, lambda sig: np.log(np.maximum(sig.current, 0.05)), True)
    seen = ok & np.isfinite(rows["noon_v"]) & (volts > 1) & runs
    y = np.log(np.maximum(rows["noon_v"], 0.1) / np.maximum(volts, 1e-6))
    out += _channel(rows, today, seen, y, VOLTAGE, lambda sig: np.log(np.maximum(sig.voltage, 0.2)), True)
    seen = ok & np.isfinite(rows["noon_level_m"]) & np.isfinite(level) & runs
    out += _channel(rows, today, seen, rows["noon_level_m"] - level, LEVEL, lambda sig: sig.level, True)
    return out


def _channel(rows, today, seen, y, spread, signature, over_suns):
    if seen.sum() < 4:
        return []
    rows, y = rows[seen], y[seen].astype(float)
    keep = np.ones(len(y), bool)
    age = today - rows["day"]
    keep = (age <= 20) | (age % 4 == 0)
    rows, y = rows[keep], y[keep]
    m = len(y)
    s = Series(rows["day"].astype(float), np.ones(m), y, np.full(m, spread[3] ** 2), np.ones(m), rows["noon_w_m2"].astype(float))
    var = _robust(s, spread[2])
    k = _covariance(s, spread[0], spread[1], SLOW_DAYS, spread[2], DIRT_DAYS) + np.diag(var)

    def weigh(sig, where, begins, ramps):
        shift = _at(signature(sig), SUNS, s.at)
        after, grown = growth(s, begins, ramps)
        g = after * grown * shift[where]
        moves = np.abs(g).max(axis=1) > 1e-4
        out = np.zeros(len(where))
        if moves.any():
            out[moves] = _solve(k, s.y, g[moves])
        return out

    return [weigh]


def _summary(post, causes, begins, keeps, base, today):
    """Odds from log weights of all hypotheses; nothing wrong has weight 1."""
    fault = causes != NOT_A_FAULT
    total_fault = logsumexp(post[fault])
    total_less = logsumexp(post[~fault]) if (~fault).any() else -np.inf
    everything = logsumexp([0.0, total_fault, total_less])
    p = np.exp(post - everything)
    by_cause = np.bincount(causes, p, minlength=len(NAMES))
    none = float(np.exp(-everything))
    share = by_cause / max(by_cause.sum(), 1e-300)
    weight = p / max(p.sum(), 1e-300)
    order = np.argsort(begins)
    onset = tuple(np.interp([0.5, 0.1, 0.9], np.cumsum(weight[order]), begins[order]))
    lost = base * (1 - keeps)
    order = np.argsort(lost)
    lost_l = tuple(np.interp([0.5, 0.1, 0.9], np.cumsum(weight[order]), lost[order]))
    kept = float((weight * keeps).sum())
    return Odds(
        float(total_fault - np.logaddexp(0.0, total_less)), float(total_less - np.logaddexp(0.0, total_fault)),
        share, none, onset, lost_l, kept,
    )  # fmt: skip
