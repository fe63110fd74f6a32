"""Small fleets of our own on the project's own chain, with noise that the judgement does not know: for tuning.

    python -m tests.makers.simulated_fleet FOLDER SEED [UNITS] [DAYS]

Writes the files that the sample fleet has (units, types, commissioning, readings, mistakes, truth) with the same
columns, so that `run_judged_fleet` and a scorer of such files take them. The machines follow the chain, with values
other than recorded; sky, dirt, wells, draw, instruments, slips of the pen and faults are made here. Types are those of
the sample fleet's sheets; places are real land; all figures are judgements, no source.
"""

import csv
import gzip
import shutil
import sys
from pathlib import Path

import numpy as np

from sizing import chain, sun
from sizing.chain.faults import Faults
from tests.makers import sample_fleet, simulated_sky
from tests.makers.simulated_faults import faults_of_day, planned
from tests.makers.simulated_readings import write_readings
from tests.makers.simulated_units import a_fleet

START = np.datetime64("2024-02-05")
HOURS = simulated_sky.QUARTERS
DRAW = np.interp(HOURS, [5, 6, 7.5, 9, 12, 15, 17, 18.5, 19], [0.3, 1, 2.2, 1.2, 0.7, 0.9, 2.2, 1.4, 0.4])
DRAW = 0.92 * DRAW / DRAW.sum()  # the rest is drawn by night, before the first of these quarters


class Tank:
    """Tanks with float switches, quarter by quarter; without a switch all water is taken."""

    def __init__(self, capacity, floats, rng):
        self.capacity, self.floats = np.maximum(capacity, 300.0), floats
        self.held = self.capacity * rng.uniform(0.3, 0.9, len(capacity))
        self.full = np.zeros(len(capacity), bool)

    def day(self, flow, draw):
        """Litres let in (n, quarters), minutes stopped (n,), full seen (n, quarters)."""
        self.held = np.maximum(self.held - 0.08 * draw, 0)
        let, shut = np.zeros_like(flow), np.zeros_like(flow, bool)
        for q in range(flow.shape[1]):
            self.full &= self.held > 0.9 * self.capacity
            water = 15 * flow[:, q]
            room = self.capacity - self.held + draw * DRAW[q]
            into = np.where(self.floats, np.where(self.full, 0.0, np.minimum(water, np.maximum(room, 0))), water)
            self.full |= self.floats & (into < water - 1e-6)
            self.held = np.clip(self.held + into - draw * DRAW[q], 0, self.capacity)
            let[:, q], shut[:, q] = into, self.full
        return let, 15.0 * (shut & (flow > 0)).sum(axis=1), shut


class Made:
    """What a simulated fleet did, day by day: arrays (n, days) and noon values (n, days)."""

    def __init__(self, n, days):
        for name in ("healthy", "actual", "metered", "level_kwh", "plane_kwh", "cell_kwh", "stopped_min", "dirt",
                     "noon_w", "noon_v", "noon_a", "noon_level", "draw"):  # fmt: skip
            setattr(self, name, np.zeros((n, days)))
        self.quarters = np.zeros((n, days, HOURS.size), np.float32)  # metered litres, for readings within a day
        self.shut = np.zeros((n, days, HOURS.size), bool)


def simulate(seed, n=240, days=400):
    """(units, plan of faults, Made) of a fleet; units as `simulated_units.a_fleet` gives them."""
    rng = np.random.default_rng(seed)
    units = a_fleet(rng, n, days, START)
    plan = planned(rng, units, days)
    made = Made(n, days)
    fields = np.zeros((n, days))
    for r in range(len(units.climates)):
        mine = np.flatnonzero(units.region == r)
        fields[mine] = simulated_sky.daily_fields(rng, units.lat[mine], units.lon[mine], days)
    tanks = [Tank(units.tank_l, units.floats, np.random.default_rng(seed + 1)) for _ in range(2)]
    weather = _Weather(rng, units, n)
    begins = np.array([p.onset if p is not None and p.ramp == 0 else -1 for p in plan])
    began_at = np.random.default_rng(seed + 3).uniform(5.0, 18.0, n)
    doy0 = int((START - START.astype("datetime64[Y]").astype("datetime64[D]")).astype(int)) + 1
    for d in range(days):
        doy = (doy0 + d - 1) % 365 + 1
        sky = weather.day(rng, units, fields[:, d], doy, d)
        sound = _produced(rng, units, sky, Faults(), sky["draw"], tanks[0], None)
        fault, extra = faults_of_day(rng, plan, units, d, sky)
        before = began_at[:, None] + np.where(begins == d, 0, -99)[:, None] > HOURS  # what comes at once has its hour
        ill = _produced(rng, units, sky | extra["sky"], fault, sky["draw"] * extra["draw"], tanks[1], extra["off"],
                        (before, sound))  # fmt: skip
        _keep(made, units, d, sky, sound, ill, extra, before)
    return units, plan, made


