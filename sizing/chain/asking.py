"""Asking the other way round: what a flow asks of the array, for a row of flows at once.

For a given flow the head, and from it volts, amps and watts, follow without any search; so does the irradiance at which
the array gives just that: with a tracking controller in a given air, with direct coupling at a given cell temperature.
"""

from functools import lru_cache

import numpy as np

from .. import array, compiled
from ..head import colebrook_near, friction_factor_scalar, loss_scalar
from ..pump import needed
from .machine import (
    ALPHA,
    BORE,
    CABLE,
    CLEAN,
    COUPLING,
    DARK,
    DRAW_B,
    DRAW_C,
    EFFICIENCY,
    FITTINGS,
    HEAD_SCALE,
    INTAKE,
    KNOWS_V,
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
    STOPPED,
    THERMAL,
    UNIT_FLOW,
    VISCOSITY,
    Y_LIMIT,
)  # fmt: skip
from .operating import arriving, well_limit

FLOWS = 40  # flows asked, closer together towards the largest
BRIGHTEST = 1450.0  # W/m2
WATT_STEP = 5.0  # W/m2, of the table of a module's largest power
WATT_KNOTS = 301
MIDDLE_C = 45.0
SPAN, ROOM = 12, 112  # rows of scratch space, and how many numbers each holds: FLOWS, or the knots of a row of `fast`


@lru_cache(maxsize=256)
def module_power(diode):
    """A module's largest power over its irradiance as a parabola in cell temperature about 45 C: (WATT_KNOTS, 3)."""
    g = np.maximum(np.arange(WATT_KNOTS) * WATT_STEP, 1.0)[:, None]
    c = np.linspace(10, 80, 15)
    ratio = array.maximum_power(array.Diode(*diode), g, c).power_w / g
    if not np.isfinite(ratio).all():
        return np.full((WATT_KNOTS, 3), np.nan)
    return np.ascontiguousarray(np.polynomial.polynomial.polyfit(c - MIDDLE_C, ratio.T, 2).T)


@compiled(inline="always")
def watts_at(table, irradiance, cell):
    """Largest power of one module, W."""
    x = irradiance * (1.0 / WATT_STEP)
    i = min(max(int(x), 0), WATT_KNOTS - 2)
    x -= i
    t = cell - MIDDLE_C
    low = table[i, 0] + t * (table[i, 1] + t * table[i, 2])
    high = table[i + 1, 0] + t * (table[i + 1, 1] + t * table[i + 1, 2])
    return irradiance * (low + x * (high - low))


@compiled()
def added_head(m, lift, q):
    """Head that a flow adds to level and rise (lift): drawdown, friction, inlet."""
    net = arriving(m, lift, q)
    friction = loss_scalar(q, m[PIPE], m[BORE], m[FITTINGS], 7e-6, m[VISCOSITY])
    return net * (m[DRAW_B] + m[DRAW_C] * net) + friction + m[INTAKE] * q * q


@compiled()
def _flows_and_heads(m, lift, top, space):
    """Fills space[0] with flows up to top, closer together towards it, and space[7] with the `added_head` of each; each
    friction factor starts from that of the flow before."""
    per_flow = 1.0 / (60000.0 * 0.25 * np.pi * m[BORE] * m[BORE])
    reynolds_per_flow, relative = per_flow * m[BORE] / m[VISCOSITY], 7e-6 / m[BORE]
    per_length = m[PIPE] / m[BORE]
    root = 0.0
    for k in range(FLOWS):
        t = k * (1.0 / (FLOWS - 1))
        q = top * t * (1.6 - 0.6 * t)
        net, reynolds = arriving(m, lift, q), q * reynolds_per_flow
        if root > 0.0:
            root = colebrook_near(reynolds, relative, root)
            factor = 1.0 / (root * root)
        else:
            factor = friction_factor_scalar(reynolds, relative)
            if reynolds >= 4000.0 and k > 3:  # from here on the next flow is less than a third more
                root = 1.0 / np.sqrt(factor)
        speed = q * per_flow
        friction = (factor * per_length + m[FITTINGS]) * speed * speed * (0.5 / 9.80665) if q > 0.0 else 0.0
        space[0, k] = q
        space[7, k] = net * (m[DRAW_B] + m[DRAW_C] * net) + friction + m[INTAKE] * q * q


