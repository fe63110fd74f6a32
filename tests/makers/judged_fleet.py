"""A fleet's tables of files, read for judging: units, pump and module types, commissioning tests, readings.

The files' columns are described beside them. Nothing here knows what was wrong with a unit.
"""

import csv
import gzip
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sizing import chain
from sizing.judge.nightly import Sites
from sizing.judge.record import Days, Totals
from sizing.pump import PumpCurve

EPOCH = datetime(1970, 1, 1)
KIND = {"diaphragm": "diaphragm", "helical": "helical", "centrifugal": "centrifugal"}


class JudgedFleet(NamedTuple):
    serials: list
    level: list  # instruments: A, B, C
    fleet: chain.Fleet
    sites: Sites
    tests: dict  # unit -> list of spot tests (dicts)
    nights: dict  # day -> (Days, Totals)
    first: int
    last: int
    solar_shift_h: np.ndarray
    commissioned: np.ndarray  # day
    courses: dict | None = None  # unit -> (flow (days, quarters), sun of the own cell), from `first` on


def table(folder, name):
    """Rows of a file as dictionaries, compressed or not."""
    path = Path(folder) / f"{name}.csv"
    if path.exists():
        with path.open(newline="") as f:
            return list(csv.DictReader(f))
    with gzip.open(path.with_suffix(".csv.gz"), "rt", newline="") as f:
        return list(csv.DictReader(f))


def number(text):
    return float(text) if text not in ("", None) else np.nan


def day_number(text):
    return int(np.datetime64(text[:10], "D").astype(int))


def pumps_of(folder):
    points = defaultdict(list)
    for row in table(folder, "pump_types"):
        points[row["type"]].append(
            [number(row[c]) for c in ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")]
        )
    info = {row["type"]: row for row in table(folder, "pump_type_info")}
    curves = {}
    for name, rows in points.items():
        h, p, q, v, i = np.array(rows).T
        curves[name] = PumpCurve(KIND[info[name]["kind"]], h, p, q, v, i, name=name)
    return curves, info


def read(folder):
    """Everything that an organisation would know of the fleet in a folder of files."""
    curves, info = pumps_of(folder)
    modules = {}
    for row in table(folder, "module_types"):
        modules[row["type"]] = {
            "cells": number(row["cells"]), "p_stc_w": number(row["p_stc_w"]), "v_mp_v": number(row["v_mp"]),
            "i_mp_a": number(row["i_mp"]), "v_oc_v": number(row["v_oc"]), "i_sc_a": number(row["i_sc"]),
            "alpha_isc_pct_k": number(row["alpha_isc_pct_k"]), "beta_voc_pct_k": number(row["beta_voc_pct_k"]),
            "gamma_p_pct_k": number(row["gamma_p_pct_k"]), "noct_c": number(row["noct_c"]),
        }  # fmt: skip
    units = table(folder, "units")
    rows = [recorded(u, info) for u in units]
    made = chain.fleet_from_rows(rows, curves, modules)
    bad = [f"{u['serial']}: {why}" for u, why in zip(units, made.reasons, strict=True) if why]
    if bad:
        raise ValueError("; ".join(bad[:5]))
    place = {u["serial"]: i for i, u in enumerate(units)}
    tests = defaultdict(list)
    for row in table(folder, "commissioning"):
        if row["serial"] in place:
            tests[place[row["serial"]]].append(
                {k: number(v) for k, v in row.items() if k not in ("serial", "timestamp")}
            )
    nights, first, last = _nights(table(folder, "readings"), place)
    sites = Sites(
        np.array([u["float_switch"] == "1" for u in units]),
        np.array([number(u["meter_rollover_l"]) for u in units]),
        np.array([u["instrument_level"] == "C" for u in units]),
        at=np.array([(number(u["lat"]), number(u["lon"])) for u in units]),
    )
    shift = np.array([number(u["lon"]) / 15 - number(u["utc_offset_h"]) for u in units])
    since = np.array([day_number(u["commissioned_on"]) for u in units])
    level = [u["instrument_level"] for u in units]
    return JudgedFleet(list(place), level, made.fleet, sites, dict(tests), nights, first, last, shift, since)


def recorded(u, info):
    """A row of units.csv as chain.fleet_from_rows takes it."""
    kind = info[u["pump_type"]]
    age = (datetime(2023, 3, 1) - datetime.fromisoformat(u["commissioned_on"])).days / 365.25
    row = {
        "latitude_deg": number(u["lat"]), "longitude_deg": number(u["lon"]), "altitude_m": number(u["altitude_m"]),
        "tilt_deg": number(u["tilt_deg"]), "azimuth_deg": number(u["azimuth_deg"]), "module_type": u["module_type"],
        "modules_in_series": number(u["modules_in_series"]), "strings": number(u["strings"]), "age_y": max(age, 0.0),
        "cable_length_m": number(u["cable_length_m"]), "cable_area_mm2": number(u["cable_area_mm2"]),
        "coupling": "direct" if kind["coupling"] == "direct" else "tracking", "max_power_w":
        number(kind["max_power_w"]),
        "max_voltage_v": number(kind["max_voltage_v"]), "pump_type": u["pump_type"],
        "static_level_m": number(u["static_level_m"]), "specific_capacity_m3_h_m":
        number(u["specific_capacity_m3_h_m"]),
        "setting_depth_m": number(u["setting_depth_m"]), "tank_rise_m": number(u["tank_rise_m"]),
        "pipe_length_m": number(u["setting_depth_m"]) + number(u["pipe_run_m"]),
        "pipe_outside_mm": number(u["pipe_outside_mm"]), "pipe_wall_mm": number(u["pipe_wall_mm"]),
        "float_switch": u["float_switch"] == "1", "dry_run_probe": u["dry_run_probe"] == "1",
        "tank_capacity_l": 1000 * number(u["tank_m3"]), "need_l_day": 1000 * number(u["need_m3_day"]),
    }  # fmt: skip
    if kind["controller_efficiency"]:
        row["controller_efficiency"] = number(kind["controller_efficiency"])
    if kind["start_power_w"]:
        row["start_power_w"] = number(kind["start_power_w"])
    if u["test_head_m"]:
        row["test_points"] = [(number(u["test_head_m"]), number(u["test_power_w"]), number(u["test_flow_l_min"]))]
    return row


def _nights(readings, place):
    """Readings by local day: the last of equal day records stands, every meter total stays."""
    daily, totals = defaultdict(dict), defaultdict(list)
    for row in readings:
        unit = place.get(row["serial"])
        if unit is None:
            continue
        day = day_number(row["timestamp"])
        if row["kind"] == "meter":
            hour = int(row["timestamp"][11:13]) + int(row["timestamp"][14:16]) / 60
            totals[day].append((unit, hour, number(row["meter_total_l"]), number(row["tank_full_seen"])))
            continue
        kept = daily[day].setdefault(unit, np.full(6, np.nan))
        if row["kind"] == "daily":
            kept[0], kept[1] = number(row["volume_l"]), number(row["irradiation_kwh_m2"])
        else:
            names = ("irradiance_w_m2", "array_voltage_v", "array_current_a", "water_level_m")
            kept[2:] = [number(row[name]) for name in names]
    nights = {}
    days = sorted(set(daily) | set(totals))
    for day in days:
        u = np.array(sorted(daily.get(day, {})), int)
        values = np.array([daily[day][i] for i in u]).reshape(len(u), 6).T
        t = np.array(sorted(totals.get(day, []))).reshape(-1, 4).T
        nights[day] = (Days(u, *values), Totals(t[0].astype(int), *t[1:]))
    return nights, days[0], days[-1]
