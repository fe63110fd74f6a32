"""Everything about an installation that does not change with the weather, worked out once: one row of numbers a unit.

The compiled loops of `operating` and `fast` read these rows; the names below are the places in them.
"""

from typing import NamedTuple

import numpy as np

from .. import array, cable, controller, head
from ..shade import GROUPS, share_of_volts
from .faults import NONE

(
    COUPLING, LIGHT, DARK, THERMAL, SERIES, SHUNT, ALPHA, CLEAN, NOCT_SLOPE, CABLE, EFFICIENCY, START_W, MAX_W, MAX_V,
    RISE, DRAW_B, DRAW_C, PIPE, BORE, FITTINGS, UNIT_FLOW, HEAD_SCALE, INTAKE, SLIP, LEAK, CUTOUT, STOPPED, DEPTH,
    Y_LIMIT, LEVEL_DROP, KNOWS_V, VISCOSITY, SHUT_LEVEL, MODULES, PEAK_V,
    HOLE, ON,
) = range(37)  # fmt: skip
WIDTH = 37

CABLE_C = 45.0  # conductor while carrying current in warm water and sun (common practice, no source)
FEW_SHEETS = 12
HOLE_SHARE = 0.5  # of the lift that stands above a hole in the main, which may be anywhere along it (judged)
PROBE_MARGIN_M = 0.5  # the water stands at least this far above the intake, or the pump draws air


class Machine(NamedTuple):
    """rows (n, WIDTH); kind (n,), which of the distinct data sheets in diodes (kinds, 6) each unit has; and the pump
    curves' coefficients by pump (p, terms): power W, voltage V, current A."""

    rows: np.ndarray
    kind: np.ndarray
    diodes: np.ndarray
    pump: np.ndarray
    power_c: np.ndarray
    voltage_c: np.ndarray
    current_c: np.ndarray


def build(fleet, faults=NONE):
    """The Machine of a fleet, with faults put in (sizes that depend on the hour are applied by the callers)."""
    n, f = fleet.n, (lambda name: faults.column(name, fleet.n))
    r = np.full((n, WIDTH), np.nan)
    kind, diodes = _diodes(fleet)
    diode = diodes[kind]
    series, sound = fleet.modules_in_series, np.maximum(fleet.strings - f("strings_open"), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        r[:, COUPLING] = fleet.coupling
        r[:, LIGHT] = diode[:, 0] * sound
        r[:, DARK] = diode[:, 1] * np.maximum(sound, 1e-6)
        r[:, THERMAL] = diode[:, 2] * series
        r[:, SERIES] = diode[:, 3] * series / np.maximum(sound, 1e-6)
        r[:, SHUNT] = diode[:, 4] * series / np.maximum(sound, 1e-6)
        r[:, ALPHA] = diode[:, 5] * sound
    if np.any(f("groups_bypassed") > 0):
        kept = share_of_volts(np.minimum(f("groups_bypassed"), GROUPS * series), series, fleet.v_mp_v)
        for name in (THERMAL, SERIES, SHUNT):
            r[:, name] *= np.maximum(kept, 1e-6)
    else:
        kept = 1.0
    ageing = np.clip(1 - fleet.ageing_fraction_y * np.maximum(fleet.age_y, 0.0), 0.3, 1)
    r[:, CLEAN] = (1 - fleet.soiling_fraction) * (1 - fleet.mismatch_fraction) * ageing * (1 - f("soiling_extra"))
    r[:, NOCT_SLOPE] = array.working_rise(fleet.noct_c)
    r[:, CABLE] = f("series_resistance_ohm") + _by_class(fleet)
    r[:, EFFICIENCY] = np.where(fleet.coupling == 0, 1.0, fleet.controller_efficiency * controller.AT_WORK)
    r[:, START_W] = fleet.start_power_w
    r[:, MAX_W] = np.minimum(fleet.max_power_w, f("controller_cap_w"))
    fastest = np.array([p.voltage_limit for p in fleet.pumps])[fleet.pump_index]
    r[:, MAX_V] = np.minimum(fleet.max_voltage_v, fastest)
    r[:, RISE] = fleet.tank_rise_m
    r[:, DRAW_B] = fleet.drawdown_b_m_per_l_min * f("drawdown_factor")
    r[:, DRAW_C] = fleet.drawdown_c * f("drawdown_factor")
    r[:, PIPE] = fleet.pipe_length_m
    r[:, BORE] = fleet.pipe_inside_mm / 1000
    r[:, FITTINGS] = fleet.fittings_k
    pumps = fleet.pumps
    scale = np.array([p.flow_scale for p in pumps])[fleet.pump_index]
    r[:, UNIT_FLOW] = scale * fleet.flow_scale * np.maximum(f("pump_flow_factor"), 1e-3)
    r[:, HEAD_SCALE] = np.array([p.head_scale for p in pumps])[fleet.pump_index]
    # a free inlet costs a tenth of a metre at the largest flow; a narrowed one the square of the narrowing more
    block = f("intake_block_factor")
    r[:, INTAKE] = np.where(block < 1, 0.1 * (1 / block**2 - 1) / scale**2, 0.0)
    r[:, SLIP] = f("pump_slip_head")
    r[:, LEAK] = f("leak_fraction")
    r[:, HOLE] = f("leak_l_min_30m") * np.sqrt(HOLE_SHARE / 30.0)
    r[:, ON] = 1 - f("off_share")
    r[:, CUTOUT] = f("cutout_irradiance")
    r[:, STOPPED] = f("stopped")
    r[:, DEPTH] = fleet.setting_depth_m
    # without voltages the largest flow tested stands for the fastest the motor may turn
    r[:, Y_LIMIT] = np.where(np.isfinite(fastest), 1.6, 1.05)
    r[:, LEVEL_DROP] = f("static_level_drop_m")
    r[:, KNOWS_V] = np.array([p.knows_voltage for p in pumps])[fleet.pump_index]
    r[:, VISCOSITY] = head.water_viscosity(head.GROUNDWATER_C)
    r[:, MODULES] = sound * series * kept
    r[:, PEAK_V] = fleet.v_mp_v * series * np.maximum(kept, 1e-6)
    r[:, SHUT_LEVEL] = fleet.setting_depth_m - PROBE_MARGIN_M
    bad = ~np.isfinite(fleet.latitude_deg)
    r[bad] = np.nan
    coefficients = (np.stack([getattr(p, name) for p in pumps]) for name in ("power_c", "voltage_c", "current_c"))
    return Machine(r, kind, diodes, np.ascontiguousarray(fleet.pump_index), *coefficients)


def _diodes(fleet):
    """(which sheet each unit has, single-diode numbers a sheet), fitted once for each distinct data sheet."""
    sheets = np.stack([getattr(fleet, name) for name in array.SHEET], axis=1)
    which, kinds = np.full(fleet.n, -1), []
    while (which < 0).any():
        if len(kinds) == FEW_SHEETS:  # a fleet of many sheets: sort them instead
            kinds, which = np.unique(sheets, axis=0, return_inverse=True)
            which = which.ravel()
            break
        kinds.append(sheets[np.argmax(which < 0)])
        same = ((sheets == kinds[-1]) | (np.isnan(sheets) & np.isnan(kinds[-1]))).all(axis=1)
        which[same] = len(kinds) - 1
    numbers = [array.fit_diode(*kind) if np.isfinite(kind).all() else (np.nan,) * 6 for kind in kinds]
    return np.ascontiguousarray(which), np.array(numbers)


def _by_class(fleet):
    return cable.loop_resistance(fleet.cable_length_m, fleet.cable_area_mm2, fleet.conductor_class, CABLE_C)
