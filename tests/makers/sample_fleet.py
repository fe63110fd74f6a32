"""The sample fleet under `tests/data/sample_fleet` as the engineering package takes it: rows, curves, modules."""

import csv
import gzip
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np

from sizing import chain
from sizing.pump import PumpCurve

FOLDER = Path(__file__).parents[1] / "data" / "sample_fleet"
MIDDLE = date(2023, 9, 15)  # middle of the recorded period: the age of the arrays is taken there


def table(name, folder=FOLDER):
    """Rows of one table as dictionaries of text. folder: another fleet of the same form."""
    packed = Path(folder) / f"{name}.csv.gz"
    if packed.exists():
        with gzip.open(packed, "rt", newline="") as lines:
            return list(csv.DictReader(lines))
    with (Path(folder) / f"{name}.csv").open(newline="") as lines:
        return list(csv.DictReader(lines))


def number(text):
    """A float, NaN for an empty cell."""
    return float(text) if text else np.nan


@lru_cache(maxsize=4)
def pumps(folder=FOLDER):
    """{type: PumpCurve}."""
    points, out = table("pump_types", folder), {}
    for info in table("pump_type_info", folder):
        own = [p for p in points if p["type"] == info["type"]]
        names = ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")
        columns = {name: [number(p[name]) for p in own] for name in names}
        out[info["type"]] = PumpCurve(info["kind"], **columns, name=info["type"])
    return out


def modules(folder=FOLDER):
    """{type: module values under the fleet record's names}."""
    renamed = {"v_mp": "v_mp_v", "i_mp": "i_mp_a", "v_oc": "v_oc_v", "i_sc": "i_sc_a"}
    return {
        m["type"]: {renamed.get(k, k): float(v) for k, v in m.items() if k != "type"}
        for m in table("module_types", folder)
    }


def rows(folder=FOLDER):
    """One dictionary an installation, ready for `chain.fleet_from_rows`; keys beyond the record's are left in."""
    info = {t["type"]: t for t in table("pump_type_info", folder)}
    out = []
    for unit in table("units", folder):
        kind = info[unit["pump_type"]]
        direct = kind["coupling"] == "direct"
        row = {
            "serial": unit["serial"],
            "instrument_level": unit["instrument_level"],
            "utc_offset_h": float(unit["utc_offset_h"]),
            "pump_type": unit["pump_type"],
            "module_type": unit["module_type"],
            "coupling": "direct" if direct else "tracking",
            "controller_efficiency": 1.0 if direct else float(kind["controller_efficiency"]),
            "start_power_w": 0.0 if direct else float(kind["start_power_w"]),
            "max_power_w": float(kind["max_power_w"]),
            "max_voltage_v": float(kind["max_voltage_v"]),
            "latitude_deg": float(unit["lat"]),
            "longitude_deg": float(unit["lon"]),
            "pipe_length_m": float(unit["pipe_run_m"]) + float(unit["setting_depth_m"]),
            "tank_capacity_l": 1000 * float(unit["tank_m3"]),
            "need_l_day": 1000 * float(unit["need_m3_day"]),
            "float_switch": unit["float_switch"] == "1",
            "dry_run_probe": unit["dry_run_probe"] == "1",
            "age_y": (MIDDLE - date.fromisoformat(unit["commissioned_on"])).days / 365.25,
        }
        same = (
            "altitude_m modules_in_series strings tilt_deg azimuth_deg static_level_m specific_capacity_m3_h_m "
            "setting_depth_m tank_rise_m pipe_outside_mm pipe_wall_mm cable_length_m cable_area_mm2"
        )
        row |= {name: float(unit[name]) for name in same.split()}
        if unit["test_flow_l_min"]:
            row["test_points"] = [tuple(float(unit[k]) for k in ("test_head_m", "test_power_w", "test_flow_l_min"))]
        out.append(row)
    return out


@lru_cache(maxsize=4)
def fleet(folder=FOLDER):
    """FleetRead of all installations."""
    return chain.fleet_from_rows(rows(folder), pumps(folder), modules(folder))


def moment(text):
    """A timestamp with its offset as an aware datetime."""
    return datetime.fromisoformat(text)
