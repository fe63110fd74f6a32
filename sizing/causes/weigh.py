"""The compiled loops behind the odds: what every cause, size, manner and beginning makes of a unit's readings.

Each channel of readings is a normal distribution with a known covariance; a fault shifts its mean. With W the inverse
covariance, a shift g gains g'Wy - g'Wg/2 over "nothing wrong" (Kay, Fundamentals of Statistical Signal Processing,
Detection Theory, 1998, sec. 4.4). A shift is nought before the beginning, so that only readings after it are summed.
g'Wy and g'Wg are kept apart, so that `odds` can let the size differ a little from the one tried, the same in all
channels.
"""

import numpy as np

from sizing import compiled
from sizing.causes.tank import ticked

LEAST = 0.02  # smallest ratio told apart from nothing
SUPPLY, DRAWN, BOOKS = 0, 1, 2  # what a fault changes: what the unit can give, what people draw, what the meter shows
# Figures are compared on the scale log(ratio + SOFT): a loss of a tenth is a tenth there, but from little to nothing it
# is a short way. On the logarithm's own, a standing unit's noughts parted causes by what is nought in any of them.
SOFT = 0.1
UNREST = 12  # days among which unrest is looked for
STEPS = 48  # of the tables that a float switch is read from
LOG_LEAST = float(np.log(LEAST))
LOG_MOST = 0.41


@compiled()
def steepness(share, span):
    """How much of a change in proportion shows on the scale that figures are compared on (SOFT): nothing where nothing
    came. A day that stands alone far below those around is taken as they are."""
    n, near = share.size, np.empty(6)
    out = np.empty(n)
    for i in range(n):
        usual = share[i]
        if span[i] <= 3:
            m = 0
            for k in range(max(i - 3, 0), min(i + 4, n)):
                if k != i:
                    near[m] = share[k]
                    m += 1
            if m:
                usual = max(usual, np.median(near[:m]))
        out[i] = usual / (usual + SOFT)
    return out


@compiled()
def robust(y, var, span, scale, size):
    """Variances in which a day far from those around it counts for less; runs of such days keep their weight, and so do
    long periods, which are no slips. size times scale: how much days may differ anyway."""
    n = y.size
    out = var.copy()
    if n < 5:
        return out
    near = np.empty(6)
    for i in range(n):
        if span[i] > 3:
            continue
        m = 0
        for step in (-3, -2, -1, 1, 2, 3):
            if 0 <= i + step < n:
                near[m] = y[i + step]
                m += 1
        sd = np.sqrt(var[i] + (size * scale[i]) ** 2)
        off = max(abs(y[i] - np.median(near[:m])) / sd - 3.0, 0.0)
        out[i] = var[i] + 0.4 * (off * sd) ** 2
    return out


@compiled()
def unrest(y, var, span):
    """Variances of days among days that scatter more than theirs say: one that happens to lie in the middle of them is
    no surer than the rest. The scatter is that from day to day, in which a step counts once."""
    n = y.size
    out = var.copy()
    if n < UNREST:
        return out
    apart, known = np.empty(n), np.empty(n)
    for i in range(1, n):
        apart[i], known[i] = (y[i] - y[i - 1]) ** 2, var[i] + var[i - 1]
    reach = UNREST // 2
    for i in range(n):
        if span[i] > 3:
            continue
        low = min(max(i - reach, 1), n - 2 * reach)
        far, usual = np.median(apart[low : low + 2 * reach]), np.median(known[low : low + 2 * reach])
        out[i] = var[i] + max(far / 0.455 - usual, 0.0) / 2  # 0.455: median of a square of one sigma
    return out


@compiled()
def steps(y, reach):
    """Places of the two largest steps in y (the first figure after each), by medians of `reach` figures on either side;
    -1 where there is none."""
    n = y.size
    found = np.full(2, -1)
    for place in range(2):
        best = 0.2  # smaller ones need no care
        for i in range(1, n):
            if place == 1 and abs(i - found[0]) <= reach:
                continue
            left, right = y[max(i - reach, 0) : i], y[i : i + reach]
            size = abs(np.median(right) - np.median(left)) * np.sqrt(min(left.size, right.size) / reach)
            if size > best:
                best, found[place] = size, i
    return found


