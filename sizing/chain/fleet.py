"""The fleet as the chain sees it: one record of arrays, a row an installation.

`Fleet` holds what was recorded; `fleet_from_rows` builds it from dictionaries, fills in what is usually not written
down, and says of each row that it cannot use why not.
"""

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np

from .. import array, cable, head, well
from ..checks import Refusal, known, within
from ..controller import DIRECT, TRACKING
from ..sky import ring, shade_windows

# What stands in for a value that nobody wrote down; each is common practice, no source, unless said otherwise.
DEFAULTS = {
    "altitude_m": 0.0,
    "ground_reflectance": 0.2,
    "soiling_fraction": 0.03,  # mean of a washed array between washings
    # mismatch 2 %, joints 0.5 %, first light 1.5 %, label 1 %: defaults of PVWatts 5, NREL/TP-6A20-62641 (from memory)
    "mismatch_fraction": 0.049,
    "age_y": 0.0,
    "ageing_fraction_y": 0.006,  # crystalline silicon, median 0.5-0.6 % a year: Jordan et al. 2022
    "conductor_class": 2,
    "controller_efficiency": 0.95,
    "start_power_w": 0.0,
    "max_power_w": np.inf,
    "max_voltage_v": np.inf,
    "drawdown_b_m_per_l_min": 0.0,
    "drawdown_c": 0.0,
    "tank_rise_m": 0.0,
    "fittings_k": 8.0,  # four elbows, a non-return valve, the free outlet
    "flow_scale": 1.0,
    "tank_capacity_l": np.nan,
    "float_switch": False,
    "need_l_day": np.nan,
    "dry_run_probe": False,
    "noct_c": 46.0,
    "alpha_isc_pct_k": 0.05,
    "beta_voc_pct_k": -0.31,
    "gamma_p_pct_k": -0.40,
}

# name: (lowest, highest, may be missing); the limits of what the chain will work with
LIMITS = {
    "latitude_deg": (-66, 66),
    "longitude_deg": (-180, 180),
    "altitude_m": (-450, 6000),
    "tilt_deg": (0, 90),
    "azimuth_deg": (0, 360),
    "ground_reflectance": (0, 0.95),
    "cells": (1, 400),
    "p_stc_w": (1, 1000),
    "v_mp_v": (1, 500),
    "i_mp_a": (0.01, 50),
    "v_oc_v": (1, 600),
    "i_sc_a": (0.01, 60),
    "alpha_isc_pct_k": (-0.2, 0.3),
    "beta_voc_pct_k": (-1, -0.05),
    "gamma_p_pct_k": (-1, -0.05),
    "noct_c": (30, 70),
    "modules_in_series": (1, 60),
    "strings": (1, 200),
    "soiling_fraction": (0, 0.95),
    "mismatch_fraction": (0, 0.5),
    "age_y": (-1, 60),
    "ageing_fraction_y": (0, 0.05),
    "cable_length_m": (0, 2000),
    "cable_area_mm2": (0.75, 630),
    "controller_efficiency": (0.5, 1),
    "start_power_w": (0, 1e5),
    "max_power_w": (1, np.inf),
    "max_voltage_v": (5, np.inf),
    "static_level_m": (0, 600),
    "drawdown_b_m_per_l_min": (0, 100),
    "drawdown_c": (0, 100),
    "setting_depth_m": (0.5, 700),
    "tank_rise_m": (0, 300),
    "pipe_length_m": (0, 20000),
    "pipe_inside_mm": (5, 500),
    "fittings_k": (0, 1000),
    "flow_scale": (0.5, 1.5),
}
BY_MONTH = ("static_level_m", "need_l_day")