class _Weather:
    """Sky, air, dirt, well level and draw: what goes on whether a unit is well or not."""

    def __init__(self, rng, units, n):
        self.dirt = rng.uniform(0, 0.06, n)
        self.dust = rng.uniform(0.0005, 0.0045, n)  # a dry day
        self.washed = rng.choice([14, 21, 35, 60, 400], n)
        self.slow = np.zeros(n)
        self.reach = rng.uniform(0.2, 1.8, n)  # of the well's season, m either way: a metre or two is usual
        self.phase = rng.uniform(0, 365, len(units.climates))[units.region]
        self.drift = rng.normal(0.0, 0.3, n) / 365
        self.draw_slow = np.zeros(n)
        self.spread = rng.uniform(0.1, 0.35, n)
        self.season = rng.uniform(-0.25, 0.25, n)

    def day(self, rng, units, field, doy, d):
        n = units.n
        out = {name: np.zeros((n, HOURS.size)) for name in ("plane", "caught", "direct")}
        level_kwh, air, wet = np.zeros(n), np.zeros(n), np.zeros(n)
        for r, climate in enumerate(units.climates):
            mine = np.flatnonzero(units.region == r)
            sun = simulated_sky.sun_of_day(
                rng, climate, units.lat[mine], field[mine], doy, units.true_tilt[mine], units.true_azimuth[mine]
            )
            out["plane"][mine], out["caught"][mine], out["direct"][mine] = sun[1:]
            level_kwh[mine] = sun.level_kwh_m2
            wet[mine] = simulated_sky.wetness(climate, doy)
            season = 3.5 * np.cos(2 * np.pi * (doy - climate.wet_from - 300) / 365) * np.sign(climate.latitude_deg)
            air[mine] = climate.air_c + season + rng.normal(0, 1.2)
        self.dirt += self.dust * (1 - 0.7 * wet) * rng.uniform(0.3, 1.7, n)
        rain = rng.random(n) < 0.35 * wet * (field > 0.4) + 0.01
        self.dirt = np.where(rain, self.dirt * rng.uniform(0.1, 0.6, n), self.dirt)
        self.dirt = np.where((d + np.arange(n)) % self.washed == 0, 0.005, self.dirt)
        self.dirt = np.minimum(self.dirt, 0.16)
        self.slow = 0.97 * self.slow + 0.24 * 0.18 * rng.normal(size=n)
        well = self.reach * np.sin(2 * np.pi * (doy - self.phase) / 365) + self.drift * d + self.slow
        well = well * np.minimum(units.true_static / 8, 1.0)  # little water under little depth
        self.draw_slow = 0.985 * self.draw_slow + 0.17 * 0.14 * rng.normal(size=n)
        draw = units.true_need_l * np.exp(
            self.spread * rng.normal(size=n) - 0.5 * self.spread**2 + self.draw_slow + self.season * (1 - 2 * wet)
            - 0.25 * rain
        )  # fmt: skip
        profile = air[:, None] + 6.5 * np.sin(np.pi * (HOURS - 9) / 12)[None, :]
        return out | {"level_kwh": level_kwh, "air": profile, "dirt": self.dirt.copy(), "well": well, "draw": draw}


