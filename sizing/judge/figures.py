"""A unit's figures as the search for a loss takes them: measured over due, with what each may scatter by.

The ratio itself is taken, not its logarithm: on a dull day that neighbours saw bright a sound unit may give nothing,
which is one unit less on this scale and minus infinity on the other. Days far from those around count for little,
unless they last; and every unit is weighed by its own scatter, for fleets and places differ in it.
"""

import math

import numpy as np

from sizing import compiled
from sizing.causes import onsite
from sizing.causes.tank import below, held
from sizing.judge.noise import NOISE

COLUMNS = (
    "day", "since", "measured_l", "supply_l", "clearness", "weather_var", "light_gain", "demand_l", "told_by",
    "mistake", "tick",
)  # fmt: skip
REMEMBERED_DAYS = 240
RECENT_DAYS, BLOCK_DAYS = 16, 8  # day records older than this are taken some days together
MOST_FIGURES = REMEMBERED_DAYS + 60
MOST_TESTS = 24  # on site, the newest
TESTED = float(onsite.BY_METER)
SCATTER_AFTER = 45  # days: a period's figure younger than this says nothing of its unit's usual scatter
STRANGE = 3.0  # deviations from those around, from which a figure is looked at
ALIKE = 1.5  # deviations that a period must lack at least when a slip gave them to the one beside it
LONGEST_SPELL = 4  # days in a row that a sound unit may be switched off; what lasts longer is no accident
COUNT_L = 15.0  # steps in which a logger counts
# rows of the array that `gather` fills
(END, SPAN, RATIO, VARIANCE, LOAD, LIGHT, CLEAR, SUPPLY, DEMAND, DUE, SKY, TEST, COUNT, TICK) = range(14)
HEIGHT = 14
_N = {name: place for place, name in enumerate(NOISE)}
(DRAW, WEATHER, METER, DULL, OWN) = (_N[k] for k in ("draw", "weather", "meter", "dull", "own_figures"))


def columns(rows):
    """The columns of observations (judge.record.OBSERVATION) that are needed, as float arrays in order of day."""
    rows = rows[np.isfinite(rows["since"])]
    tests = np.flatnonzero(onsite.is_test(rows["told_by"]))
    if len(tests) > MOST_TESTS:
        rows = np.delete(rows, tests[np.argsort(rows["day"][tests], kind="stable")[:-MOST_TESTS]])
    if len(rows) > 1 and (np.diff(rows["day"]) < 0).any():
        rows = rows[np.argsort(rows["day"], kind="stable")]
    return tuple(np.ascontiguousarray(rows[name], dtype=float) for name in COLUMNS)


@compiled()
def _free(supply, demand, spread):
    if demand != demand:
        return 1.0
    share = below((demand - supply) / (spread * demand)) * supply / held(supply, demand, spread)
    return min(max(share, 0.0), 1.0)


