"""Each unit's flow over irradiance as one short row, from which any hour is read off: the fast way for whole fleets.

What makes it fast is asking the other way round. For a row of flows the head, and from it volts, amps and watts, follow
without any search; so does the irradiance at which the array gives just that: with a tracking controller in a given
air, with direct coupling at a given cell temperature (in a given air more sun may give less, by heating the cells).
Turned round once a level, that is a row of flow over irradiance, whose first knot lies on the lifting threshold. A
year's air is covered by three such rows and a parabola through them. `operating` finds the same points by search; the
two agree to 1e-4 of a month's mean.
"""

import numpy as np

from .. import compiled
from .asking import BRIGHTEST, FLOWS, ROOM, ask, ask_again, cell_at, largest, sun_asked, sun_for_watts
from .daylight import FUSED, REAL
from .machine import (
    CLEAN,
    COUPLING,
    CUTOUT,
    EFFICIENCY,
    HOLE,
    LEAK,
    LEVEL_DROP,
    NOCT_SLOPE,
    ON,
    RISE,
    START_W,
)  # fmt: skip
from .operating import arriving

KNOTS = ROOM  # of a row, at even steps of r / (r + BEND), r the root of the irradiance above the threshold
BEND = 24.0  # closest together at the threshold and in the knee above it
(FIRST, PER_STEP, MOST, LEAST_SUN, LAST_SUN, EDGES) = range(6)  # places in a row's edge; EDGES counts them
NODES = 7  # rows that a year's are drawn from: three airs at one level, and the coolest and warmest at two more
ALIKE = 0.3  # a direct unit's levels no further apart than this share of the least lift are covered by a parabola
APART = 0.6  # share of the shallowest level's largest flow below which the deepest wants flows of its own
HEATS = 4  # cell temperatures at which a direct unit is worked out, a cubic through them


@compiled(inline="always", fastmath=FUSED)
def _share(above):
    """Where in a row an irradiance above the threshold is read, 0 to 1."""
    root = np.sqrt(above)
    return root / (root + BEND)


@compiled(inline="always")
def _above(share):
    """The irradiance above the threshold at a place of the row: `_share` turned round."""
    root = BEND * share / (1.0 - share)
    return root * root


@compiled()
def _row_in_air(m, watts_table, space, most, air, row, edge, known):
    """A tracking unit's row and edge in this air; see `year_rows`. The suns of the first `known` flows, as they stand
    in space[3] for the watts in space[9], are those of another level or air: a start. Returns how many stand there."""
    flows, asked, before = space[0], space[3], space[9]
    guess, drift = 100.0, 1.0
    last = 0
    for k in range(FLOWS):
        if k < known:  # what a guess misses is nearly alike for flows beside each other
            guess = asked[k] * space[1, k] / max(before[k], 1e-9)
            asked[k] = sun_for_watts(m, watts_table, space[1, k], air, guess * drift)
            drift = asked[k] / guess
        else:
            asked[k] = sun_for_watts(m, watts_table, space[1, k], air, guess * drift)
            drift = asked[k] / guess if k > 0 else 1.0
        before[k] = space[1, k]
        last = k
        if asked[k] > BRIGHTEST:
            break
        guess = asked[k]
        if k + 1 < FLOWS:
            guess *= space[1, k + 1] / max(space[1, k], 1e-9)
    edge[MOST], edge[LAST_SUN], edge[LEAST_SUN] = most, m[CUTOUT], 0.0
    if m[START_W] > 0.0:
        edge[LEAST_SUN] = sun_for_watts(m, watts_table, m[START_W] / m[EFFICIENCY], air, 50.0)
    if last == 0:  # not even the brightest sun lifts
        row[:] = 0.0
        edge[FIRST], edge[PER_STEP] = BRIGHTEST, 1.0
        return 0
    end_q, end_w = flows[last], space[1, last]
    if asked[last] > BRIGHTEST:  # end the row there; a chord is near enough between two flows
        low, high = 0.0, 1.0
        for _ in range(24):
            t = 0.5 * (low + high)
            flows[last] = flows[last - 1] + t * (end_q - flows[last - 1])
            watts = space[1, last - 1] + t * (end_w - space[1, last - 1])
            asked[last] = sun_for_watts(m, watts_table, watts, air, asked[last - 1])
            if abs(asked[last] - BRIGHTEST) < 0.1:
                break
            if asked[last] > BRIGHTEST:
                high = t
            else:
                low = t
        if not asked[last] < BRIGHTEST + 1.0:
            asked[last] = BRIGHTEST
    edge[FIRST], edge[PER_STEP] = _turn_round(asked, flows, last, space, row)
    flows[last] = end_q
    return last