@compiled()
def growth(day, span, begin, ramp, after, grown):
    """Fills the share of each reading's span after the beginning, and how far grown then; ramp 0: at once."""
    for j in range(day.size):
        end, start = day[j], day[j] - span[j]
        a = min(max((end - begin) / max(end - start, 1e-9), 0.0), 1.0)
        after[j] = a
        if a <= 0.0:
            grown[j] = 0.0
        elif ramp <= 0.0:
            grown[j] = 1.0
        else:
            grown[j] = min(max(((max(start, begin) + end) / 2 - begin) / ramp, 0.0), 1.0)


@compiled()
def at_size(kept_log, smaller, size, i, j, grown):
    """Log of water left at reading j by hypothesis i while it has grown to a share of its size: read between the
    smaller sizes of the same cause, because what a fault takes is seldom in proportion to its size (a sinking well
    takes little until the pump draws air). smaller (h,): place of the next smaller size, -1: none."""
    if grown >= 1.0:
        return kept_log[i, j]
    wanted = abs(size[i]) * grown
    low = i
    while smaller[low] >= 0 and abs(size[smaller[low]]) >= wanted:
        low = smaller[low]
    under = smaller[low]
    if under < 0:
        return kept_log[low, j] * wanted / abs(size[low])
    share = (wanted - abs(size[under])) / (abs(size[low]) - abs(size[under]))
    return kept_log[under, j] + share * (kept_log[low, j] - kept_log[under, j])


@compiled()
def read_table(table, x):
    """A table over log ratio, STEPS from LOG_LEAST to LOG_MOST."""
    place = (x - LOG_LEAST) / (LOG_MOST - LOG_LEAST) * (STEPS - 1)
    place = min(max(place, 0.0), STEPS - 1.000001)
    k = int(place)
    return table[k] + (place - k) * (table[k + 1] - table[k])


# Sums may be taken in any order, so that several terms go at once; the order is the same in every call.
QUICK = {"reassoc", "contract", "nsz"}


@compiled()
def first_after(after):
    """Place of the first reading that has any of the fault; readings are in order of their days."""
    for j in range(after.size):
        if after[j] > 0.0:
            return j
    return after.size


@compiled()
def shown(kept_log):
    """A log of water left on the scale that figures are compared on; what is next to nothing is nothing."""
    kept = 0.0 if kept_log <= LOG_LEAST + 0.01 else np.exp(kept_log)
    return np.log((kept + SOFT) / (1.0 + SOFT))


@compiled()
def moved(kept_log, smaller, size, i, first, after, grown, floats, table, g):
    """Fills g from `first` on: log of water left by hypothesis i at each reading, as a float switch lets it show."""
    for j in range(first, after.size):
        x = at_size(kept_log, smaller, size, i, j, grown[j])
        if after[j] < 1.0:
            x = np.log(1.0 + after[j] * (np.exp(x) - 1.0))
        x = max(x, LOG_LEAST)
        if x <= LOG_LEAST + 0.01:  # nothing is nothing, whatever else limits
            x = LOG_LEAST
        elif floats:
            x = read_table(table[j], x)
        g[j] = x


@compiled(fastmath=QUICK)
def quadratic(inverse, g, first):
    """g' inverse g over the readings from `first` on."""
    whole, late = 0.0, g[first:]
    for c in range(late.size):
        row = inverse[first + c, first:]
        part = 0.5 * late[c] * row[c]
        for d in range(c):
            part += late[d] * row[d]
        whole += late[c] * part
    return 2.0 * whole


