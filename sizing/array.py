"""The array: cell temperature, the single-diode curve fitted to a module's data sheet, strings, dirt and age.

A module's curve is kept as five numbers at standard conditions and moved to other irradiance and temperature after
De Soto, Klein & Beckman (2006), Solar Energy 80:78; the temperature coefficients of current and voltage are bent
together until the sheet's power coefficient comes out as printed (the adjustment of Dobos 2012, J. Solar Energy
Engineering 134:021011). A whole array is one such curve with scaled numbers: strings add current, modules in series
add voltage.

The voltage over the diode itself is the free variable (Bishop 1988, Solar Cells 25:73): current and voltage at the
terminals follow from it without iteration, and a resistance in series, as of a cable, only adds to the module's own.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

from . import compiled
from .checks import Refusal, known, within

BOLTZMANN_EV_K = 8.617333e-5
STC_IRRADIANCE_W_M2 = 1000.0
STC_CELL_C = 25.0
STC_CELL_K = 298.15
BAND_GAP_EV = 1.121  # silicon at 25 C, De Soto et al. 2006
BAND_GAP_SLOPE_K = -0.0002677  # relative change per kelvin, same source
NOCT_IRRADIANCE_W_M2 = 800.0  # IEC 61215, older editions (from memory)
NOCT_AIR_C = 20.0


SHEET = (
    "cells", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k", "beta_voc_pct_k", "gamma_p_pct_k",
)  # fmt: skip


class Diode(NamedTuple):
    """A single-diode curve at 1000 W/m2 and 25 C. Currents A, voltages V, resistances ohm; alpha_isc_a_k in A/K.

    thermal_v is a = ideality * cells * k * T / q. Arrays of any one shape, or numbers.
    """

    photocurrent_a: np.ndarray
    saturation_a: np.ndarray
    thermal_v: np.ndarray
    series_ohm: np.ndarray
    shunt_ohm: np.ndarray
    alpha_isc_a_k: np.ndarray


class WorkingPoint(NamedTuple):
    """Voltage V, current A and power W at the terminals."""

    voltage_v: np.ndarray
    current_a: np.ndarray
    power_w: np.ndarray


def cell_temperature(irradiance_w_m2, air_c, noct_c):
    """Cell temperature, C, by the line through the nominal operating temperature: air + (NOCT - 20) G / 800.

    Shapes: arguments broadcast. Holds for open racks in light wind, 0-1400 W/m2. Refuses a NOCT outside 30-70 C.
    Source: definition of NOCT, IEC 61215 (older editions; from memory).
    """
    irradiance = within(irradiance_w_m2, 0, 2000, "irradiance_w_m2")
    return within(air_c, -60, 70, "air_c") + (within(noct_c, 30, 70, "noct_c") - NOCT_AIR_C) * (
        irradiance / NOCT_IRRADIANCE_W_M2
    )


def working_rise(noct_c, wind_m_s=1.5):
    """Kelvin that a working module's cells stand above the air, for each W/m2 in its plane.

    The nominal temperature is taken at open circuit in wind of 1 m/s; a module at work carries about 14 % of the
    absorbed light away as electricity (efficiency 0.13 over absorptance 0.9), and by day the air on a pole moves a
    little more. Source: the heat balance in Duffie & Beckman, sec. 23.3 (from memory), with the wind term of Faiman
    (2008); the mean wind of 1.5 m/s at the frame is common practice, no source.
    """
    still = (within(noct_c, 30, 70, "noct_c") - NOCT_AIR_C) / NOCT_IRRADIANCE_W_M2
    return still * (1 - 0.13 / 0.9) * (25 + 6.84) / (25 + 6.84 * within(wind_m_s, 0, 60, "wind_m_s"))


def faiman_temperature(irradiance_w_m2, air_c, wind_m_s, u0=25.0, u1=6.84):
    """Module temperature, C, with wind: air + G / (u0 + u1 v).

    Source: Faiman (2008), Progress in Photovoltaics 16:307.
    """
    wind = within(wind_m_s, 0, 60, "wind_m_s")
    return within(air_c, -60, 70, "air_c") + within(irradiance_w_m2, 0, 2000, "irradiance_w_m2") / (u0 + u1 * wind)


def _cell(cell_c):
    return within(cell_c, -60, 150, "cell_c")


def linear_power(p_stc_w, irradiance_w_m2, cell_c, gamma_p_pct_k):
    """Array power, W, proportional to irradiance and falling with temperature.

    Source: form of NREL/TP-6A20-62641 (2014). A check on the curve, and the answer where no curve can be fitted.
    """
    return (
        within(p_stc_w, 0, np.inf, "p_stc_w")
        * within(irradiance_w_m2, 0, 2000, "irradiance_w_m2")
        / STC_IRRADIANCE_W_M2
        * (1 + within(gamma_p_pct_k, -1.0, 0.2, "gamma_p_pct_k") / 100 * (_cell(cell_c) - STC_CELL_C))
    )


def irradiance_from_short_circuit(current_a, cell_c, i_sc_a, alpha_isc_pct_k):
    """In-plane irradiance, W/m2, told by a clean module's short-circuit current. Proportional; one sigma 3-5 %."""
    alpha = within(alpha_isc_pct_k, -0.2, 0.3, "alpha_isc_pct_k") / 100
    rated = within(i_sc_a, 0, 100, "i_sc_a", open_low=True)
    return (
        STC_IRRADIANCE_W_M2
        * within(current_a, 0, 100, "current_a")
        / (rated * (1 + alpha * (_cell(cell_c) - STC_CELL_C)))
    )