def _produced(rng, units, sky, faults, draw, tank, off, until=None):
    """Litres let in by quarter, and what a logger would see at noon; until: (quarters in which the unit is still sound,
    what it then gives)."""
    caught = sky["caught"] * (1 - sky["dirt"][:, None])
    level = np.maximum(units.true_static[:, None] + sky["well"][:, None], 0.5)
    at = chain.spot(units.true, caught, sky["air"], level, faults)
    flow = np.nan_to_num(np.maximum(at.flow_l_min, 0)) * units.own_factor[:, None]
    if off is not None:
        flow = flow * (1 - off)
    first = np.cumsum(flow * 15, axis=1) <= 0.6 * units.main_l[:, None]  # the empty main fills first
    flow = np.where(first & units.drains[:, None], 0.0, flow)
    if until is not None:
        flow = np.where(until[0], until[1][4], flow)
    let, stopped, shut = tank.day(flow, draw)
    q = int(np.argmin(np.abs(HOURS - 12.1)))
    runs = (let[:, q] > 0) | ((flow[:, q] > 0) & ~shut[:, q])
    noon_off = 0.0 if off is None else off[:, q]
    open_v = 0.83 * units.true.v_oc_v * units.true.modules_in_series
    noon = {
        "w": sky["plane"][:, q], "v": np.where(runs, np.nan_to_num(at.array_voltage_v[:, q]), open_v),
        "a": np.where(runs, np.nan_to_num(at.array_current_a[:, q]) * (1 - noon_off), 0.0),
        "level": np.where(
            runs, np.nan_to_num(at.pumping_level_m[:, q], nan=30.0), level[:, 0] + faults.static_level_drop_m
        ),
    }  # fmt: skip
    if until is not None:
        noon = {name: np.where(until[0][:, q], until[1][3][name], values) for name, values in noon.items()}
    return let, stopped, shut, noon, flow


def _keep(made, units, d, sky, sound, ill, extra, before):
    let, stopped, shut, noon, _flow = ill
    blind = np.where(let / 15 < units.meter_starts[:, None], 0.0, let)
    metered = blind * np.where(before, 1.0, extra["meter"][:, None]) * units.meter_gain[:, None]
    made.healthy[:, d], made.actual[:, d], made.metered[:, d] = sound[0].sum(axis=1), let.sum(axis=1), metered.sum(1)
    made.quarters[:, d], made.shut[:, d], made.stopped_min[:, d] = metered, shut, stopped
    made.level_kwh[:, d], made.plane_kwh[:, d] = sky["level_kwh"], sky["plane"].sum(axis=1) / 4000
    cell = 1 - units.cell_share * (sky["dirt"] + extra["dirt"])
    made.cell_kwh[:, d] = made.plane_kwh[:, d] * cell * units.cell_gain * extra["cell"]
    made.dirt[:, d], made.draw[:, d] = sky["dirt"], sky["draw"]
    made.noon_w[:, d] = noon["w"] * cell * units.cell_gain
    made.noon_v[:, d], made.noon_a[:, d], made.noon_level[:, d] = noon["v"], noon["a"], noon["level"]