@compiled()
def water(day, span, inverse, weighed, kept_log, smaller, size, form, floats, supply_table, draw_table, begin, ramps,
          asked, recent, tick, lean, supply, demand, spread, linear, square, told, now, test, usual_log):  # fmt: skip
    """Fills g'Wy, g'Wg, what the ticks tell and the log of water kept now, all (h, ramps, begin), from water alone.

    day (m,) in order; kept_log (h, m): log of water left by the cause grown whole, at each reading; form (h,): SUPPLY,
    DRAWN or BOOKS; floats: whether a float switch limits, read from the tables (m, STEPS); asked (h, ramps): if that
    manner counts; recent (m,): weights of the newest readings; tick (m,): tank seen full, 1, 0, a share of days or NaN;
    lean: log odds by which it is seen so oftener than others; supply, demand (m,) litres a day, and how much the draw
    varies; test (m,): whether a reading is a test on site, and usual_log (h,
    m): as kept_log, of a usual day: what a fault costs a day is another matter than what it costs that quarter of an
    hour.
    """
    m, h = day.size, form.size
    after, grown, g = np.empty(m), np.empty(m), np.empty(m)
    seen = np.flatnonzero(~np.isnan(tick))
    of_ticks = np.zeros((2, m, STEPS))  # read oftener than it takes to write them down
    for j in seen:
        for k in range(STEPS):
            kept = np.exp(LOG_LEAST + k * (LOG_MOST - LOG_LEAST) / (STEPS - 1))
            of_ticks[0, j, k] = ticked(tick[j], supply[j], demand[j], spread, kept, False, lean, span[j])
            of_ticks[1, j, k] = ticked(tick[j], supply[j], demand[j], spread, kept, True, lean, span[j])
    for r in range(ramps.size):
        for b in range(begin.size):
            growth(day, span, begin[b], ramps[r], after, grown)
            first = first_after(after)
            for i in range(h):
                if not asked[i, r]:
                    continue
                table = draw_table if form[i] == DRAWN else supply_table
                moved(kept_log, smaller, size, i, first, after, grown, floats and form[i] != BOOKS, table, g)
                total, ends, ticks = 0.0, 0.0, 0.0
                if form[i] != BOOKS:
                    for j in seen:
                        if j >= first:
                            left = at_size(kept_log, smaller, size, i, j, grown[j])
                            ticks += read_table(of_ticks[int(form[i] == DRAWN), j], left)
                for j in range(first, m):
                    if test[j]:
                        ends += max(at_size(usual_log, smaller, size, i, j, grown[j]), LOG_LEAST) * recent[j]
                    else:
                        ends += g[j] * recent[j]
                    g[j] = shown(g[j])
                    total += g[j] * weighed[j]
                linear[i, r, b], square[i, r, b] = total, quadratic(inverse, g, first)
                told[i, r, b], now[i, r, b] = ticks, ends


@compiled(fastmath=QUICK)
def noon(day, inverse, weighed, shift, begin, ramps, asked, trust, linear, square):
    """Adds g'Wy and g'Wg of one noon channel. day (m,) in order; shift (h, m): of a cause grown whole."""
    m, h = day.size, shift.shape[0]
    span, after, grown, g = np.ones(m), np.empty(m), np.empty(m), np.empty(m)
    moves = np.zeros(h, np.bool_)
    for i in range(h):
        for j in range(m):
            if abs(shift[i, j]) > 1e-3:
                moves[i] = True
    for r in range(ramps.size):
        for b in range(begin.size):
            growth(day, span, begin[b], ramps[r], after, grown)
            first = m
            for j in range(m):
                if after[j] > 0.5:
                    first = j
                    break
            for i in range(h):
                if not (asked[i, r] and moves[i]):
                    continue
                total = 0.0
                for j in range(first, m):
                    g[j] = shift[i, j] * grown[j]
                    total += g[j] * weighed[j]
                linear[i, r, b] += trust * total
                square[i, r, b] += trust * quadratic(inverse, g, first)


@compiled()
def idle(day, stood, sound, chance, begin, ramps, asked, trust, gain):
    """Adds what noons say at which nothing ran though there was voltage. stood (m,) 1 or 0; sound (m,): chance of it in
    a sound unit; chance (h, m): of it with the cause grown whole, NaN: as in a sound unit."""
    m, h = day.size, chance.shape[0]
    span, after, grown, whole = np.ones(m), np.empty(m), np.empty(m), np.zeros((h, m + 1))
    moves = np.zeros(h, np.bool_)
    for i in range(h):
        for j in range(m - 1, -1, -1):
            whole[i, j] = whole[i, j + 1]
            if not np.isnan(chance[i, j]) and abs(chance[i, j] - sound[j]) > 1e-3:
                whole[i, j] += trust * _stood(stood[j], sound[j], chance[i, j])
                moves[i] = True
    for r in range(ramps.size):
        for b in range(begin.size):
            growth(day, span, begin[b], ramps[r], after, grown)
            first, full = m, m
            for j in range(m - 1, -1, -1):
                if after[j] > 0.5:
                    first = j
                    if grown[j] >= 1.0:
                        full = j
            for i in range(h):
                if not (asked[i, r] and moves[i]):
                    continue
                total = whole[i, full]
                for j in range(first, full):
                    if not np.isnan(chance[i, j]):
                        p = sound[j] + (chance[i, j] - sound[j]) * grown[j]
                        total += trust * _stood(stood[j], sound[j], p)
                gain[i, r, b] += total