def string_open_circuit_voltage(modules_in_series, v_oc_v, beta_voc_pct_k, cell_c):
    """Open-circuit voltage of a string, V, at a cell temperature; proportional to modules in series."""
    beta = within(beta_voc_pct_k, -1, 0, "beta_voc_pct_k") / 100
    modules = within(modules_in_series, 0, 100, "modules_in_series", open_low=True)
    return modules * within(v_oc_v, 0, 600, "v_oc_v", open_low=True) * (1 + beta * (_cell(cell_c) - STC_CELL_C))


def insulation_test(system_voltage_v):
    """(test voltage V, least resistance Mohm) for a PV array of this system voltage.

    That is 1.25 times the string's open-circuit voltage at standard conditions. Refuses more than 1500 V.
    Source: IEC 62446-1:2016 (from memory). A test on the array alone, box and pump disconnected; local codes and
    licensed practice come first.
    """
    volts = within(system_voltage_v, 0, 1500, "system_voltage_v")
    return _unless_unknown(volts, volts < 120)


def wiring_insulation_test(nominal_voltage_v):
    """(test voltage V, least resistance Mohm) for wiring that is no array: drop cable, motor, box. Shape kept.

    Extra-low voltage to 50 V, then to 500 V, then above. Refuses more than 1500 V. Source: IEC 60364-6, table 6A (from
    memory). The same cautions as with `insulation_test`.
    """
    volts = within(nominal_voltage_v, 0, 1500, "nominal_voltage_v")
    return _unless_unknown(volts, volts <= 50)


def _unless_unknown(volts, low):
    """The three rows of the tables; a voltage that is not known has no row: never a test that is too strong."""
    test = np.select([np.isnan(volts), low, volts <= 500], [np.nan, 250.0, 500.0], 1000.0)
    return test, np.select([np.isnan(volts), low], [np.nan, 0.5], 1.0)


def strings_agree(readings, tolerance=0.05):
    """Whether equal strings in steady sun agree, each within 5 % of their middle: booleans of the readings' shape.

    readings: open-circuit volts or amps, strings along the last axis. Source: IEC 62446-1 (from memory).
    """
    values = within(readings, 0, 2000, "readings")
    middle = np.median(values, axis=-1, keepdims=True)
    return np.abs(values - middle) <= tolerance * middle


@compiled(inline="always")
def translate(photocurrent, saturation, thermal, shunt, alpha, irradiance, cell_c):
    """One curve moved to irradiance (W/m2, above zero) and cell temperature: (light A, dark A, thermal V, shunt S)."""
    kelvin = cell_c + 273.15
    ratio = kelvin / 298.15
    gap = 1.121 * (1.0 - 0.0002677 * (cell_c - 25.0))
    light = irradiance / 1000.0 * (photocurrent + alpha * (cell_c - 25.0))
    dark = saturation * ratio * ratio * ratio * np.exp((1.121 / 298.15 - gap / kelvin) / 8.617333e-5)
    return light, dark, thermal * ratio, irradiance / (1000.0 * shunt)