@dataclass(frozen=True)
class Fleet:
    """n installations, each field an array with leading axis n; units in the names. See `fleet_from_rows`.

    static_level_m and need_l_day are (n, 12), January first; azimuth clockwise from true north; coupling 0 direct,
    1 tracking; pump_index points into `pumps` (PumpCurve). NaN in a row means that its results are missing.
    skyline_deg (n, 72): heights that hide the sun, as `sky.ring`; shade_left (n, 24): share of the direct light that
    windows of shade leave in each solar hour. Both None where no installation has any.
    """

    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    altitude_m: np.ndarray
    tilt_deg: np.ndarray
    azimuth_deg: np.ndarray
    ground_reflectance: np.ndarray
    cells: np.ndarray
    p_stc_w: np.ndarray
    v_mp_v: np.ndarray
    i_mp_a: np.ndarray
    v_oc_v: np.ndarray
    i_sc_a: np.ndarray
    alpha_isc_pct_k: np.ndarray
    beta_voc_pct_k: np.ndarray
    gamma_p_pct_k: np.ndarray
    noct_c: np.ndarray
    modules_in_series: np.ndarray
    strings: np.ndarray
    soiling_fraction: np.ndarray
    mismatch_fraction: np.ndarray
    age_y: np.ndarray
    ageing_fraction_y: np.ndarray
    cable_length_m: np.ndarray
    cable_area_mm2: np.ndarray
    conductor_class: np.ndarray
    controller_efficiency: np.ndarray
    start_power_w: np.ndarray
    coupling: np.ndarray
    max_power_w: np.ndarray
    max_voltage_v: np.ndarray
    static_level_m: np.ndarray
    drawdown_b_m_per_l_min: np.ndarray
    drawdown_c: np.ndarray
    setting_depth_m: np.ndarray
    tank_rise_m: np.ndarray
    pipe_length_m: np.ndarray
    pipe_inside_mm: np.ndarray
    fittings_k: np.ndarray
    pump_index: np.ndarray
    flow_scale: np.ndarray
    tank_capacity_l: np.ndarray
    float_switch: np.ndarray
    need_l_day: np.ndarray
    dry_run_probe: np.ndarray
    pumps: tuple = ()
    skyline_deg: np.ndarray | None = None
    shade_left: np.ndarray | None = None

    @property
    def n(self):
        """How many installations."""
        return self.latitude_deg.size

    def __len__(self):
        return self.n

    @property
    def shaded(self):
        """Which installations have a skyline or windows of shade, booleans (n,)."""
        some = np.zeros(self.n, bool)
        if self.skyline_deg is not None:
            some |= (self.skyline_deg > 0).any(axis=1)
        if self.shade_left is not None:
            some |= (self.shade_left < 1).any(axis=1)
        return some

    def take(self, index):
        """The installations of an index (numbers, a slice or a mask) as a fleet of their own."""
        if not isinstance(index, slice):  # a slice looks at the same arrays, anything else copies
            index = np.atleast_1d(np.arange(self.n)[index])
        kept = {name: getattr(self, name)[index] for name in COLUMNS}
        kept |= {name: None if (all_ := getattr(self, name)) is None else all_[index] for name in SHADES}
        return Fleet(**kept, pumps=self.pumps)

    def with_(self, **columns):
        """A copy in which columns are replaced (each broadcast over the installations)."""
        shaped = {}
        for name, value in columns.items():
            if name == "pumps":
                shaped[name] = tuple(value)
                continue
            if name in SHADES:
                width = 72 if name == "skyline_deg" else 24
                shaped[name] = None if value is None else np.broadcast_to(np.asarray(value, float), (self.n, width))
                continue
            old = getattr(self, name)
            value = np.asarray(value)
            if name in BY_MONTH and value.ndim == 1 and value.size == self.n and self.n != 12:
                value = value[:, None]
            shaped[name] = np.broadcast_to(value, old.shape).astype(old.dtype)
        return replace(self, **shaped)


SHADES = {"skyline_deg": 0.0, "shade_left": 1.0}  # the columns of what hides the sun, and what stands for an open sky
COLUMNS = tuple(f.name for f in fields(Fleet) if f.name not in ("pumps", *SHADES))