@compiled()
def gather(day, since, measured, supply, clear, weather, gain, demand, told, mistake, tick, today, level, noise, out):
    """Fill `out` (HEIGHT, MOST_FIGURES) with the usable figures up to today; returns how many columns."""
    n, total = 0, len(day)
    end, span, y, var = np.empty(total), np.empty(total), np.empty(total), np.empty(total)
    free, light, x = np.empty(total), np.empty(total), np.empty(total)
    due, asked, sky, test = np.empty(total), np.empty(total), np.empty(total), np.zeros(total)
    full = np.empty(total)
    draw = noise[DRAW]
    for i in range(total):
        if mistake[i] != 0.0 or measured[i] != measured[i]:
            continue
        if day[i] > today or day[i] <= today - REMEMBERED_DAYS or not supply[i] > 20.0 * since[i]:
            continue
        can = max(supply[i] / since[i] * math.exp(level), 1.0)
        expected = held(can, demand[i], draw)
        f = _free(can, demand[i], draw)
        by_sky = math.expm1(min(weather[i], 1.5)) * noise[WEATHER]
        dull = 0.0
        if since[i] <= 1.0:
            if told[i] >= 0.0:  # neighbours know bright days better than they think, and dull ones worse
                by_sky *= min(max(math.exp(-0.55 * (clear[i] - 0.7)), 0.5), 2.2)
            dull = (noise[DULL] * max(gain[i], 1.0) * math.exp(0.75 * (1.0 - clear[i]))) ** 2
        end[n], span[n], free[n], due[n], asked[n], x[n] = day[i], since[i], f, can, demand[i], clear[i]
        light[n] = gain[i] * f
        y[n] = min(measured[i] / since[i] / expected, 3.0) - 1.0
        var[n] = by_sky + noise[METER] + dull + (0.025 * light[n]) ** 2 / since[i]
        var[n] += (COUNT_L / (expected * since[i])) ** 2 + (1.0 - f) * draw * draw / since[i]
        sky[n] = math.sqrt(by_sky) if told[i] >= 0.0 and since[i] <= 1.0 else 0.0
        if told[i] <= TESTED:  # of sun, flow and level it knows itself how far they go
            var[n], light[n], test[n] = weather[i], gain[i], 1.0
        full[n] = tick[i]
        n += 1
    if n == 0:
        return 0
    off = _weigh_scatter(end, span, y, var, sky, free, test, n, today, noise[OWN])
    n = _without_slips(off, end, span, y, var, free, light, x, due, asked, sky, test, full, n, draw)
    return _together(end, span, y, var, free, light, x, due, asked, sky, test, full, n, today, draw, out)