@compiled()
def peak(light, dark, thermal, shunt_s, series):
    """Diode voltage, terminal voltage and current at the largest power: Newton from the open circuit less its log."""
    if light <= 1e-12:
        return 0.0, 0.0, 0.0
    open_v = thermal * np.log1p(light / dark)
    for _ in range(3):  # the shunt pulls it down a little
        e = dark * np.exp(open_v / thermal)
        open_v -= (light - e + dark - open_v * shunt_s) / (-e / thermal - shunt_s)
    diode_v = max(open_v - thermal * np.log1p(open_v / thermal), 0.3 * open_v)
    current = 0.0
    volts = 0.0
    for _ in range(20):
        e = dark * np.exp(diode_v / thermal)
        current = light - e + dark - diode_v * shunt_s
        slope_i = -e / thermal - shunt_s
        curve_i = -e / (thermal * thermal)
        volts = diode_v - current * series
        slope_v = 1.0 - slope_i * series
        first = slope_v * current + volts * slope_i
        second = -curve_i * series * current + 2.0 * slope_v * slope_i + volts * curve_i
        step = first / second
        diode_v -= step
        if abs(step) < 1e-10 * open_v:
            break
    e = dark * np.exp(diode_v / thermal)
    current = light - e + dark - diode_v * shunt_s
    return diode_v, diode_v - current * series, current


@compiled()
def _peaks(il, i0, a, rs, rsh, alpha, irradiance, cell_c, volts, amps):
    for i in range(il.size):
        if irradiance[i] <= 0.0:
            volts[i] = 0.0
            amps[i] = 0.0
        elif not np.isfinite(irradiance[i] + cell_c[i] + il[i]):
            volts[i] = np.nan
            amps[i] = np.nan
        else:
            light, dark, thermal, shunt = translate(il[i], i0[i], a[i], rsh[i], alpha[i], irradiance[i], cell_c[i])
            _, volts[i], amps[i] = peak(light, dark, thermal, shunt, rs[i])


def maximum_power(diode, irradiance_w_m2, cell_c):
    """The working point of largest power (WorkingPoint), for a curve moved to irradiance and cell temperature.

    Shapes: the diode's arrays, irradiance and temperature broadcast. No sun gives zeros, NaN gives NaN.
    """
    parts = np.broadcast_arrays(*diode, within(irradiance_w_m2, 0, 2000, "irradiance_w_m2"), np.asarray(cell_c, float))
    shape = parts[0].shape
    il, i0, a, rs, rsh, alpha, g, tc = (np.ascontiguousarray(p, dtype=float).ravel() for p in parts)
    volts, amps = np.empty(il.size), np.empty(il.size)
    _peaks(il, i0, a, rs, rsh, alpha, g, tc, volts, amps)
    return WorkingPoint(volts.reshape(shape), amps.reshape(shape), (volts * amps).reshape(shape))


@compiled()
def current_at(light, dark, thermal, shunt_s, series, volts):
    """Current at a terminal voltage (reverse voltage not modelled): Newton on the diode voltage, safe from above."""
    diode_v = volts + light * series
    for _ in range(60):
        e = dark * np.exp(min(diode_v / thermal, 300.0))
        current = light - e + dark - diode_v * shunt_s
        gap = diode_v - current * series - volts
        step = gap / (1.0 + series * (e / thermal + shunt_s))
        diode_v -= step
        if abs(step) < 1e-13 * (1.0 + abs(diode_v)):
            break
    return light - dark * np.expm1(diode_v / thermal) - diode_v * shunt_s


@compiled()
def _currents(il, i0, a, rs, rsh, alpha, irradiance, cell_c, volts, amps):
    for i in range(il.size):
        if irradiance[i] <= 0.0:
            amps[i] = 0.0
        else:
            light, dark, thermal, shunt = translate(il[i], i0[i], a[i], rsh[i], alpha[i], irradiance[i], cell_c[i])
            amps[i] = current_at(light, dark, thermal, shunt, rs[i], volts[i])


def current(diode, irradiance_w_m2, cell_c, voltage_v):
    """Current, A, at a terminal voltage; negative beyond the open-circuit voltage. Arguments broadcast."""
    parts = np.broadcast_arrays(
        *diode, within(irradiance_w_m2, 0, 2000, "irradiance_w_m2"), np.asarray(cell_c, float), voltage_v
    )
    shape = parts[0].shape
    flat = [np.ascontiguousarray(p, dtype=float).ravel() for p in parts]
    amps = np.empty(flat[0].size)
    _currents(*flat, amps)
    return amps.reshape(shape)