@compiled()
def _heat_rows(m, space, coolest, span, heats, heat_edges):
    """A direct unit's rows at HEATS cell temperatures from coolest on, span apart, with (first, 1/step) of each."""
    flows, asked = space[0], space[3]
    for h in range(HEATS):
        dark, thermal, gain, leak = cell_at(m, coolest + h * span)
        last = 0
        for k in range(FLOWS):
            asked[k] = sun_asked(space[1, k], space[2, k], dark, thermal, gain, leak) / m[CLEAN]
            last = k
            if asked[k] > BRIGHTEST:
                break
        if last == 0:
            heats[h] = 0.0
            heat_edges[h, 0], heat_edges[h, 1] = asked[0], 1.0
            continue
        end = flows[last]
        if asked[last] > BRIGHTEST:
            low, high = 0.0, 1.0
            for _ in range(24):
                t = 0.5 * (low + high)
                flows[last] = flows[last - 1] + t * (end - flows[last - 1])
                amps = space[1, last - 1] + t * (space[1, last] - space[1, last - 1])
                volts = space[2, last - 1] + t * (space[2, last] - space[2, last - 1])
                asked[last] = sun_asked(amps, volts, dark, thermal, gain, leak) / m[CLEAN]
                if abs(asked[last] - BRIGHTEST) < 0.1:
                    break
                if asked[last] > BRIGHTEST:
                    high = t
                else:
                    low = t
        heat_edges[h, 0], heat_edges[h, 1] = _turn_round(asked, flows, last, space, heats[h])
        flows[last] = end


@compiled(inline="always", fastmath=FUSED)
def _cubic(x):
    """Weights of HEATS values at 0, 1, 2 and 3 whose cubic is read at x."""
    a, b, c = x - 1.0, x - 2.0, x - 3.0
    return a * b * c * (-1.0 / 6.0), x * b * c * 0.5, x * a * c * -0.5, x * a * b * (1.0 / 6.0)


@compiled(fastmath=FUSED)
def _row_of_heats(m, space, heats, heat_edges, coolest, span, most, air, row, edge):
    """A direct unit's row and edge in this air, from those at HEATS cell temperatures: at each irradiance the flow at
    the temperature that it gives the cells. More sun may then give less, by heating them."""
    edge[MOST], edge[LAST_SUN], edge[LEAST_SUN] = most, m[CUTOUT], 0.0
    first, per_span = heat_edges[0, 0], 1.0 / span
    for _ in range(3):
        a, b, c, d = _cubic((air + m[NOCT_SLOPE] * min(first, BRIGHTEST) - coolest) * per_span)
        first = a * heat_edges[0, 0] + b * heat_edges[1, 0] + c * heat_edges[2, 0] + d * heat_edges[3, 0]
    edge[FIRST] = min(first, BRIGHTEST)
    step = _share(max(BRIGHTEST - first, 1.0)) / (KNOTS - 1)
    edge[PER_STEP] = 1.0 / step
    places, rising = space[10], space[11]
    first_0, first_1, first_2, first_3 = heat_edges[0, 0], heat_edges[1, 0], heat_edges[2, 0], heat_edges[3, 0]
    for j in range(KNOTS):
        g = first + _above(j * step)
        x = (air + m[NOCT_SLOPE] * g - coolest) * per_span
        a, b, c, d = _cubic(x)
        above = g - a * first_0 - b * first_1 - c * first_2 - d * first_3
        rising[j] = x
        places[j] = _share(above if above > 0.0 else 0.0)
    per_0, per_1, per_2, per_3 = heat_edges[0, 1], heat_edges[1, 1], heat_edges[2, 1], heat_edges[3, 1]
    for j in range(KNOTS):
        a, b, c, d = _cubic(rising[j])
        share = places[j]
        places[j] = (
            a * _at(heats[0], share * per_0) + b * _at(heats[1], share * per_1)
            + c * _at(heats[2], share * per_2) + d * _at(heats[3], share * per_3)
        )  # fmt: skip
    _even_out(places, row)