@compiled()
def _spare(m, cp, cv, ci, lift, q, max_w):
    """What is left at flow q of the limits of voltage and of power, as shares; falls with q."""
    s = np.sqrt(max(lift + added_head(m, lift, q), 0.0) / m[HEAD_SCALE])
    y = q / m[UNIT_FLOW] + m[SLIP] * s * s
    left = 1.0
    if m[KNOWS_V] > 0.0:
        left = 1.0 - needed(cv, s, y) / m[MAX_V]
    if m[COUPLING] > 0.0:
        watts = needed(cp, s, y)
        amps = needed(ci, s, y) if m[KNOWS_V] > 0.0 else watts / m[PEAK_V]
        left = min(left, 1.0 - (watts + amps * amps * m[CABLE]) / max_w)
    return left


@compiled()
def _largest(m, cp, cv, ci, level, max_w):
    """The largest flow that the limits of voltage and power, the well and the sheet allow at this level."""
    top = min(m[Y_LIMIT] * m[UNIT_FLOW], well_limit(m, level))
    lift = level + m[RISE]
    if not top > 0.0:
        return 0.0
    f_high = _spare(m, cp, cv, ci, lift, top, max_w)
    if f_high >= 0.0:
        return top
    f_low = _spare(m, cp, cv, ci, lift, 0.0, max_w)
    if f_low <= 0.0:
        return 0.0
    low, high, side = 0.0, top, 0
    for _ in range(60):
        x = high - f_high * (high - low) / (f_high - f_low)
        f = _spare(m, cp, cv, ci, lift, x, max_w)
        if abs(f) < 1e-6 or high - low < 1e-9 * top:
            return x
        if f > 0.0:
            if side == 1:
                f_high *= 0.5
            low, f_low, side = x, f, 1
        else:
            if side == -1:
                f_low *= 0.5
            high, f_high, side = x, f, -1
    return 0.5 * (low + high)


@compiled()
def largest(m, cp, cv, ci, watts_table, static, coolest):
    """The largest flow at this level, by the limits and the brightest sun in the coolest air."""
    max_w = m[MAX_W]
    if m[COUPLING] > 0.0:  # no flow is asked that not even the brightest sun gives
        sunlit = watts_at(watts_table, BRIGHTEST * m[CLEAN], coolest + m[NOCT_SLOPE] * BRIGHTEST)
        max_w = min(max_w, max(m[MODULES] * sunlit * m[EFFICIENCY], 1e-6))
    return _largest(m, cp, cv, ci, static + m[LEVEL_DROP], max_w)


@compiled()
def ask(m, cp, cv, ci, watts_table, static, coolest, space):
    """Works one unit out at one level; coolest: of the air to come. Returns the largest flow, 0 where nothing runs.

    Fills space[0] with flows, space[7] with the head that each adds, space[1] with watts of the array (tracking) or
    amps (direct), space[2] with volts over the array's diodes (direct).
    """
    level = static + m[LEVEL_DROP]
    most = largest(m, cp, cv, ci, watts_table, static, coolest)
    if m[STOPPED] > 0.0 or not most > 0.0 or not m[LIGHT] > 0.0:
        return 0.0
    lift = level + m[RISE]
    top = most
    if m[COUPLING] == 0.0:
        # rows go on to the brightest sun whatever the limits of voltage and well, so that they change smoothly with the
        # air and the level
        top = m[Y_LIMIT] * m[UNIT_FLOW]
        low = 0.0
        dark, thermal, gain, leak = cell_at(m, coolest)
        for _ in range(6):
            q = 0.5 * (low + top)
            s = np.sqrt(max(lift + added_head(m, lift, q), 0.0) / m[HEAD_SCALE])
            y = q / m[UNIT_FLOW] + m[SLIP] * s * s
            amps = needed(ci, s, y)
            diode_v = needed(cv, s, y) + amps * (m[SERIES] + m[CABLE])
            if sun_asked(amps, diode_v, dark, thermal, gain, leak) > BRIGHTEST * m[CLEAN]:
                top = q
            else:
                low = q
    _flows_and_heads(m, lift, top, space)
    if m[COUPLING] > 0.0:
        ask_again(m, cp, ci, static, space)
        return most
    per_scale, per_flow, series = 1.0 / m[HEAD_SCALE], 1.0 / m[UNIT_FLOW], m[SERIES] + m[CABLE]
    for k in range(FLOWS):
        s = np.sqrt(max(lift + space[7, k], 0.0) * per_scale)
        y = space[0, k] * per_flow + m[SLIP] * s * s
        amps = needed(ci, s, y)
        space[1, k] = amps
        space[2, k] = needed(cv, s, y) + amps * series
    return most