@compiled()
def _weigh_scatter(end, span, y, var, sky, free, test, n, today, own_figures):
    """Variances brought to the unit's own scatter, and widened for figures that stand alone far off. Tests on site are
    left out of it: another instrument, and they may rightly say what the meter does not. Returns how many deviations
    each figure is off those around it (n,), 0 where that is not known."""
    at, m = np.empty(n, np.int64), 0
    for i in range(n):
        if test[i] == 0.0:
            at[m] = i
            m += 1
    if m == 0:
        return np.zeros(n)
    off, around = np.zeros(m), np.zeros(m)
    near = np.empty(10)
    for p in range(m):
        i, c = at[p], 0
        for k in (-5, -4, -3, -2, -1, 1, 2, 3, 4, 5):
            if 0 <= p + k < m:
                near[c] = y[at[p + k]]
                c += 1
        if c < 4:
            continue
        ordered = np.sort(near[:c])
        around[p] = ordered[c // 2] if c % 2 else 0.5 * (ordered[c // 2] + ordered[c // 2 - 1])
        off[p] = (y[i] - around[p]) / math.sqrt(var[i] + 0.001 * free[i] ** 2)
    squares, c = np.empty(m), 0
    for p in range(m):
        i = at[p]
        if today - end[i] > (RECENT_DAYS if span[i] <= 1.0 else SCATTER_AFTER):
            squares[c] = (y[i] - around[p]) ** 2 / (var[i] + 0.0004)
            c += 1
    if c >= 6:
        if span[at[m - 1]] > 1.0:  # few figures, slips among them: without the wildest 15 % their mean is 0.52
            kept = int(0.85 * c)
            scatter = np.sort(squares[:c])[:kept].mean() / 0.52 * (kept / (0.85 * c))
        else:  # many, with honest tails that must be borne
            scatter = 1.05 * np.minimum(squares[:c], 9.0).mean()
        scatter = min(max((c * scatter + own_figures) / (c + own_figures), 0.4), 3.0)
        for p in range(m):
            var[at[p]] *= scatter
            sky[at[p]] *= math.sqrt(scatter)
            off[p] /= math.sqrt(scatter)
    p = 0
    while p < m:
        long = span[at[p]] > 3.0
        # a meter's period counts less once the next is as those before it: whatever it was, it has gone again
        passed = long and p + 1 < m and abs(off[p + 1]) < ALIKE
        if abs(off[p]) < STRANGE or (long and not passed):
            p += 1
            continue
        sign, last = (1.0 if off[p] > 0 else -1.0), p
        while last + 1 < m and off[last + 1] * sign > 1.5 and span[at[last + 1]] <= 3.0:
            last += 1
        spell = last - p + 1
        if spell == 1 or (last < m - 1 and spell <= LONGEST_SPELL):
            for k in range(p, last + 1):
                beyond = max(abs(off[k]) - 2.0, 0.0)
                var[at[k]] *= 1.0 + 0.4 * beyond * beyond
        p = last + 1
    out = np.zeros(n)
    for p in range(m):
        out[at[p]] = off[p]
    return out


@compiled()
def _without_slips(off, end, span, y, var, free, light, x, due, asked, sky, test, full, n, draw):
    """Periods of a meter of which one has far too much and the next lacks it, taken as one: the total between them was
    written down wrongly, as it seems, and says nothing. Returns how many figures are left."""
    m = -1
    for i in range(n):
        slip = m >= 0 and span[m] > 3.0 and span[i] > 3.0 and test[m] == 0.0 and test[i] == 0.0
        slip = slip and off[m] * off[i] < 0.0 and max(abs(off[m]), abs(off[i])) >= STRANGE
        if not (slip and min(abs(off[m]), abs(off[i])) >= ALIKE):
            m += 1
            off[m], end[m], span[m], y[m], var[m], free[m] = off[i], end[i], span[i], y[i], var[i], free[i]
            light[m], x[m], due[m], asked[m], sky[m] = light[i], x[i], due[i], asked[i], sky[i]
            test[m], full[m] = test[i], full[i]
            continue
        # shares of the litres that were due: so the two together are what was measured over what was due
        a, b = held(due[m], asked[m], draw) * span[m], held(due[i], asked[i], draw) * span[i]
        p, q = a / (a + b), b / (a + b)
        y[m], var[m], free[m] = p * y[m] + q * y[i], p * p * var[m] + q * q * var[i], p * free[m] + q * free[i]
        light[m], x[m] = p * light[m] + q * light[i], p * x[m] + q * x[i]
        t = span[m] / (span[m] + span[i])
        due[m], asked[m] = t * due[m] + (1.0 - t) * due[i], t * asked[m] + (1.0 - t) * asked[i]
        end[m], full[m], off[m] = end[i], full[i], 0.0
        span[m] += span[i]
    return m + 1


@compiled()
def _together(end, span, y, var, free, light, x, due, asked, sky, test, full, n, today, draw, out):
    """Recent figures and tests one by one, older day records some days together."""
    m, before, ticks = -1, -1.0, 0.0
    for i in range(n):
        age = today - end[i]
        alone = test[i] > 0.0 or not (age > RECENT_DAYS and span[i] <= 1.0)
        block = -2.0 if alone else math.floor(age / BLOCK_DAYS)
        if alone or block != before:
            m += 1
            out[:, m] = 0.0
            out[TICK, m], ticks = np.nan, 0.0
        before = block
        w = 1.0 / var[i]
        out[VARIANCE, m] += w
        out[SPAN, m] += span[i]
        out[COUNT, m] += 1.0
        out[END, m] += w * end[i]
        out[RATIO, m] += w * y[i]
        out[LOAD, m] += w * free[i]
        out[LIGHT, m] += w * light[i]
        out[CLEAR, m] += w * x[i]
        out[SUPPLY, m] += w * due[i]
        out[DEMAND, m] += w * asked[i]
        if alone:
            out[SKY, m], out[TEST, m] = sky[i], test[i]
        if full[i] == full[i]:  # of days together the share that was ticked
            ticks += 1.0
            out[TICK, m] = full[i] if ticks == 1.0 else out[TICK, m] + (full[i] - out[TICK, m]) / ticks
    m += 1
    for k in range(m):
        w = out[VARIANCE, k]
        for row in (END, RATIO, LOAD, LIGHT, CLEAR, SUPPLY, DEMAND):
            out[row, k] /= w
        out[VARIANCE, k] = 1.0 / w
        if out[COUNT, k] > 1.0:
            out[END, k] += (out[SPAN, k] - 1.0) / 2.0
        out[DUE, k] = held(out[SUPPLY, k], out[DEMAND, k], draw)
    return m
