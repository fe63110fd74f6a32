"""The search for a loss in all that a unit has reported: a bank of losses, each by when and how it began.

Under "sound" the figures are normal about what is due, with a covariance of the own level, the seasons, dirt, weather
that neighbours miss and the meter (`noise`). A loss of a given size that began on a given day moves their mean along a
known line, so its likelihood ratio is one scalar product (Kay, Fundamentals of Statistical Signal Processing, Detection
Theory, 1998, sec. 4.4). Summed over beginnings, ways of growing and sizes with their rates beforehand, the ratios give
the odds that water is being lost. Against it stand not only "sound" but also "switched off for a day or two", which is
as frequent, "a trifle", and with a float switch "less is drawn". Causes are asked only once this has decided.
"""

import math
from typing import NamedTuple

import numpy as np

from sizing import compiled
from sizing.causes.onsite import carried, is_test
from sizing.causes.tank import full_seen, held, leaning, ticked
from sizing.judge.figures import (
    CLEAR,
    DEMAND,
    DRAW,
    DUE,
    END,
    HEIGHT,
    LIGHT,
    LOAD,
    MOST_FIGURES,
    RATIO,
    SKY,
    SPAN,
    SUPPLY,
    TEST,
    TICK,
    VARIANCE,
    columns,
    gather,
)
from sizing.judge.noise import NOISE, TABLE

AGES = np.array([0, 1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58, 72, 90, 112, 140], float)  # days ago
WIDTHS = np.diff(np.append(AGES, AGES[-1] * 1.25 + 1))
RAMPS = np.array([0.0, 15.0, 40.0, 100.0])  # days that a loss grows; half of all come at once
LOSSES = np.array([0.04, 0.07, 0.10, 0.14, 0.19, 0.25, 0.33, 0.45, 0.65, 1.0])
FEW = np.array([0.1, 0.2, 0.35, 0.6, 1.0])  # with a float switch, where each must be worked out
LESS = np.array([0.25, 0.45, 0.65])  # drawn less
RATE, LESS_RATE = 0.4 / 365.25, 0.06 / 365.25  # a unit and day: faults, lasting falls of the draw (weak)
SPELLS = np.array([0.6, 0.4, 0.04, 0.004]) / 365.25  # sound but switched off for 1 to 4 days (a judgement)
HABIT_DAYS = 45  # ticks older than this tell how often a tank is seen full when all is well
BOOKS = 0.15  # of what falls short, by the catalogue's rates (causes.names), only the meter does
TRIFLE = 0.93  # a loss that leaves more than this is not worth a journey
NOBODY_DRAWS = 3.0  # log odds that each figure of nought takes from "less is drawn": people always draw something
(FAULT, LESS_DRAWN, SIZE, AGE, RAMP, NONE) = range(6)
_P = {name: place for place, name in enumerate(NOISE)}
(LEVEL, SLOW, SLOW_DAYS, DIRT, DIRT_DAYS, LASTING, SHAPE, DRAW_LEVEL, DRAW_SLOW, DRAW_DAYS) = (
    _P[k] for k in (
        "level", "slow", "slow_days", "dirt", "dirt_days", "lasting", "shape", "draw_level", "draw_slow", "draw_days",
    )
)  # fmt: skip


class Found(NamedTuple):
    """Of one unit today. fault, less: log odds of a loss (of less being drawn) against all else; none: probability of
    neither; size, began, ramp: the likeliest loss, the day it began and the days it grows."""

    fault: float
    less: float
    none: float
    size: float
    began: float
    ramp: float


def find(rows, today, first, level, level_sd, kind, float_switch):
    """Found of one unit, or None where nothing can be said.

    rows: its observations (judge.record.OBSERVATION); first: day from which a loss could have begun; level, level_sd:
    log of own output over the chain's by the tests at commissioning; kind: noise.METER, DAILY or CELL.
    """
    if today < first - 1 or not len(rows):
        return None
    rows = rows[~is_test(rows["told_by"]) | (rows["day"] >= first - 1)]  # put right since: it tells of what was
    made = np.full(6, -np.inf)
    noise = TABLE[int(kind), int(bool(float_switch))]
    figures = np.empty((HEIGHT, MOST_FIGURES))
    count = gather(*columns(rows), float(today), float(level), noise, figures)
    if not count:
        return None
    _search(figures, count, float(level_sd), noise, float(today), float(first), bool(float_switch), made)
    return Found(
        float(made[FAULT]), float(made[LESS_DRAWN]), float(made[NONE]), float(made[SIZE]), today - float(made[AGE]),
        float(made[RAMP]),
    )  # fmt: skip


