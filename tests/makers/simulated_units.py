"""Units of a simulated fleet: as recorded (rows of files) and as really built (a chain.Fleet with other values)."""

from dataclasses import dataclass

import numpy as np

from sizing import chain
from sizing.head import pipe_volume_l
from tests.makers import sample_fleet, simulated_sky

PLACES = (  # latitude, longitude, hours from UTC: real land, nothing else
    (9.6, 2.6, 1.0), (-9.2, 33.1, 3.0), (13.9, -13.2, 0.0), (-16.6, 26.3, 2.0), (7.4, 38.1, 3.0),
    (22.8, 77.4, 5.5), (-19.9, 16.2, 2.0), (10.9, 14.1, 1.0),
)  # fmt: skip
HEAD = {"type-D1": (12, 45), "type-D2": (12, 50), "type-D3": (20, 65), "type-H1": (20, 80), "type-H2": (40, 130),
        "type-C1": (6, 24), "type-C2": (4, 14)}  # fmt: skip
POWER = {"type-D1": 95, "type-D2": 150, "type-D3": 260, "type-H1": 560, "type-H2": 980, "type-C1": 330, "type-C2": 220}
DRY_SEASON_M = 3.0  # deeper than when it was hung (a judgement)
PIPES = ((20, 2.0), (25, 2.3), (32, 3.0), (40, 3.7))


@dataclass
class Units:
    """n units. rows: as in units.csv; true: as built; the other arrays (n,) are what the files do not say."""

    rows: list
    true: chain.Fleet
    climates: list
    region: np.ndarray
    lat: np.ndarray
    lon: np.ndarray
    level: np.ndarray
    floats: np.ndarray
    tank_l: np.ndarray
    true_need_l: np.ndarray
    true_static: np.ndarray
    true_tilt: np.ndarray
    true_azimuth: np.ndarray
    own_factor: np.ndarray
    meter_gain: np.ndarray
    meter_starts: np.ndarray
    cell_gain: np.ndarray
    cell_share: np.ndarray
    test_cell: np.ndarray
    main_l: np.ndarray
    drains: np.ndarray
    begins: np.ndarray  # day of the first record
    halted_until: np.ndarray = None  # hour until which somebody has it switched off

    @property
    def n(self):
        return len(self.rows)