def fit_diode(cells, v_mp_v, i_mp_a, v_oc_v, i_sc_a, alpha_isc_pct_k, beta_voc_pct_k, gamma_p_pct_k):
    """The five numbers (Diode, plain floats) of the module whose data sheet says this.

    Meets short circuit, open circuit, the peak's voltage and current exactly, its flatness and the temperature
    coefficients as nearly as one diode can. Refuses a sheet that no diode fits: missing value, v_mp >= v_oc,
    i_mp >= i_sc, fill factor outside 0.5-0.9. Silicon only. Source: De Soto et al. 2006; Dobos 2012.
    """
    values = (cells, v_mp_v, i_mp_a, v_oc_v, i_sc_a, alpha_isc_pct_k, beta_voc_pct_k, gamma_p_pct_k)
    limits = ((1, 400), (0.1, 500), (0.01, 50), (0.1, 600), (0.01, 60), (-0.2, 0.3), (-1, -0.05), (-1, -0.05))
    checked = tuple(
        float(within(float(known(v, n)), low, high, n)) for n, v, (low, high) in zip(SHEET, values, limits, strict=True)
    )
    return _fit(*checked)


@lru_cache(maxsize=4096)
def _fit(cells, v_mp, i_mp, v_oc, i_sc, alpha_pct, beta_pct, gamma_pct):
    if v_mp >= v_oc:
        raise Refusal("v_mp_v", v_mp, (0, v_oc), because="must be below v_oc_v")
    if i_mp >= i_sc:
        raise Refusal("i_mp_a", i_mp, (0, i_sc), because="must be below i_sc_a")
    fill = v_mp * i_mp / (v_oc * i_sc)
    if not 0.5 <= fill <= 0.9:
        raise Refusal("v_mp_v", v_mp, (0.5, 0.9), because=f"fill factor of the sheet is {fill:.2f}, must be 0.5 to 0.9")
    alpha, hot = alpha_pct / 100 * i_sc, 30.0

    def numbers(a, rs):
        """Photocurrent, saturation current, shunt conductance: linear in the three points once a and rs are known."""
        points = np.array([[0.0, i_sc], [v_oc, 0.0], [v_mp, i_mp]])
        inner = points[:, 0] + points[:, 1] * rs
        matrix = np.stack([np.ones(3), -np.expm1(inner / a), -inner], axis=1)
        il, i0, g = np.linalg.solve(matrix, points[:, 1])
        if g < 1e-6:  # a shunt cannot give current back: keep it nearly open, meet the two outer points
            g = 1e-6
            pair = matrix[[0, 1]][:, :2]
            il, i0 = np.linalg.solve(pair, points[[0, 1], 1] + inner[[0, 1]] * g)
        return il, i0, g

    def misfit(x):
        a, rs, bend = x
        il, i0, g = numbers(a, rs)
        e = i0 / a * np.exp((v_mp + i_mp * rs) / a) + g
        flat = i_mp - v_mp * e / (1 + rs * e)
        at_peak = il - i0 * np.expm1((v_mp + i_mp * rs) / a) - (v_mp + i_mp * rs) * g - i_mp
        light, dark, thermal, shunt = translate(il, max(i0, 1e-30), a, 1 / g, alpha * (1 - bend), 1000.0, 25 + hot)
        v_hot = v_oc * (1 + beta_pct / 100 * (1 + bend) * hot)
        open_hot = light - dark * np.expm1(min(v_hot / thermal, 300.0)) - v_hot * shunt
        _, volts, amps = peak(light, dark, thermal, shunt, rs)
        power = volts * amps / (v_mp * i_mp * (1 + gamma_pct / 100 * hot)) - 1
        return [flat / i_mp, 10 * at_peak / i_mp, open_hot / i_sc, power]

    per_cell = cells * BOLTZMANN_EV_K * STC_CELL_K
    best = None
    for ideality in (1.0, 1.3):
        start = [ideality * per_cell, 0.3 * (v_oc - v_mp) / i_mp, 0.0]
        bounds = ([0.6 * per_cell, 0.0, -0.6], [2.2 * per_cell, (v_oc - v_mp) / i_mp, 0.6])
        found = least_squares(misfit, start, bounds=bounds, x_scale=[per_cell, 0.1 * v_mp / i_mp, 0.1])
        if best is None or found.cost < best.cost:
            best = found
    a, rs, bend = best.x
    il, i0, g = numbers(a, rs)
    return Diode(float(il), float(i0), float(a), float(rs), float(1 / g), float(alpha * (1 - bend)))
