"""Each unit's flow as a small table, from which any hour is read off: the fast way for whole fleets.

What makes it fast is asking the other way round. For a row of flows the head, and from it volts, amps and watts, follow
without any search; so does the power (tracking) or the irradiance (direct, at a handful of cell temperatures) at which
that flow is reached. Turned round once a unit and level, that is a table of flow over power or over irradiance, whose
first knot lies on the lifting threshold. `operating` finds the same points by search; the two agree to 1e-4.
"""

from functools import lru_cache

import numpy as np
from numba import njit

from .. import array
from ..head import loss_scalar
from ..pump import needed
from .machine import (
    ALPHA,
    BORE,
    CABLE,
    CLEAN,
    COUPLING,
    CUTOUT,
    DARK,
    DRAW_B,
    DRAW_C,
    EFFICIENCY,
    FITTINGS,
    HEAD_SCALE,
    INTAKE,
    KNOWS_V,
    LEAK,
    LEVEL_DROP,
    LIGHT,
    MAX_V,
    MAX_W,
    MODULES,
    NOCT_SLOPE,
    PEAK_V,
    PIPE,
    RISE,
    SERIES,
    SHUNT,
    SLIP,
    START_W,
    STOPPED,
    THERMAL,
    UNIT_FLOW,
    VISCOSITY,
    Y_LIMIT,
)  # fmt: skip
from .operating import well_limit

FLOWS = 72  # flows asked, closer together towards the largest
KNOTS = 160  # of the table of flow over power or irradiance
HEATS = 7  # cell temperatures of a direct unit's table
COOLEST_C, HEAT_STEP_C = 5.0, 12.5
BRIGHTEST = 1450.0  # W/m2
WATT_G, WATT_C = 10.0, 5.0  # steps of the table of a module's largest power, W/m2 and C
WATT_GS, WATT_CS, WATT_LOW = 151, 25, -20.0


@lru_cache(maxsize=256)
def module_power(diode):
    """A module's largest power over its irradiance, W per W/m2, (WATT_GS, WATT_CS): linear between the knots."""
    g = np.maximum(np.arange(WATT_GS) * WATT_G, 1.0)[:, None]
    c = WATT_LOW + WATT_C * np.arange(WATT_CS)
    return array.maximum_power(array.Diode(*diode), g, c).power_w / g


@njit(cache=True, nogil=True, inline="always")
def watts_at(table, irradiance, cell):
    """Largest power of one module, W."""
    x = irradiance / WATT_G
    y = (cell - WATT_LOW) / WATT_C
    i = min(max(int(x), 0), WATT_GS - 2)
    j = min(max(int(y), 0), WATT_CS - 2)
    x -= i
    y -= j
    low = table[i, j] + y * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + y * (table[i + 1, j + 1] - table[i + 1, j])
    return irradiance * (low + x * (high - low))


@njit(cache=True, nogil=True)
def added_head(m, q):
    """Head that a flow adds to level and rise: drawdown, friction, inlet."""
    net = q * (1.0 - m[LEAK])
    friction = loss_scalar(q, m[PIPE], m[BORE], m[FITTINGS], 7e-6, m[VISCOSITY])
    return net * (m[DRAW_B] + m[DRAW_C] * net) + friction + m[INTAKE] * q * q


@njit(cache=True, nogil=True)
def pipe_heads(m, top, flows, heads):
    """Fills flows from 0 to top and the head that each adds to level and rise."""
    for k in range(FLOWS):
        t = k / (FLOWS - 1)
        flows[k] = top * t * (1.6 - 0.6 * t)
        heads[k] = added_head(m, flows[k])


@njit(cache=True, nogil=True)
def _volts(m, cv, lift, q):
    head = lift + added_head(m, q)
    s = np.sqrt(max(head, 0.0) / m[HEAD_SCALE])
    return needed(cv, s, q / m[UNIT_FLOW] + m[SLIP] * s * s)