def a_fleet(rng, n, days, start):
    """Units of a fleet scattered over some regions, some of them commissioned while the records run."""
    places = rng.permutation(len(PLACES))[: max(2, min(4, n // 30))]
    climates = [simulated_sky.a_climate(rng, PLACES[p]) for p in places]
    region = np.sort(rng.integers(0, len(climates), n))
    lat, lon, cluster = np.zeros(n), np.zeros(n), np.zeros(n, int)
    for r, c in enumerate(climates):
        mine = np.flatnonzero(region == r)
        seats = rng.uniform(-0.9, 0.9, (max(len(mine) // 8, 1), 2))
        seat = rng.integers(0, len(seats), len(mine))
        lat[mine] = c.latitude_deg + seats[seat, 0] + rng.normal(0, 0.06, len(mine))
        lon[mine] = c.longitude_deg + seats[seat, 1] + rng.normal(0, 0.06, len(mine))
        cluster[mine] = 100 * r + seat
    level = rng.choice(list("ABC"), n, p=[0.5, 0.28, 0.22])
    types = rng.choice(list(HEAD), n)
    curves, modules = sample_fleet.pumps(), sample_fleet.modules()
    info = {t["type"]: t for t in sample_fleet.table("pump_type_info")}
    fresh = rng.random(n) < 0.15
    begins = np.where(fresh, rng.integers(15, max(days // 2, 16), n), 0)
    age = np.where(fresh, 1, rng.integers(60, 1500, n))
    rows, built = [], []
    for u in range(n):
        for _ in range(8):  # until it lifts in half a sun: others would not have been installed
            recorded, true = _one(rng, u, types[u], info[types[u]], modules, climates[region[u]], lat[u], lon[u])
            if _lifts(true, curves, modules):
                break
        since = start + int(begins[u]) - int(age[u])
        recorded |= {
            "region": f"Region {region[u] + 1}", "cluster": f"K{cluster[u]:03d}", "instrument_level": level[u],
            "commissioned_on": str(since), "static_measured_on": str(since),
        }  # fmt: skip
        true["age_y"] = age[u] / 365.25
        rows.append(recorded)
        built.append(true)
    read = chain.fleet_from_rows(built, curves, modules)
    bad = [r for r in read.reasons if r]
    if bad:
        raise ValueError(bad[0])
    fleet = read.fleet
    static = np.array([t["static_level_m"] for t in built])
    lifts = np.array([t["pipe_length_m"] for t in built])
    units = Units(
        rows, fleet, climates, region, lat, lon, level,
        floats=rng.random(n) < 0.4, tank_l=np.zeros(n), true_need_l=np.zeros(n), true_static=static,
        true_tilt=fleet.tilt_deg, true_azimuth=fleet.azimuth_deg, own_factor=np.exp(rng.normal(-0.03, 0.05, n)),
        meter_gain=np.exp(rng.normal(0, 0.025, n)), meter_starts=rng.uniform(0.2, 1.2, n),
        cell_gain=np.exp(rng.normal(0, 0.03, n)), cell_share=rng.uniform(0.3, 0.8, n),
        test_cell=np.exp(rng.normal(0, 0.03, n)), main_l=pipe_volume_l(lifts, fleet.pipe_inside_mm),
        drains=rng.random(n) < 0.2, begins=begins,
    )  # fmt: skip
    _needs(rng, units)
    return units


def _lifts(true, curves, modules):
    """Whether half a sun already gives a fair share of what a full one does, also where the water stands some metres
    deeper: who chooses a pump looks at the dry season, too."""
    one = chain.fleet_from_rows([true | {"age_y": 1.0}], curves, modules).fleet
    sun = np.array([[450.0, 950.0]])
    half, full = np.nan_to_num(chain.spot(one, sun, 32.0).flow_l_min[0])
    dry = np.nan_to_num(chain.spot(one, sun, 32.0, true["static_level_m"] + DRY_SEASON_M).flow_l_min[0])
    return full > 1.0 and half > 0.25 * full and dry[1] > 0.75 * full and dry[0] > 0.6 * half


def _one(rng, u, kind, info, modules, climate, lat, lon):
    """(row as recorded, row as built) of one unit."""
    low, high = HEAD[kind]
    static = rng.uniform(0.75 * low, 0.8 * high)
    need_w = POWER[kind] * rng.uniform(1.15, 1.7)
    names = [m for m in modules if modules[m]["p_stc_w"] * 8 > need_w] or list(modules)
    module = str(rng.choice(names))
    sheet = modules[module]
    volts = sheet["v_mp_v"] if info["coupling"] == "direct" else 1.1 * sheet["v_oc_v"]
    most = max(int(float(info["max_voltage_v"]) / volts), 1)
    count = max(int(round(need_w / sheet["p_stc_w"])), 1)
    series = min(count, most)
    strings = max(int(round(count / series)), 1)
    outside, wall = PIPES[int(np.clip(rng.integers(0, 2) + (kind[5] in "HC") + (kind[5] == "C"), 0, 3))]
    capacity = rng.uniform(0.4, 2.5) * (2.5 if kind[5] == "C" else 1.0)
    setting = min(static + rng.uniform(6, 14), static + 0.4 * high + 4)
    tilt = float(max(rng.integers(2, 6) * 5, 10))
    facing = 180.0 if lat > 0 else 0.0
    run = rng.integers(4, 80)
    cable, area = setting + rng.integers(8, 20), float(rng.choice([2.5, 4.0, 6.0, 10.0]))
    rise = rng.uniform(3, 8)
    recorded = {
        "serial": f"V{10000 + u}", "region": "", "cluster": "", "instrument_level": "", "lat": f"{lat:.5f}",
        "lon": f"{lon:.5f}", "altitude_m": int(rng.uniform(100, 1200)), "utc_offset_h": climate.utc_offset_h,
        "commissioned_on": "", "pump_type": kind, "module_type": module, "modules_in_series": series,
        "strings": strings, "tilt_deg": tilt, "azimuth_deg": facing, "static_level_m": f"{static:.1f}",
        "static_measured_on": "", "specific_capacity_m3_h_m": f"{capacity:.2f}", "well_kind": "drilled",
        "well_diameter_m": 0.13, "setting_depth_m": f"{setting:.1f}", "tank_rise_m": f"{rise:.1f}",
        "pipe_run_m": run, "pipe_outside_mm": outside, "pipe_wall_mm": wall, "cable_length_m": f"{cable:.1f}",
        "cable_area_mm2": area, "float_switch": 0, "dry_run_probe": 1, "tank_m3": "", "need_m3_day": "",
        "people_served": int(rng.uniform(60, 500)), "meter_rollover_l": int(rng.choice([10**6, 10**7, 10**8])),
        "test_head_m": "", "test_power_w": "", "test_flow_l_min": "",
    }  # fmt: skip
    direct = info["coupling"] == "direct"
    true = {
        "pump_type": kind, "module_type": module, "coupling": "direct" if direct else "tracking",
        "controller_efficiency": 1.0 if direct else float(info["controller_efficiency"]) * rng.uniform(0.985, 1.0),
        "start_power_w": 0.0 if direct else float(info["start_power_w"]) * rng.uniform(0.8, 1.3),
        "max_power_w": float(info["max_power_w"]), "max_voltage_v": float(info["max_voltage_v"]),
        "latitude_deg": lat, "longitude_deg": lon, "altitude_m": recorded["altitude_m"],
        "modules_in_series": series, "strings": strings, "tilt_deg": float(np.clip(tilt + rng.normal(0, 2), 2, 40)),
        "azimuth_deg": (facing + rng.normal(0, 7)) % 360,
        "static_level_m": max(static * (1 + rng.normal(0.01, 0.035)), 1.0),
        "specific_capacity_m3_h_m": capacity * np.exp(rng.normal(-0.05, 0.25)),
        "setting_depth_m": setting + 2.5, "tank_rise_m": rise + rng.normal(0, 0.4),
        "pipe_length_m": setting + run * rng.uniform(0.9, 1.2), "pipe_outside_mm": outside, "pipe_wall_mm": wall,
        "cable_length_m": cable * rng.uniform(0.95, 1.1), "cable_area_mm2": area, "soiling_fraction": 0.0,
        "mismatch_fraction": rng.uniform(0.02, 0.08), "ageing_fraction_y": rng.uniform(0.003, 0.01),
        "fittings_k": rng.uniform(4, 14),
    }  # fmt: skip
    return recorded, true


def _needs(rng, units):
    """Needs, tanks and test points that go with what each unit gives on a good day."""
    hours = simulated_sky.QUARTERS
    sun = np.maximum(950 * np.sin(np.pi * (hours - 6) / 12), 0)[None, :] * np.ones((units.n, 1))
    at = chain.spot(units.true, sun, 32.0, units.true_static[:, None] * np.ones_like(sun))
    good = 15 * np.nan_to_num(at.flow_l_min).sum(axis=1)
    share = np.where(units.floats, rng.uniform(0.45, 1.15, units.n), rng.uniform(0.6, 1.2, units.n))
    units.true_need_l = np.maximum(good * share, 100)
    units.tank_l = units.true_need_l * rng.uniform(0.6, 2.2, units.n)
    for u, row in enumerate(units.rows):
        row["float_switch"] = int(units.floats[u])
        row["tank_m3"] = f"{units.tank_l[u] / 1000:.1f}"
        row["need_m3_day"] = f"{units.true_need_l[u] * np.exp(rng.normal(0, 0.15)) / 1000:.2f}"