@compiled()
def ask_again(m, cp, ci, static, space):
    """A tracking unit's watts, space[1], at another level; the flows and the head that each adds stand there."""
    lift = static + m[LEVEL_DROP] + m[RISE]
    per_scale, per_flow, per_efficiency = 1.0 / m[HEAD_SCALE], 1.0 / m[UNIT_FLOW], 1.0 / m[EFFICIENCY]
    for k in range(FLOWS):
        s = np.sqrt(max(lift + space[7, k], 0.0) * per_scale)
        y = space[0, k] * per_flow + m[SLIP] * s * s
        watts = needed(cp, s, y)
        amps = needed(ci, s, y) if m[KNOWS_V] > 0.0 else watts / m[PEAK_V]
        space[1, k] = (watts + amps * amps * m[CABLE]) * per_efficiency


@compiled()
def sun_for_watts(m, watts_table, watts, air, guess):
    """Irradiance at which a tracking array has this power: its power is nearly in proportion, so divide and repeat."""
    g = guess
    heating = 0.005 * m[NOCT_SLOPE]  # hotter cells give some 0.5 % a kelvin less: how far power falls behind the sun
    for _ in range(30):
        have = m[MODULES] * watts_at(watts_table, g * m[CLEAN], air + m[NOCT_SLOPE] * g)
        if not have > 0.0:
            return np.inf
        step = g * (watts / have - 1.0) * (1.0 + heating * g)
        g += step
        if g > 3000.0:
            return np.inf
        if not g > 0.0:
            g = 1e-3
        if abs(step) < 3e-4 * g:  # the next step would be some thousand times smaller
            return g
    return g


@compiled()
def cell_at(m, cell):
    """(dark A, thermal V, light A per W/m2, shunt S per W/m2) of the whole array at a cell temperature: `sun_asked`."""
    _, dark, thermal, _ = array.translate(m[LIGHT], m[DARK], m[THERMAL], m[SHUNT], m[ALPHA], 1000.0, cell)
    return dark, thermal, (m[LIGHT] + m[ALPHA] * (cell - 25.0)) / 1000.0, 1.0 / (1000.0 * m[SHUNT])


@compiled(inline="always")
def sun_asked(amps, diode_v, dark, thermal, gain, leak):
    """Irradiance on clean cells at which a direct array gives these amps at these volts over its diodes."""
    return (amps + dark * np.expm1(min(diode_v / thermal, 200.0))) / max(gain - diode_v * leak, 1e-9)


BRIGHT_SUN, VEILED_SUN, BRIGHT_TIME = 1000.0, 550.0, 0.65  # W/m2 at noon, share of the time: see `steepness`
STRIDE = 3  # every third flow is enough for it