class FleetRead(NamedTuple):
    """The fleet; reasons: per row "" or why it is not computed; assumed: per row the names of the defaults used."""

    fleet: Fleet
    reasons: np.ndarray
    assumed: list


def fleet_from_rows(rows, pumps, modules=None):
    """A fleet from dictionaries, one an installation.

    rows: keys as the fields of `Fleet` (module values either in the row or under the name `module_type` in `modules`).
      pump_type: a name in `pumps`, a dict of PumpCurve. Defaults as in `DEFAULTS`. Instead of drawdown_b_m_per_l_min a
      row may give specific_capacity_m3_h_m; instead of pipe_inside_mm pipe_outside_mm with pipe_wall_mm or sdr;
      instead of flow_scale test_points as (head m, power W, flow L/min) tuples. coupling: 0 or "direct", 1 or
      "tracking". static_level_m and need_l_day: one value or twelve. Without pipe_length_m: setting depth plus rise;
      without cable_length_m: setting depth plus 10 m. skyline: (bearing, height) pairs; shade_windows: (from, to, share
      of the direct light lost) rows in solar hours.
    Returns FleetRead. A row with a wrong or missing value does not stop the others: it gets its reason, and NaN as
    latitude, so that every result for it is missing.
    """
    names = list(pumps)
    curves = tuple(pumps.values())
    columns = {name: [] for name in COLUMNS}
    shades = {"skyline_deg": np.zeros((len(rows), 72)), "shade_left": np.ones((len(rows), 24))}
    reasons, assumed = np.full(len(rows), "", dtype=object), []
    for i, given in enumerate(rows):
        used = []
        try:
            one = _read(given, pumps, names, modules or {}, used)
            shades["skyline_deg"][i] = ring(given.get("skyline") or ())
            shades["shade_left"][i] = shade_windows(given.get("shade_windows") or ())
        except Refusal as refusal:
            reasons[i] = str(refusal)
            one = _empty()
        assumed.append(tuple(used))
        for name, values in columns.items():
            values.append(one[name])
    whole = {"pump_index", "coupling", "conductor_class"}
    flags = {"float_switch", "dry_run_probe"}
    arrays = {
        name: np.array(values, dtype=int if name in whole else bool if name in flags else float)
        for name, values in columns.items()
    }
    for name in BY_MONTH:
        arrays[name] = arrays[name].reshape(len(rows), 12)
    if (shades["skyline_deg"] > 0).any():
        arrays["skyline_deg"] = shades["skyline_deg"]
    if (shades["shade_left"] < 1).any():
        arrays["shade_left"] = shades["shade_left"]
    return FleetRead(Fleet(**arrays, pumps=curves), reasons, assumed)


