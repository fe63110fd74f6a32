"""The operating point: array or controller, cable, pump, well and pipe solved together, point by point, exactly.

Everything that the pump needs (head, then power or voltage and current) rises with flow, everything that the array has
to give falls with it; so there is one crossing, and a bracketed search finds it. No crossing above zero: no water.
"""

from typing import NamedTuple

import numpy as np

from .. import compiled
from ..array import peak, translate
from ..head import loss_scalar
from ..pump import needed
from .faults import NONE
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
    HOLE,
    INTAKE,
    KNOWS_V,
    LEAK,
    LEVEL_DROP,
    LIGHT,
    MAX_V,
    MAX_W,
    NOCT_SLOPE,
    PEAK_V,
    PIPE,
    RISE,
    SERIES,
    SHUNT,
    SHUT_LEVEL,
    SLIP,
    START_W,
    STOPPED,
    THERMAL,
    UNIT_FLOW,
    VISCOSITY,
    Y_LIMIT,
    build,
)  # fmt: skip
from .work import lead, spread_over

RUNS, NO_LIFT, LIMITED, WELL_LIMIT, BEYOND, CUT_OUT, DARK_SKY, DOWN = range(8)
STATES = (
    "runs", "too little power to lift", "at its limit of power or voltage", "at what the well gives",
    "beyond the largest flow tested", "cut out", "no sun", "stopped",
)  # fmt: skip
OUT = 12


class Spot(NamedTuple):
    """What everything reads at one moment; arrays of one shape (n, ...). flow_l_min is what arrives at the outlet,
    pump_flow_l_min what the pump lifts (they differ by a leak); state is an index of STATES."""

    flow_l_min: np.ndarray
    pump_flow_l_min: np.ndarray
    array_voltage_v: np.ndarray
    array_current_a: np.ndarray
    array_power_w: np.ndarray
    pump_power_w: np.ndarray
    pumping_level_m: np.ndarray
    head_m: np.ndarray
    friction_m: np.ndarray
    drawdown_m: np.ndarray
    cell_c: np.ndarray
    state: np.ndarray

    @property
    def efficiency(self):
        """Wire to water: lifted power over the power at the motor's leads, 0-1; NaN where nothing runs."""
        with np.errstate(invalid="ignore", divide="ignore"):
            lifted = 9.80665 * 998.207 / 60000 * self.pump_flow_l_min * self.head_m
            return np.where(self.pump_power_w > 0, lifted / self.pump_power_w, np.nan)


@compiled(inline="always")
def arriving(m, lift, q):
    """What arrives of a pump's flow, L/min, when the main stands under this lift: less what falls back on the way."""
    return max(q * (1.0 - m[LEAK]) - m[HOLE] * np.sqrt(max(lift, 0.0)), 0.0)


@compiled(inline="always")
def head_at(m, level, q):
    """Total head, m, when the pump lifts q L/min."""
    net = arriving(m, level + m[RISE], q)
    drawdown = net * (m[DRAW_B] + m[DRAW_C] * net)
    friction = loss_scalar(q, m[PIPE], m[BORE], m[FITTINGS], 7e-6, m[VISCOSITY])
    return max(level + drawdown + m[RISE] + friction + m[INTAKE] * q * q, 0.0)


@compiled()
def balance(m, cp, cv, ci, level, q, light, dark, thermal, shunt, available_w):
    """What is left over at flow q: volts (direct) or a share of the power (tracking). Falls with q."""
    s = np.sqrt(head_at(m, level, q) / m[HEAD_SCALE])
    y = q / m[UNIT_FLOW] + m[SLIP] * s * s
    if m[COUPLING] == 0.0:
        volts, amps = needed(cv, s, y), needed(ci, s, y)
        diode_v = volts + amps * (m[SERIES] + m[CABLE])
        through = light + dark - amps - diode_v * shunt
        left = thermal * np.log(max(through, dark * 1e-9) / dark) - diode_v
        return min(left, m[MAX_V] - volts)
    watts = needed(cp, s, y)
    if m[KNOWS_V] > 0.0:
        amps = needed(ci, s, y)
        left = (available_w - watts - amps * amps * m[CABLE]) / available_w
        return min(left, 1.0 - needed(cv, s, y) / m[MAX_V])
    amps = watts / m[PEAK_V]
    return (available_w - watts - amps * amps * m[CABLE]) / available_w