def write(folder, seed, n=240, days=400):
    """A fleet's files. Returns (units, plan, Made)."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("pump_types", "pump_type_info", "module_types"):
        shutil.copy(sample_fleet.FOLDER / f"{name}.csv.gz", folder / f"{name}.csv.gz")
    units, plan, made = simulate(seed, n, days)
    rng = np.random.default_rng(seed + 7)
    _table(folder, "units", units.rows)
    _table(folder, "commissioning", commissioned(rng, units))
    write_readings(folder, rng, units, made, START)
    _table(folder, "climate", _climate(rng, units, made))
    _table(folder, "truth", _truth(units, plan, made, days))
    with gzip.open(folder / "truth_daily.csv.gz", "wt", newline="", compresslevel=1) as file:
        out = csv.writer(file)
        out.writerow(["serial", "date", "healthy_l", "actual_l", "apparent_l", "float_stop_min", "ghi_kwh_m2",
                      "poa_kwh_m2", "soiling"])  # fmt: skip
        for u, row in enumerate(units.rows):
            for d in range(units.begins[u], days):
                values = (made.healthy, made.actual, made.metered, made.stopped_min, made.level_kwh, made.plane_kwh)
                out.writerow([row["serial"], START + d, *(f"{v[u, d]:.4g}" for v in values), f"{made.dirt[u, d]:.4f}"])
    return units, plan, made


def _table(folder, name, rows):
    with (folder / f"{name}.csv").open("w", newline="") as file:
        out = csv.DictWriter(file, list(rows[0]))
        out.writeheader()
        out.writerows(rows)


def commissioned(rng, units):
    """Two or three spot tests of each unit on the day it was commissioned, a few of them slips."""
    rows, n = [], units.n
    level = np.maximum(units.true_static + 0.02 * units.true_static * rng.normal(size=n), 0.5)
    for k in range(3):
        sun = rng.uniform(350, 1050, n)
        air = rng.uniform(24, 36, n)
        at = chain.spot(units.true, sun[:, None], air[:, None], level[:, None])
        flow = np.nan_to_num(at.flow_l_min[:, 0]) * units.own_factor * np.exp(rng.normal(0, 0.02, n))
        read = sun * units.test_cell * np.exp(rng.normal(0, 0.015, n))
        slip = np.where(rng.random(n) < 0.025, rng.choice([0.1, 10.0, 0.5, 2.0], n), 1.0)
        for u in np.flatnonzero((flow > 0.3) & ((k < 2) | (rng.random(n) < 0.4))):
            volts, amps = at.array_voltage_v[u, 0], at.array_current_a[u, 0]
            rows.append({
                "serial": units.rows[u]["serial"],
                "timestamp": f"{units.rows[u]['commissioned_on']}T{9 + k}:30:00+00:00",
                "irradiance_w_m2": f"{read[u]:.0f}", "ambient_c": f"{air[u] + rng.normal(0, 1):.1f}",
                "array_voltage_v": f"{volts:.1f}", "array_current_a": f"{amps:.2f}",
                "flow_l_min": f"{flow[u] * slip[u]:.3g}", "bucket_l": 20.0,
                "seconds": f"{1200 / flow[u] / slip[u]:.1f}",
                "static_level_m": "" if k else f"{level[u]:.1f}", "pumping_level_m": f"{at.pumping_level_m[u, 0]:.1f}",
                "minutes_to_first_water": "", "insulation_mohm": "",
            })  # fmt: skip
    return sorted(rows, key=lambda r: (r["serial"], r["timestamp"]))


def _climate(rng, units, made):
    """Usual clearness by month as a table of the climate would give it: right within some per cent, a place alike."""
    days = START + np.arange(made.level_kwh.shape[1])
    month = days.astype("datetime64[M]").astype(int) % 12
    doy = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(int) + 1
    above = np.stack([sun.extraterrestrial_kwh_m2_day(units.lat, d) for d in doy], axis=1)
    clear = made.level_kwh / above
    wrong = np.exp(rng.normal(0, 0.03, (len(units.climates), 1)) + rng.normal(0, 0.03, (len(units.climates), 12)))
    whole = clear.mean()
    by_month = np.stack([clear[:, month == m].mean(axis=1) if (month == m).any() else np.full(units.n, whole)
                         for m in range(12)], axis=1)  # fmt: skip
    names = [f"clearness_{m + 1}" for m in range(12)]
    region = np.stack([by_month[units.region == r].mean(axis=0) for r in range(len(wrong))]) * wrong
    return [{"serial": row["serial"], **{k: f"{v:.3f}" for k, v in zip(names, region[units.region[u]], strict=True)}}
            for u, row in enumerate(units.rows)]  # fmt: skip


def _truth(units, plan, made, days):
    rows = []
    meter = np.array([p is not None and p.kind.startswith("meter") for p in plan])
    for u, row in enumerate(units.rows):
        p = plan[u]
        out = {
            "serial": row["serial"], "instrument_level": row["instrument_level"], "region": row["region"],
            "cluster": row["cluster"], "pump_type": row["pump_type"], "fault": "none" if p is None else p.kind,
            "is_fault": int(p is not None and p.kind != "lower_demand"), "onset_date": "", "onset_kind": "",
            "ramp_days": "", "severity_parameter": "", "effective_on": "", "lost_fraction_60d": "",
            "apparent_lost_60d": "", "obs_start": START + units.begins[u], "obs_end": START + days - 1,
            "float_stop_share": f"{np.mean(made.stopped_min[u] > 0):.3f}",
        }  # fmt: skip
        if p is not None:
            after = slice(p.onset, min(p.onset + 60, days))
            should = made.healthy[u, after].sum()
            lost = 1 - made.actual[u, after].sum() / max(should, 1.0)
            books = 1 - made.metered[u, after].sum() / units.meter_gain[u] / max(should, 1.0)
            shown = made.metered[u] / units.meter_gain[u] if meter[u] else made.actual[u]
            week = [d for d in range(p.onset, days) if shown[max(d - 6, p.onset) : d + 1].sum()
                    < 0.9 * made.healthy[u, max(d - 6, p.onset) : d + 1].sum()]  # fmt: skip
            out |= {
                "onset_date": START + p.onset, "onset_kind": "gradual" if p.ramp else "sudden", "ramp_days": p.ramp,
                "severity_parameter": f"{p.size:.4g}", "effective_on": START + week[0] if week else "",
                "lost_fraction_60d": f"{lost:.4f}", "apparent_lost_60d": f"{books if meter[u] else lost:.4f}",
            }  # fmt: skip
        rows.append(out)
    return rows


if __name__ == "__main__":
    given = sys.argv[1:]
    write(given[0], int(given[1]), *(int(x) for x in given[2:4]))
    print(f"{given[0]} written")