@compiled()
def steepness(m, cp, cv, ci, watts_table, static, most, space):
    """Share of the water that one metre of lift more costs; `ask` must have filled space, most: what it returned.

    At a flow: what one metre more asks of the array, over what a little more flow asks, is the flow lost; at a limit of
    voltage or power the flow that the limit takes. Flows are weighed by the time that the sun stands there on a day of
    clearness 0.6: rising and falling as a sine up to BRIGHT_SUN, and with a cloud before it up to VEILED_SUN, the sun
    being out for BRIGHT_TIME (`daylight.of_kinds`). What is lost is held against what flows in all.
    """
    lift = static + m[LEVEL_DROP] + m[RISE]
    at_limit = 0.0
    if most < 0.999 * m[Y_LIMIT] * m[UNIT_FLOW]:
        spare, less = _spare(m, cp, cv, ci, lift, most, m[MAX_W]), 0.02 * most
        per_flow = (_spare(m, cp, cv, ci, lift, most - less, m[MAX_W]) - spare) / less
        at_limit = (spare - _spare(m, cp, cv, ci, lift + 1.0, most, m[MAX_W])) / max(per_flow, 1e-12)
        at_limit = min(max(at_limit, 0.0), most)
    per_watt = 0.0
    if m[COUPLING] > 0.0:
        sunlit = watts_at(watts_table, BRIGHT_SUN * m[CLEAN], MIDDLE_C)
        per_watt = BRIGHT_SUN / max(m[MODULES] * sunlit, 1e-9)
    suns, dark, thermal, gain, leak = 4, 0.0, 1.0, 1.0, 0.0  # suns: place of their row in space
    if m[COUPLING] == 0.0:
        dark, thermal, gain, leak = cell_at(m, MIDDLE_C)
    for k in range(0, FLOWS, STRIDE):
        if m[COUPLING] > 0.0:
            space[suns, k] = per_watt * space[1, k]
        else:
            space[suns, k] = sun_asked(space[1, k], space[2, k], dark, thermal, gain, leak) / m[CLEAN]
    lost, whole, before = 0.0, 0.0, 0.0
    for k in range(0, FLOWS, STRIDE):
        q = space[0, k]
        s = np.sqrt(max(lift + space[7, k] + 1.0, 0.0) / m[HEAD_SCALE])
        y = q / m[UNIT_FLOW] + m[SLIP] * s * s
        last, first = min(k + STRIDE, (FLOWS - 1) // STRIDE * STRIDE), max(k - STRIDE, 0)
        amps = needed(ci, s, y) if m[KNOWS_V] > 0.0 else 0.0
        if m[COUPLING] > 0.0:
            watts = needed(cp, s, y)
            amps = amps if m[KNOWS_V] > 0.0 else watts / m[PEAK_V]
            more = per_watt * (watts + amps * amps * m[CABLE]) / m[EFFICIENCY]
        else:
            diode_v = needed(cv, s, y) + amps * (m[SERIES] + m[CABLE])
            more = sun_asked(amps, diode_v, dark, thermal, gain, leak) / m[CLEAN]
        more -= space[suns, k]
        per_flow = space[suns, last] - space[suns, first]
        at = _time_below(space[suns, k])
        time, before = at - before, max(at, before)
        if k == 0:  # below the threshold nothing flows
            continue
        if q > most:
            whole += max(time, 0.0) * most
            lost += max(time, 0.0) * at_limit
        elif per_flow > 0.0 and time > 0.0:
            middle = 0.5 * (q + space[0, first])
            whole += time * middle
            lost += time * min(more / per_flow * (space[0, last] - space[0, first]), middle)
    whole += max(1.0 - before, 0.0) * min(most, space[0, FLOWS - 1])  # the flow stays as it is in all brighter sun
    lost += max(1.0 - before, 0.0) * at_limit
    return min(max(lost / whole, 0.0), 1.0) if whole > 0.0 else 0.0


@compiled(inline="always")
def _time_below(sun):
    """Share of the day that the light lies below this."""
    bright = np.arcsin(min(max(sun / BRIGHT_SUN, 0.0), 1.0))
    veiled = np.arcsin(min(max(sun / VEILED_SUN, 0.0), 1.0))
    return (BRIGHT_TIME * bright + (1.0 - BRIGHT_TIME) * veiled) / (0.5 * np.pi)