@compiled()
def find_on(day, since, measured, supply, clear, weather, gain, demand, told, mistake, tick, asked, first, level,
            level_sd, noise, float_switch, out):  # fmt: skip
    """`find` on many days of one unit: asked (q,) days, out (q, 6); for simulations."""
    figures = np.empty((HEIGHT, MOST_FIGURES))
    low = 0
    for q in range(len(asked)):
        while low < len(day) and day[low] <= asked[q] - 240:
            low += 1
        high = low
        while high < len(day) and day[high] <= asked[q]:
            high += 1
        part = slice(low, high)
        m = gather(day[part], since[part], measured[part], supply[part], clear[part], weather[part], gain[part],
                   demand[part], told[part], mistake[part], tick[part], asked[q], level, noise, figures)  # fmt: skip
        out[q, :] = -np.inf
        if m:
            _search(figures, m, level_sd, noise, asked[q], first, float_switch, out[q])


@compiled()
def _root(o, m, level_sd, noise):
    """Lower triangular root of the covariance of a sound unit's figures."""
    k = np.empty((m, m))
    with_days, alike = carried(level_sd)
    for i in range(m):
        for j in range(i + 1):
            apart = abs(o[END, i] - o[SPAN, i] / 2 - o[END, j] + o[SPAN, j] / 2)
            days = abs(o[END, i] - o[END, j])
            both = o[LOAD, i] * o[LOAD, j]
            v = ((noise[LEVEL] * level_sd) ** 2 + noise[SLOW] ** 2 * math.exp(-apart / noise[SLOW_DAYS])) * both
            if o[TEST, i] + o[TEST, j] > 0.0:
                common = (o[TEST, i] + o[TEST, j]) * with_days + o[TEST, i] * o[TEST, j] * alike
                v += noise[LEVEL] ** 2 * common * both
            v += noise[DIRT] ** 2 * math.exp(-apart / noise[DIRT_DAYS]) * o[LIGHT, i] * o[LIGHT, j]
            v += noise[SHAPE] ** 2 * (o[CLEAR, i] - 1.0) * (o[CLEAR, j] - 1.0) * both
            if 0.0 < days < 8.0:
                v += noise[LASTING] * math.exp(-(days - 1.0) / 1.5) * o[SKY, i] * o[SKY, j]
            if o[DEMAND, i] == o[DEMAND, i]:
                drawn = noise[DRAW_LEVEL] ** 2 + noise[DRAW_SLOW] ** 2 * math.exp(-apart / noise[DRAW_DAYS])
                v += drawn * (1.0 - o[LOAD, i]) * (1.0 - o[LOAD, j])
            if i == j:
                v += o[VARIANCE, i]
            for c in range(j):
                v -= k[i, c] * k[j, c]
            k[i, j] = math.sqrt(max(v, 1e-12)) if i == j else v / k[j, j]
    return k


@compiled()
def _grown(o, m, begin, ramp, share, by_then):
    """Share of the whole loss that each figure has, for a loss from the day `begin` on, and how far it had grown by the
    figure's last day; the first that has any."""
    first = m
    for i in range(m):
        start = o[END, i] - o[SPAN, i]
        early = 1.0 if o[SPAN, i] <= 1.0 else 0.0  # a day's own record has the loss of the day on which it began
        after = min(max((o[END, i] - begin + early) / max(o[SPAN, i], 1e-9), 0.0), 1.0)
        share[i], by_then[i] = after, 1.0
        if after > 0.0:
            if ramp > 0.0:
                by_then[i] = min((o[END, i] - begin + 1.0) / ramp, 1.0)
                middle = (max(start, begin) + o[END, i]) / 2 + 0.5
                share[i] = after * min(max((middle - begin) / ramp, 0.0), 1.0)
            if share[i] > 0.0 and i < first:
                first = i
    return first


@compiled()
def _habit(o, m, draw, today):
    """How much oftener than usual this tank was seen full, before the last weeks."""
    seen, due, count = 0.0, 0.0, 0.0
    for i in range(m):
        if o[TICK, i] == o[TICK, i] and today - o[END, i] > HABIT_DAYS:
            seen, count = seen + o[TICK, i], count + 1.0
            due += full_seen(o[SUPPLY, i], o[DEMAND, i], draw)
    return leaning(seen, due, count)


@compiled()
def _both(a, b):
    """Log of the sum of two weights given by their logs."""
    if a < b:
        a, b = b, a
    return a if b == -np.inf else a + math.log1p(math.exp(b - a))