@compiled()
def crossing(m, cp, cv, ci, level, light, dark, thermal, shunt, available_w, top, guess):
    """The flow at which nothing is left over: a bracketed search (regula falsi after Anderson & Bjorck)."""
    low, high = 0.0, top
    f_low = balance(m, cp, cv, ci, level, 0.0, light, dark, thermal, shunt, available_w)
    if not f_low > 0.0:
        return 0.0
    f_high = balance(m, cp, cv, ci, level, top, light, dark, thermal, shunt, available_w)
    if f_high >= 0.0:
        return top
    if 0.0 < guess < top:
        for factor in (0.98, 1.02):
            x = min(guess * factor, top)
            f = balance(m, cp, cv, ci, level, x, light, dark, thermal, shunt, available_w)
            if f > 0.0 and x > low:
                low, f_low = x, f
            elif f <= 0.0 and x < high:
                high, f_high = x, f
    side = 0
    for _ in range(100):
        x = high - f_high * (high - low) / (f_high - f_low)
        if not low < x < high:
            x = 0.5 * (low + high)
        f = balance(m, cp, cv, ci, level, x, light, dark, thermal, shunt, available_w)
        if f == 0.0 or high - low < 1e-11 * top:
            return x
        if f > 0.0:
            if side == 1:
                g = 1.0 - f / f_low
                f_high *= g if g > 0.0 else 0.5
            low, f_low, side = x, f, 1
        else:
            if side == -1:
                g = 1.0 - f / f_high
                f_low *= g if g > 0.0 else 0.5
            high, f_high, side = x, f, -1
        if abs(f) < 1e-12:
            return x
    return 0.5 * (low + high)


@compiled()
def well_limit(m, level):
    """The pump's flow at which the water would fall to the intake; infinite in a well that does not fall."""
    room = m[SHUT_LEVEL] - level
    if room <= 0.0:
        return 0.0
    share = 1.0 - m[LEAK]
    if m[DRAW_C] > 0.0:
        net = (np.sqrt(m[DRAW_B] * m[DRAW_B] + 4.0 * m[DRAW_C] * room) - m[DRAW_B]) / (2.0 * m[DRAW_C])
    elif m[DRAW_B] > 0.0:
        net = room / m[DRAW_B]
    else:
        return np.inf
    return (net + m[HOLE] * np.sqrt(max(level + m[RISE], 0.0))) / max(share, 1e-9)


@compiled()
def light_of(m, irradiance, air):
    """(cell C, light A, dark A, thermal V, shunt S) of the whole array in this sun."""
    cell = air + m[NOCT_SLOPE] * irradiance
    return cell, *translate(m[LIGHT], m[DARK], m[THERMAL], m[SHUNT], m[ALPHA], irradiance * m[CLEAN], cell)


@compiled()
def solve_one(m, cp, cv, ci, irradiance, air, static, guess, out):
    """One unit at one moment; fills out in the order of Spot. Returns the pump's flow, L/min."""
    if np.isnan(m[COUPLING] + m[LIGHT] + irradiance + air + static):
        out[:] = np.nan
        return np.nan
    level = static + m[LEVEL_DROP]
    out[:] = 0.0
    out[6] = level
    out[10] = air + m[NOCT_SLOPE] * max(irradiance, 0.0)
    out[7] = max(level + m[RISE], 0.0)
    if irradiance <= 0.0 or m[LIGHT] <= 0.0:
        out[11] = DARK_SKY
        return 0.0
    cell, light, dark, thermal, shunt = light_of(m, irradiance, air)
    open_v = thermal * np.log1p(light / dark)
    if m[STOPPED] > 0.0 or irradiance > m[CUTOUT]:
        out[2] = open_v
        out[11] = DOWN if m[STOPPED] > 0.0 else CUT_OUT
        return 0.0
    peak_v, peak_i, watts, available = 1.0, 0.0, 0.0, 1.0
    state = RUNS
    if m[COUPLING] > 0.0:
        _, peak_v, peak_i = peak(light, dark, thermal, shunt, m[SERIES])
        watts = peak_v * peak_i
        available = watts * m[EFFICIENCY]
        if available < m[START_W] or available <= 0.0:
            out[2] = open_v
            out[11] = NO_LIFT
            return 0.0
        if available > m[MAX_W]:
            available = m[MAX_W]
            state = LIMITED
    top = m[Y_LIMIT] * m[UNIT_FLOW]
    q = crossing(m, cp, cv, ci, level, light, dark, thermal, shunt, available, top, guess)
    if q >= top:
        state = LIMITED if m[KNOWS_V] == 0.0 else BEYOND
    most = well_limit(m, level)
    if q > most:
        q, state = most, WELL_LIMIT
    h = head_at(m, level, q)
    s = np.sqrt(h / m[HEAD_SCALE])
    y = q / m[UNIT_FLOW] + m[SLIP] * s * s
    net = arriving(m, level + m[RISE], q)
    out[0], out[1] = net, q
    out[9] = net * (m[DRAW_B] + m[DRAW_C] * net)
    out[6] = level + out[9]
    out[7] = h
    out[8] = loss_scalar(q, m[PIPE], m[BORE], m[FITTINGS], 7e-6, m[VISCOSITY])
    if q <= 0.0:
        state = NO_LIFT if state != WELL_LIMIT else WELL_LIMIT
    if m[COUPLING] == 0.0:
        volts, amps = needed(cv, s, y), needed(ci, s, y)
        if q <= 0.0:  # stands, or turns without lifting: along the line through rest and threshold
            share = min(light / max(amps, 1e-9), 1.0)
            volts, amps = volts * share, amps * share
        elif m[MAX_V] - volts < 1e-6 * m[MAX_V]:
            state = LIMITED
        out[2], out[3] = volts + amps * m[CABLE], amps
        out[5] = volts * amps
    else:
        need_w = needed(cp, s, y) if q > 0.0 else available
        amps = needed(ci, s, y) if m[KNOWS_V] > 0.0 else need_w / m[PEAK_V]
        if q > 0.0 and m[KNOWS_V] > 0.0 and needed(cv, s, y) > m[MAX_V] * 0.999999:
            state = LIMITED
        out[5] = need_w
        drawn = (need_w + amps * amps * m[CABLE]) / m[EFFICIENCY] if q > 0.0 else watts
        if drawn < watts * (1.0 - 1e-7):  # held back: the array rises along its curve above the peak
            low, high = peak_v, open_v
            for _ in range(60):
                mid = 0.5 * (low + high)
                current = _terminal_current(light, dark, thermal, shunt, m[SERIES], mid)
                if mid * current > drawn:
                    low = mid
                else:
                    high = mid
            peak_v = 0.5 * (low + high)
            peak_i = drawn / peak_v
        out[2], out[3] = peak_v, peak_i
    out[4] = out[2] * out[3]
    out[11] = state
    return q