@compiled(inline="always", fastmath=FUSED)
def _at(row, at):
    at = at if at < KNOTS - 1.0001 else KNOTS - 1.0001
    k = np.uint32(at)
    return row[k] + (at - k) * (row[k + np.uint32(1)] - row[k])


@compiled()
def level_rows(m, cp, cv, ci, watts_table, air, level, space, heats, heat_edges, rows, edges):
    """Rows (k, KNOTS) and edges (k, EDGES) of one unit at one level in several airs, air (k,) rising."""
    coolest = air[0]
    most = ask(m, cp, cv, ci, watts_table, level, coolest, space)
    if not most > 0.0:
        rows[:] = 0.0
        edges[:] = 0.0
        edges[:, PER_STEP] = 1.0
        return
    if m[COUPLING] > 0.0:
        known = 0
        for k in range(air.size):
            known = _row_in_air(m, watts_table, space, most, air[k], rows[k], edges[k], known)
        _let_arrive(m, level, rows, edges)
        return
    span = (air[air.size - 1] - coolest + m[NOCT_SLOPE] * BRIGHTEST) / (HEATS - 1)
    _heat_rows(m, space, coolest, span, heats, heat_edges)
    for k in range(air.size):
        _row_of_heats(m, space, heats, heat_edges, coolest, span, most, air[k], rows[k], edges[k])
    _let_arrive(m, level, rows, edges)


@compiled()
def _let_arrive(m, level, rows, edges):
    """Turns what the pump lifts into what arrives, where something leaks or the box is off at times."""
    if m[LEAK] == 0.0 and m[HOLE] == 0.0 and m[ON] == 1.0:
        return
    lift = level + m[LEVEL_DROP] + m[RISE]
    for k in range(rows.shape[0]):
        edges[k, MOST] = m[ON] * arriving(m, lift, edges[k, MOST])
        for j in range(KNOTS):
            rows[k, j] = m[ON] * arriving(m, lift, rows[k, j])


@compiled(fastmath=FUSED)
def _turn_round(asked, flows, last, space, row):
    """Row of flows at even steps of `_share` of the irradiance above the first, from flows at rising `asked`.

    Cubic between; slopes by the differences over both neighbours, which are right to the second order because flows
    stand at smoothly changing distances, and held to three times the flatter side, which keeps the row rising (Fritsch
    & Carlson 1980).
    """
    width, slope, tangent, per_width = space[4], space[5], space[6], space[8]
    for k in range(last):
        width[k] = max(asked[k + 1] - asked[k], 1e-9)
        per_width[k] = 1.0 / width[k]
        slope[k] = (flows[k + 1] - flows[k]) * per_width[k]
    tangent[0], tangent[last] = slope[0], slope[last - 1]
    if last > 2:
        rise = 4.0 * flows[1] - 3.0 * flows[0] - flows[2]
        tangent[0] = min(max(rise / max(4.0 * asked[1] - 3.0 * asked[0] - asked[2], 1e-9), 0.0), 3.0 * slope[0])
    for k in range(1, last):
        steepest = 3.0 * min(slope[k - 1], slope[k])
        tangent[k] = min((flows[k + 1] - flows[k - 1]) / (width[k - 1] + width[k]), steepest)
    for k in range(last):  # of the cubic over the distance from asked[k]: its second and third coefficients
        bend = (tangent[k + 1] + tangent[k] - 2.0 * slope[k]) * per_width[k]
        width[k] = (slope[k] - tangent[k]) * per_width[k] - bend
        slope[k] = bend * per_width[k]
    first = asked[0]
    step = _share(max(asked[last] - first, 1e-9)) / (KNOTS - 1)
    plain = space[10]
    for j in range(KNOTS):
        plain[j] = first + _above(j * step)
    end = asked[last]
    k = 0
    for j in range(KNOTS):
        x = min(plain[j], end)
        while k < last - 1 and asked[k + 1] < x:
            k += 1
        t = x - asked[k]
        plain[j] = flows[k] + t * (tangent[k] + t * (width[k] + t * slope[k]))
    _even_out(plain, row)
    return first, 1.0 / step