@compiled()
def _search(o, m, level_sd, noise, today, first, float_switch, made):
    root = _root(o, m, level_sd, noise)
    z, w, share, by_then = np.empty(m), np.zeros(m), np.empty(m), np.empty(m)
    for i in range(m):
        v = o[RATIO, i]
        for c in range(i):
            v -= root[i, c] * z[c]
        z[i] = v / root[i, i]
    total = np.array([-np.inf, -np.inf, 0.0, -np.inf])  # losses, less drawn, none of them, the best so far
    lean = _habit(o, m, noise[DRAW], today) if float_switch else 0.0
    for r in range(len(RAMPS)):
        way = math.log(0.5) if r == 0 else math.log(0.5 / (len(RAMPS) - 1))
        for a in range(len(AGES)):
            if today - AGES[a] < first - 1.0:
                break
            start = _grown(o, m, today - AGES[a], RAMPS[r], share, by_then)
            if start >= m:
                continue
            for i in range(start):
                w[i] = 0.0
            weight = way + math.log(WIDTHS[a])
            spell = math.log(SPELLS[a]) if r == 0 and a < len(SPELLS) else -np.inf
            if float_switch:
                _limited(o, m, start, share, by_then, root, z, w, noise[DRAW], lean, weight, spell, r, a, total, made)
            else:
                _unlimited(m, start, share, root, z, w, weight, spell, r, a, total, made)
    losses, less, none = total[0], total[1], total[2]
    made[FAULT] = losses - _both(none, less)
    made[LESS_DRAWN] = less - _both(none, losses)
    made[NONE] = math.exp(none - _both(none, _both(losses, less)))


@compiled()
def _book(log_ratio, kept, weight, spell, count, size, r, a, total, made):
    """Put one loss to the others."""
    if spell > -np.inf:
        total[2] = _both(total[2], spell - math.log(count) + log_ratio)
    log_odds = math.log(RATE) + weight - math.log(count) + log_ratio
    if kept > TRIFLE:
        total[2] = _both(total[2], log_odds)
        return
    total[0] = _both(total[0], log_odds)
    if log_odds > total[3]:
        total[3] = log_odds
        made[SIZE], made[AGE], made[RAMP] = size, AGES[a], RAMPS[r]


@compiled()
def _unlimited(m, start, share, root, z, w, weight, spell, r, a, total, made):
    """Without a float switch a loss moves the figures in proportion: one line serves all sizes."""
    along, square = 0.0, 0.0
    for i in range(start, m):
        v = -share[i]
        for c in range(start, i):
            v -= root[i, c] * w[c]
        w[i] = v / root[i, i]
        along += w[i] * z[i]
        square += w[i] * w[i]
    for size in LOSSES:
        ratio = along * size - 0.5 * square * size * size
        _book(ratio, 1.0 - size * share[m - 1], weight, spell, len(LOSSES), size, r, a, total, made)


@compiled()
def _limited(o, m, start, share, by_then, root, z, w, draw, lean, weight, spell, r, a, total, made):
    """With a float switch a loss shows only where supply limits; and less may be drawn."""
    for q in range(2 * len(FEW) + len(LESS)):
        less, books = q >= 2 * len(FEW), len(FEW) <= q < 2 * len(FEW)
        if less and RAMPS[r] > 20.0:
            continue
        size = LESS[q - 2 * len(FEW)] if less else FEW[q % len(FEW)]
        along, square, shift, noughts, ticks = 0.0, 0.0, 0.0, 0, 0.0
        for i in range(start, m):
            if less:
                now = held(o[SUPPLY, i], o[DEMAND, i] * (1.0 - size * share[i]), draw)
                if share[i] > 0.9 and o[RATIO, i] < -0.95:
                    noughts += 1
            elif books:
                now = o[DUE, i] * (1.0 - size * share[i])
            else:
                now = held(o[SUPPLY, i] * max(1.0 - size * share[i], 0.01), o[DEMAND, i], draw)
            shift = now / o[DUE, i] - 1.0
            v = shift
            for c in range(start, i):
                v -= root[i, c] * w[c]
            w[i] = v / root[i, i]
            along += w[i] * z[i]
            square += w[i] * w[i]
            if not books and o[TICK, i] == o[TICK, i]:
                ticks += ticked(
                    o[TICK, i], o[SUPPLY, i], o[DEMAND, i], draw, 1.0 - size * by_then[i], less, lean, o[SPAN, i]
                )
        ratio = along - 0.5 * square + ticks
        if less:
            ratio -= min(NOBODY_DRAWS * noughts, 15.0)
            total[1] = _both(total[1], math.log(LESS_RATE) + weight - math.log(len(LESS)) + ratio)
        else:
            part = math.log(BOOKS if books else 1.0 - BOOKS)
            _book(ratio, 1.0 + shift, weight + part, spell, len(FEW), size, r, a, total, made)