def _read(given, pumps, names, modules, used):
    row = {k: v for k, v in given.items() if v is not None and not (isinstance(v, str) and v == "")}
    if "module_type" in row and "v_mp_v" not in row:
        if row["module_type"] not in modules:
            raise Refusal("module_type", row["module_type"], because="this module type is not in the catalogue given")
        row = {**modules[row["module_type"]], **row}
    kind = row.get("pump_type")
    if kind not in pumps:
        raise Refusal("pump_type", kind, because="this pump type has no curve")
    curve = pumps[kind]
    if "specific_capacity_m3_h_m" in row and "drawdown_b_m_per_l_min" not in row:
        row["drawdown_b_m_per_l_min"] = float(well.from_specific_capacity(_plain(row, "specific_capacity_m3_h_m")))
    if "pipe_inside_mm" not in row and "pipe_outside_mm" in row:
        row["pipe_inside_mm"] = _bore(row)
    if "test_points" in row and "flow_scale" not in row:
        row["flow_scale"] = curve.scale_of_test(*_points(row["test_points"]))
    coupling = {"direct": DIRECT, "tracking": TRACKING}.get(row.get("coupling", 1), row.get("coupling", 1))
    if coupling not in (DIRECT, TRACKING):
        raise Refusal("coupling", coupling, because="direct (0) or tracking (1) is needed")
    if coupling == DIRECT:
        row["controller_efficiency"] = 1.0
        if not curve.knows_voltage:
            raise Refusal("coupling", "direct", because="the pump type has no test points with voltage and current")
    if "setting_depth_m" not in row and "static_level_m" in row:
        used.append("setting_depth_m")
        row["setting_depth_m"] = float(np.max(known(row["static_level_m"], "static_level_m"))) + 10.0
    for name, rule in (("pipe_length_m", _depth_and_rise), ("cable_length_m", _depth_and_ten)):
        if name not in row:
            used.append(name)
            row[name] = rule(row)
    out = {"pump_index": names.index(kind), "coupling": coupling}
    for name in COLUMNS:
        if name in out:
            continue
        if name not in row:
            if name not in DEFAULTS:
                raise Refusal(name, None, because="this value is missing")
            used.append(name)
            row[name] = DEFAULTS[name]
        out[name] = _value(name, row[name])
    if np.min(out["static_level_m"]) >= out["setting_depth_m"]:
        raise Refusal(
            "setting_depth_m",
            out["setting_depth_m"],
            because=f"the pump hangs above the water, whose level is {np.min(out['static_level_m']):g} m",
        )
    if int(out["conductor_class"]) not in cable.CLASSES:
        raise Refusal("conductor_class", out["conductor_class"], tuple(cable.CLASSES), because="2 or 5 is needed")
    array.fit_diode(*(out[k] for k in array.SHEET))
    return out


def _value(name, value):
    if name in ("float_switch", "dry_run_probe"):
        return bool(value)
    if name in BY_MONTH:
        values = np.asarray(within(np.atleast_1d(value), -np.inf, np.inf, name)).ravel()
        if values.size not in (1, 12):
            raise Refusal(name, values.size, because="one value or twelve are needed")
        if name == "static_level_m":
            values = known(values, name)
            for month, level in enumerate(values):
                low, high = LIMITS[name]
                if not low <= level <= high:
                    raise Refusal(name, float(level), (low, high), row=month)
        return np.broadcast_to(values, 12)
    if name in LIMITS:
        low, high = LIMITS[name]
        if name in ("max_power_w", "max_voltage_v") and isinstance(value, float) and np.isinf(value):
            return np.inf
        return float(within(float(known(value, name)), low, high, name))
    return float(within(value, -np.inf, np.inf, name))


def _plain(row, name):
    """One number of a row. Refuses a missing one and what is no number."""
    if name not in row:
        raise Refusal(name, None, because="this value is missing")
    return float(known(row[name], name))


def _points(points):
    table = np.atleast_2d(known(points, "test_points"))
    if table.shape[1] != 3:
        raise Refusal("test_points", table.shape, because="head, power and flow are needed for each point")
    return table.T


def _bore(row):
    if "pipe_wall_mm" in row:
        bore = _plain(row, "pipe_outside_mm") - 2 * _plain(row, "pipe_wall_mm")
        return float(within(bore, 5, 500, "pipe_inside_mm"))
    if "sdr" in row:
        return head.inside_diameter(_plain(row, "pipe_outside_mm"), _plain(row, "sdr"))
    raise Refusal("pipe_wall_mm", None, because="the pipe's wall or its SDR is needed beside its outside diameter")


def _depth_and_rise(row):
    return _plain(row, "setting_depth_m") + (_plain(row, "tank_rise_m") if "tank_rise_m" in row else 0.0)


def _depth_and_ten(row):
    return _plain(row, "setting_depth_m") + 10.0


def _empty():
    """A row of which nothing is computed."""
    blank = dict.fromkeys(COLUMNS, np.nan)
    whole = {"pump_index": 0, "coupling": 1, "conductor_class": 2, "float_switch": False, "dry_run_probe": False}
    return {**blank, **whole, **{name: np.full(12, np.nan) for name in BY_MONTH}}