@njit(cache=True, nogil=True)
def _largest(m, cv, level):
    """The largest flow that the limit of voltage, the well and the sheet allow at this level."""
    top = min(m[Y_LIMIT] * m[UNIT_FLOW], well_limit(m, level))
    if m[KNOWS_V] == 0.0 or np.isinf(m[MAX_V]) or top <= 0.0:
        return top
    lift = level + m[RISE]
    if _volts(m, cv, lift, top) <= m[MAX_V]:
        return top
    low, high = 0.0, top
    f_low, f_high = m[MAX_V] - _volts(m, cv, lift, low), m[MAX_V] - _volts(m, cv, lift, high)
    if f_low <= 0.0:
        return 0.0
    for _ in range(60):
        x = high - f_high * (high - low) / (f_high - f_low)
        f = m[MAX_V] - _volts(m, cv, lift, x)
        if abs(f) < 1e-9 * m[MAX_V] or high - low < 1e-10 * top:
            return x
        if f > 0.0:
            low, f_low = x, f
            f_high *= 0.6
        else:
            high, f_high = x, f
            f_low *= 0.6
    return 0.5 * (low + high)


@njit(cache=True, nogil=True)
def _turn_round(asked, flows, last, most, out):
    """Flow on knots from asked[0] to asked[last] or `most`, from flows at rising `asked`; returns (first, step).

    The knots lie at first + (j step)^2, close together at the threshold, where a direct unit's flow leaps up.
    Cubic between, with the harmonic mean of the neighbouring slopes, which keeps it rising (Fritsch & Butland 1984).
    """
    first = asked[0]
    step = np.sqrt(max(min(asked[last], most) - first, 0.0)) / (KNOTS - 1)
    if not step > 0.0:
        out[:] = flows[last]
        return first, 1e-9
    k = 0
    for j in range(KNOTS):
        x = first + (j * step) ** 2
        while k < last - 1 and asked[k + 1] < x:
            k += 1
        width = max(asked[k + 1] - asked[k], 1e-12)
        slope = (flows[k + 1] - flows[k]) / width
        left = slope
        right = slope
        if k > 0:
            before = (flows[k] - flows[k - 1]) / max(asked[k] - asked[k - 1], 1e-12)
            left = 2.0 * before * slope / max(before + slope, 1e-300)
        if k < last - 1:
            after = (flows[k + 2] - flows[k + 1]) / max(asked[k + 2] - asked[k + 1], 1e-12)
            right = 2.0 * after * slope / max(after + slope, 1e-300)
        t = min(max((x - asked[k]) / width, 0.0), 1.0)
        out[j] = (
            flows[k] * (1.0 + 2.0 * t) * (1.0 - t) ** 2
            + flows[k + 1] * t * t * (3.0 - 2.0 * t)
            + width * t * (1.0 - t) * (left * (1.0 - t) - right * t)
        )
    return first, step


@njit(cache=True, nogil=True)
def _sun_asked(m, cv, ci, head, q, dark, thermal, gain):
    """Irradiance, W/m2, at which a direct unit reaches flow q, at the cell heat of dark, thermal, gain."""
    s = np.sqrt(max(head, 0.0) / m[HEAD_SCALE])
    y = q / m[UNIT_FLOW] + m[SLIP] * s * s
    volts, amps = needed(cv, s, y), needed(ci, s, y)
    diode_v = volts + amps * (m[SERIES] + m[CABLE])
    room = gain - diode_v / (1000.0 * m[SHUNT])
    return (amps + dark * np.expm1(min(diode_v / thermal, 200.0))) / max(room, 1e-12) / m[CLEAN]


@njit(cache=True, nogil=True)
def _brightest(m, cv, ci, level):
    """The flow that a direct unit reaches in the brightest sun with the coolest cells, limits of voltage aside."""
    top = min(m[Y_LIMIT] * m[UNIT_FLOW], well_limit(m, level))
    cell = COOLEST_C
    _, dark, thermal, _ = array.translate(m[LIGHT], m[DARK], m[THERMAL], m[SHUNT], m[ALPHA], 1000.0, cell)
    gain = (m[LIGHT] + m[ALPHA] * (cell - 25.0)) / 1000.0
    low, high = 0.0, top
    for _ in range(12):
        q = 0.5 * (low + high)
        if _sun_asked(m, cv, ci, level + m[RISE] + added_head(m, q), q, dark, thermal, gain) > BRIGHTEST:
            high = q
        else:
            low = q
    return high