@compiled(fastmath=FUSED)
def _even_out(plain, row):
    """Moves the knots by a twelfth of the row's bend, so that straight lines between them lie as much above the curve
    as below it: their mean is then right, and they are never further off than two thirds of what they were."""
    row[0], row[KNOTS - 1] = plain[0], plain[KNOTS - 1]
    for j in range(1, KNOTS - 1):
        row[j] = plain[j] - (plain[j - 1] - 2.0 * plain[j] + plain[j + 1]) * (1.0 / 12.0)


@compiled()
def year_rows(m, cp, cv, ci, watts_table, air, level, space, nodes, node_edges, heats, heat_edges, rows, edges):
    """Fills rows (12, KNOTS) and edges (12, EDGES): a unit's flow over irradiance in each month's air and level.

    nodes (NODES, KNOTS), node_edges (NODES, EDGES), heats (HEATS, KNOTS) and heat_edges (HEATS, 2) are scratch space.
    One level all year: three rows and a parabola in the air through them. Levels that differ: see `_by_level` and
    `_levels_between`.
    """
    coolest, warmest, least, most = air[0], air[0], level[0], level[0]
    for month in range(1, 12):
        coolest, warmest = min(coolest, air[month]), max(warmest, air[month])
        least, most = min(least, level[month]), max(most, level[month])
    span = max(warmest - coolest, 1.0)
    airs = np.empty(3)
    for node in range(3):
        airs[node] = coolest + 0.5 * node * span
    if most > least and (m[COUPLING] > 0.0 or m[LEAK] != 0.0 or m[HOLE] != 0.0):
        _by_level(m, cp, cv, ci, watts_table, air, level, least, space, heats, heat_edges, rows, edges)
        return
    level_rows(
        m, cp, cv, ci, watts_table, airs, 0.5 * (least + most), space, heats, heat_edges, nodes[:3], node_edges[:3]
    )  # fmt: skip
    if most > least and not _levels_between(
        m, cp, cv, ci, watts_table, airs, least, most, space, nodes, node_edges, heats, heat_edges
    ):
        _by_level(m, cp, cv, ci, watts_table, air, level, least, space, heats, heat_edges, rows, edges)
        return
    for month in range(12):
        t = 2.0 * (air[month] - coolest) / span - 1.0
        a, b, c = 0.5 * t * (t - 1.0), 1.0 - t * t, 0.5 * t * (t + 1.0)
        x, y, z = REAL(a), REAL(b), REAL(c)
        for j in range(KNOTS):
            rows[month, j] = x * nodes[0, j] + y * nodes[1, j] + z * nodes[2, j]
        for j in range(EDGES):
            edges[month, j] = a * node_edges[0, j] + b * node_edges[1, j] + c * node_edges[2, j]
        edges[month, MOST], edges[month, LAST_SUN] = node_edges[0, MOST], node_edges[0, LAST_SUN]
        if most > least:
            u = (2.0 * level[month] - least - most) / (most - least)
            d, e, f, g = 0.5 * u * (u - 1.0), 0.5 * u * (u + 1.0), 0.5 * (1.0 - t), 0.5 * (1.0 + t)
            for j in range(KNOTS):
                rows[month, j] += d * (f * nodes[3, j] + g * nodes[4, j]) + e * (f * nodes[5, j] + g * nodes[6, j])
            for j in (FIRST, PER_STEP):
                edges[month, j] += d * (f * node_edges[3, j] + g * node_edges[4, j])
                edges[month, j] += e * (f * node_edges[5, j] + g * node_edges[6, j])
            edges[month, MOST] = m[ON] * largest(m, cp, cv, ci, watts_table, level[month], coolest)