@compiled()
def _stood(stood, sound, p):
    """Log odds of a noon's standing or running under a chance p against the sound unit's."""
    p = min(max(p, 0.005), 0.995)
    return np.log(p / sound) if stood > 0 else np.log((1 - p) / (1 - sound))


@compiled(fastmath=QUICK)
def factor(covariance, var, low):
    """Fills the lower factor of covariance with var added on its diagonal."""
    m = var.size
    for i in range(m):
        for j in range(i + 1):
            s = covariance[i, j]
            for k in range(j):
                s -= low[i, k] * low[j, k]
            if i == j:
                low[i, i] = np.sqrt(max(s + var[i], 1e-12))
            else:
                low[i, j] = s / low[j, j]
                low[j, i] = 0.0


@compiled(fastmath=QUICK)
def inverted(low, out):
    """The inverse of what a lower factor belongs to."""
    m = low.shape[0]
    turned = np.zeros((m, m))
    for c in range(m):
        turned[c, c] = 1.0 / low[c, c]
        for i in range(c + 1, m):
            s = 0.0
            for k in range(c, i):
                s -= low[i, k] * turned[k, c]
            turned[i, c] = s / low[i, i]
    for i in range(m):
        for j in range(i + 1):
            s = 0.0
            for k in range(i, m):
                s += turned[k, i] * turned[k, j]
            out[i, j] = s
            out[j, i] = s


@compiled()
def scattered(day, span, inverse, weighed, var, raw, kept_log, smaller, size, i, extra, floats, supply_table, begin,
              ramp, linear, square, gain, patchy, test):  # fmt: skip
    """Gains (begin,) of hypothesis i, which also scatters from day to day, and of days that only scatter, losing
    nothing (patchy). linear, square (begin,): its g'Wy and g'Wg, scatter left aside.

    With scatter D on the readings S after the beginning the covariance is K + D, whose inverse and determinant follow
    from those of K by the matrix of S alone, 1/D + W (Woodbury; Golub & Van Loan, Matrix Computations, sec. 2.1). Where
    the scatter is in, a wild day is no surprise and needs no leniency (raw: variances before wild figures lost weight).
    A test on site (test, (m,)) knows its sun and waits until the pump runs: it does not scatter.
    """
    m = day.size
    after, grown, g, steep = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
    low, fault, weather = np.empty((m, m)), np.empty(m), np.empty(m)
    for b in range(begin.size):
        growth(day, span, begin[b], ramp, after, grown)
        first = first_after(after)
        moved(kept_log, smaller, size, i, first, after, grown, floats, supply_table, g)
        for j in range(first, m):
            kept = np.exp(g[j])
            g[j], steep[j] = shown(g[j]), kept / (kept + SOFT)
        half, of_fault, of_weather = 0.0, 0.0, 0.0
        for c in range(first, m):
            scatter = extra * grown[c] * steep[c] if after[c] > 0.3 and not test[c] else 0.0
            more = max(raw[c] + scatter**2 / max(span[c], 1.0) - var[c], 1e-9)
            for d in range(first, c + 1):
                v = inverse[c, d] + (1.0 / more if c == d else 0.0) - dot(low[c, first:d], low[d, first:d])
                low[c, d] = np.sqrt(max(v, 1e-12)) if c == d else v / low[d, d]
            shifted = weighed[c] - dot(inverse[c, first:], g[first:])
            fault[c] = (shifted - dot(low[c, first:c], fault[first:c])) / low[c, c]
            weather[c] = (weighed[c] - dot(low[c, first:c], weather[first:c])) / low[c, c]
            half += np.log(low[c, c]) + 0.5 * np.log(more)
            of_fault += 0.5 * fault[c] ** 2
            of_weather += 0.5 * weather[c] ** 2
        gain[b] = linear[b] - 0.5 * square[b] + of_fault - half
        patchy[b] = of_weather - half


@compiled(fastmath=QUICK, inline="always")
def dot(a, b):
    """Sum of products."""
    s = 0.0
    for k in range(a.size):
        s += a[k] * b[k]
    return s