@njit(cache=True, nogil=True)
def unit_table(m, cp, cv, ci, static, flows, heads, asked, table, edge):
    """Fills table (HEATS, KNOTS) and edge (HEATS + 1, 2: first, step; last row: the limit) for a unit at a level.

    Tracking: row 0, flow over the array's power, W. Direct: flow over irradiance, a row a cell temperature.
    Flows in it are what arrives: without what leaks back.
    """
    level = static + m[LEVEL_DROP]
    top = _largest(m, cv, level)
    edge[HEATS, 0] = top * (1.0 - m[LEAK])
    if m[STOPPED] > 0.0 or not top > 0.0 or not m[LIGHT] > 0.0:
        table[:] = 0.0
        edge[:, 0] = 0.0
        edge[:, 1] = 1.0
        return
    lift = level + m[RISE]
    if m[COUPLING] == 0.0:
        top = _brightest(m, cv, ci, level)
    pipe_heads(m, top, flows, heads)
    share = 1.0 - m[LEAK]
    if m[COUPLING] > 0.0:
        for k in range(FLOWS):
            s = np.sqrt(max(lift + heads[k], 0.0) / m[HEAD_SCALE])
            y = flows[k] / m[UNIT_FLOW] + m[SLIP] * s * s
            watts = needed(cp, s, y)
            amps = needed(ci, s, y) if m[KNOWS_V] > 0.0 else watts / m[PEAK_V]
            asked[k] = (watts + amps * amps * m[CABLE]) / m[EFFICIENCY]
        edge[0, 0], edge[0, 1] = _turn_round(asked, flows, FLOWS - 1, np.inf, table[0])
        for j in range(KNOTS):
            table[0, j] *= share
        return
    for heat in range(HEATS):
        cell = COOLEST_C + heat * HEAT_STEP_C
        _, dark, thermal, _ = array.translate(m[LIGHT], m[DARK], m[THERMAL], m[SHUNT], m[ALPHA], 1000.0, cell)
        gain = (m[LIGHT] + m[ALPHA] * (cell - 25.0)) / 1000.0
        last = FLOWS - 1
        for k in range(FLOWS):
            asked[k] = _sun_asked(m, cv, ci, lift + heads[k], flows[k], dark, thermal, gain)
            if asked[k] > BRIGHTEST:
                last = k
                break
        used = flows[last]
        if last > 0 and asked[last] > BRIGHTEST:  # end the row where the brightest sun leads to
            low, high = 0.0, 1.0
            for _ in range(40):
                t = 0.5 * (low + high)
                q = flows[last - 1] + t * (used - flows[last - 1])
                head = heads[last - 1] + t * (heads[last] - heads[last - 1])
                at = _sun_asked(m, cv, ci, lift + head, q, dark, thermal, gain)
                if abs(at - BRIGHTEST) < 0.01:
                    break
                if at > BRIGHTEST:
                    high = t
                else:
                    low = t
            flows[last], asked[last] = q, at
        if last == 0:
            table[heat] = 0.0
            edge[heat, 0], edge[heat, 1] = asked[0], 1.0
            continue
        edge[heat, 0], edge[heat, 1] = _turn_round(asked, flows, last, BRIGHTEST, table[heat])
        flows[last] = used
        for j in range(KNOTS):
            table[heat, j] *= share


@njit(cache=True, nogil=True, inline="always")
def _read(row, first, step, x):
    if x < first:
        return 0.0
    at = np.sqrt(x - first) / step
    if at >= KNOTS - 1:
        return row[KNOTS - 1]
    k = int(at)
    return row[k] + (at - k) * (row[k + 1] - row[k])


@njit(cache=True, nogil=True, inline="always")
def flow_at(m, table, edge, watts, irradiance, air):
    """Flow that arrives, L/min, in this sun and air, from a unit's table."""
    if not irradiance > 0.0 or irradiance > m[CUTOUT]:
        return 0.0
    cell = air + m[NOCT_SLOPE] * irradiance
    if m[COUPLING] > 0.0:
        power = m[MODULES] * watts_at(watts, irradiance * m[CLEAN], cell)
        handed = power * m[EFFICIENCY]
        if handed < m[START_W]:
            return 0.0
        if handed > m[MAX_W]:
            power = m[MAX_W] / m[EFFICIENCY]
        return _read(table[0], edge[0, 0], edge[0, 1], power)
    at = (cell - COOLEST_C) / HEAT_STEP_C
    j = min(max(int(at), 0), HEATS - 2)
    at = min(max(at - j, -1.0), 2.0)
    # each row is read as far above its own threshold as this sun lies above the threshold at this temperature
    above = irradiance - edge[j, 0] - at * (edge[j + 1, 0] - edge[j, 0])
    low = _read(table[j], 0.0, edge[j, 1], above)
    high = _read(table[j + 1], 0.0, edge[j + 1, 1], above)
    return min(max(low + at * (high - low), 0.0), edge[HEATS, 0])