@compiled()
def _by_level(m, cp, cv, ci, watts_table, air, level, least, space, heats, heat_edges, rows, edges):
    """A row a month, at its own level in its own air. With a controller the flows and the head that each adds are those
    of the shallowest level for all months: only the watts that they ask for change, and the sun that gives these lies
    near the last month's."""
    known = 0
    shared = m[COUPLING] > 0.0 and m[LEAK] == 0.0 and m[HOLE] == 0.0
    if shared:
        deepest = level.max()
        shared = ask(m, cp, cv, ci, watts_table, least, air.min(), space) > 0.0
        shared = shared and space[0, FLOWS - 1] * APART < largest(m, cp, cv, ci, watts_table, deepest, air.min())
    for month in range(12):
        if not shared:
            level_rows(
                m, cp, cv, ci, watts_table, air[month : month + 1], level[month], space, heats, heat_edges,
                rows[month : month + 1], edges[month : month + 1],
            )  # fmt: skip
            continue
        ask_again(m, cp, ci, level[month], space)
        most = largest(m, cp, cv, ci, watts_table, level[month], air[month])
        known = _row_in_air(m, watts_table, space, most, air[month], rows[month], edges[month], known)
        _let_arrive(m, level[month], rows[month : month + 1], edges[month : month + 1])


@compiled()
def _levels_between(m, cp, cv, ci, watts_table, airs, least, most, space, nodes, node_edges, heats, heat_edges):
    """Of a direct unit: fills nodes[3:] with what the shallowest (two rows) and the deepest level (two) give more than
    the middle one, in the coolest and the warmest air; whether all three are alike enough for a parabola through them.
    """
    if most - least > ALIKE * (least + m[LEVEL_DROP] + m[RISE]) or not node_edges[1, MOST] > 0.0:
        return False
    ends = np.array([airs[0], airs[2]])
    for side in range(2):
        at = slice(3 + 2 * side, 5 + 2 * side)
        level = least if side == 0 else most
        level_rows(
            m, cp, cv, ci, watts_table, ends, level, space, heats, heat_edges, nodes[at], node_edges[at]
        )  # fmt: skip
        if not node_edges[3 + 2 * side, MOST] > 0.0:
            return False
    for side in range(2):
        for k in range(2):
            node = 3 + 2 * side + k
            for j in range(KNOTS):
                nodes[node, j] -= nodes[2 * k, j]
            for j in (FIRST, PER_STEP):
                node_edges[node, j] -= node_edges[2 * k, j]
    return True


@compiled(inline="always", fastmath=FUSED)
def flow_at(row, edge, irradiance):
    """Flow that arrives, L/min, in this sun, from a unit's row."""
    above = irradiance - edge[FIRST]
    if not above > 0.0 or irradiance < edge[LEAST_SUN] or irradiance > edge[LAST_SUN]:
        return 0.0
    at = _share(above) * edge[PER_STEP]
    k = min(int(at), KNOTS - 2)
    at = min(at - k, 1.0)
    return max(min(row[k] + at * (row[k + 1] - row[k]), edge[MOST]), 0.0)


@compiled(fastmath=FUSED)
def flows_at(row, edge, suns, of, count, flows):
    """As `flow_at` for suns[of, :count], none of which may be NaN; row, suns and flows are of REAL. In three long plain
    loops, so that the processor takes several at once where no table is read."""
    threshold, per_step, most = REAL(edge[FIRST]), REAL(edge[PER_STEP]), REAL(edge[MOST])
    least, cut = REAL(edge[LEAST_SUN]), REAL(edge[LAST_SUN])
    none, bend, end = REAL(0.0), REAL(BEND), REAL(KNOTS - 1.0001)
    for i in range(count):
        above = suns[of, i] - threshold
        root = np.sqrt(above if above > none else none)
        at = root / (root + bend) * per_step
        flows[of, i] = at if at < end else end
    for i in range(count):
        at = flows[of, i]
        k = np.uint32(at)
        low = row[k]
        flows[of, i] = low + (at - REAL(k)) * (row[k + np.uint32(1)] - low)
    for i in range(count):
        q = flows[of, i]
        q = q if q < most else most
        q = q if suns[of, i] >= least and suns[of, i] <= cut else none
        flows[of, i] = q if q > none else none