@compiled()
def _terminal_current(light, dark, thermal, shunt, series, volts):
    diode_v = volts + light * series
    for _ in range(60):
        e = dark * np.exp(min(diode_v / thermal, 300.0))
        amps = light - e + dark - diode_v * shunt
        step = (diode_v - amps * series - volts) / (1.0 + series * (e / thermal + shunt))
        diode_v -= step
        if abs(step) < 1e-12:
            break
    return light - dark * np.expm1(min(diode_v / thermal, 300.0)) - diode_v * shunt


@compiled()
def _solve_rows(rows, pump, cp, cv, ci, irradiance, air, static, first, last, out):
    for i in range(first, last):
        p = pump[i]
        guess = -1.0
        for k in range(irradiance.shape[1]):
            guess = solve_one(rows[i], cp[p], cv[p], ci[p], irradiance[i, k], air[i, k], static[i, k], guess, out[i, k])


def spot(fleet, irradiance_w_m2, air_c, static_level_m=None, faults=NONE, cores=1, machine=None):
    """What each installation should read in this sun, air and water level (Spot), exactly.

    Shapes: irradiance_w_m2 (in the modules' plane), air_c and static_level_m are numbers, (n,) or (n, ...); the result
    has their broadcast shape with leading axis n. static_level_m left out: the year's mean of the fleet's record.
    NaN in an input, or a row that could not be read, gives NaN. No sun gives no water. Shades by time of day are not
    applied here (see `day`).
    Refuses a negative irradiance or level, air outside -60 to 70 C.
    """
    n = fleet.n
    if static_level_m is None:
        static_level_m = fleet.static_level_m.mean(axis=1)
    parts = lead(
        n,
        irradiance_w_m2=(irradiance_w_m2, 0, 2000),
        air_c=(air_c, -60, 70),
        static_level_m=(static_level_m, 0, 1000),
    )
    shape = parts[0].shape
    flat = [np.ascontiguousarray(p.reshape(n, -1)) for p in parts]
    m = machine or build(fleet, faults)
    out = np.empty((n, flat[0].shape[1], OUT))
    spread_over(
        cores, n, lambda a, b: _solve_rows(m.rows, m.pump, m.power_c, m.voltage_c, m.current_c, *flat, a, b, out)
    )
    values = [out[..., k].reshape(shape) for k in range(OUT)]
    return Spot(*values)


def untested(fleet, at):
    """Where a `spot` answer rests on no point of the pump's test sheet: head or power beyond those tried. Booleans of
    the answer's shape; False where nothing is lifted."""
    shape = (fleet.n,) + (1,) * (at.flow_l_min.ndim - 1)
    limits = np.array([(*p.head_limits, *p.power_limits) for p in fleet.pumps])[fleet.pump_index]
    low_head, high_head, low_power, high_power = (limits[:, k].reshape(shape) for k in range(4))
    head = (at.head_m < 0.98 * low_head) | (at.head_m > 1.02 * high_head)
    power = (at.pump_power_w < 0.98 * low_power) | (at.pump_power_w > 1.02 * high_power)
    return (at.flow_l_min > 0) & (head | power)
