"""Readings of a simulated fleet as people and loggers would leave them, with slips of the pen."""

import csv
import gzip

import numpy as np

from tests.makers import simulated_sky

HOURS = simulated_sky.QUARTERS
COLUMNS = ("serial", "timestamp", "kind", "meter_total_l", "volume_l", "irradiation_kwh_m2", "array_voltage_v",
           "array_current_a", "irradiance_w_m2", "water_level_m", "tank_full_seen")  # fmt: skip
MISTAKES = ("slip_of_ten", "digits_swapped", "wrong_serial", "readings_swapped", "duplicate", "missing_period")
ONE_IN = 30


def write_readings(folder, rng, units, made, start):
    """readings.csv.gz and mistakes_truth.csv of a fleet."""
    days = made.metered.shape[1]
    wrong, rows = [], []
    for u in range(units.n):
        rows += (_meter if units.level[u] == "A" else _logger)(rng, units, made, u, start, days, wrong)
    with gzip.open(folder / "readings.csv.gz", "wt", newline="", compresslevel=1) as file:
        out = csv.DictWriter(file, COLUMNS, restval="")
        out.writeheader()
        out.writerows(rows)
    with (folder / "mistakes_truth.csv").open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["serial", "date", "mistake", "detail"])
        out.writerows(wrong)


def _stamp(units, u, day, hour):
    zone = units.climates[units.region[u]].utc_offset_h
    minutes = int(round(hour * 60))
    return f"{day}T{minutes // 60:02d}:{minutes % 60:02d}:00{zone:+03.0f}:{int(zone % 1 * 60):02d}"


def _meter(rng, units, made, u, start, days, wrong):
    """Running totals every one to five weeks, the tank seen full or not or not looked at."""
    serial, rollover = units.rows[u]["serial"], units.rows[u]["meter_rollover_l"]
    rhythm = float(rng.choice([7, 14, 30]))
    day, rows = units.begins[u] + int(rng.integers(0, 4)), []
    total = rng.uniform(0, 0.9) * rollover if units.begins[u] == 0 else 0.0
    before = np.cumsum(made.metered[u]) - made.metered[u]
    shift = units.lon[u] / 15 - units.climates[units.region[u]].utc_offset_h
    looks = rng.random() < 0.7
    while day < days:
        hour = float(np.clip(rng.normal(11, 2.5), 6.5, 17.5))
        done = hour + shift >= HOURS + 0.125
        litres = int((total + before[day] + made.quarters[u, day][done].sum()) % rollover)
        # who lives there says whether it was full today or yesterday
        now = int(np.clip(done.sum(), 0, HOURS.size - 1))
        full = made.shut[u, day][: now + 1].any() or made.shut[u, max(day - 1, 0)].any()
        tick = int(full) if looks and rng.random() < 0.9 else ""
        rows.append({"serial": serial, "timestamp": _stamp(units, u, start + day, hour), "kind": "meter",
                     "meter_total_l": litres, "tank_full_seen": tick})  # fmt: skip
        day += max(int(round(rhythm + rng.normal(0, 0.08 * rhythm))), 3)
    return _slips(rng, units, u, rows, wrong)


def _slips(rng, units, u, rows, wrong):
    out = []
    for k, row in enumerate(rows):
        if k == 0 or rng.random() > 1 / ONE_IN:
            out.append(row)
            continue
        kind, text = str(rng.choice(MISTAKES)), str(row["meter_total_l"])
        changed = dict(row)
        match kind:
            case "slip_of_ten":
                total = row["meter_total_l"]
                changed["meter_total_l"] = total * 10 if rng.random() < 0.5 else total // 10
            case "digits_swapped":
                at = int(rng.integers(0, max(len(text) - 1, 1)))
                swapped = list(text)
                swapped[at : at + 2] = swapped[at : at + 2][::-1]
                changed["meter_total_l"] = int("".join(swapped))
                if changed["meter_total_l"] == row["meter_total_l"]:
                    out.append(row)
                    continue
            case "wrong_serial":
                changed["serial"] = f"V{90000 + u}"
            case "readings_swapped":
                changed["meter_total_l"] = int(rng.uniform(0, units.rows[u]["meter_rollover_l"]))
            case "duplicate":
                out.append(row)
            case "missing_period":
                wrong.append([row["serial"], row["timestamp"][:10], kind, ""])
                continue
        wrong.append([row["serial"], row["timestamp"][:10], kind, ""])
        out.append(changed)
    return out


def _logger(rng, units, made, u, start, days, wrong):
    """A volume a day; at level C the cell's day and the quarter hour at solar noon besides."""
    serial, has_noon, rows = units.rows[u]["serial"], units.level[u] == "C", []
    silent, step = 0, 10.0
    shift = units.lon[u] / 15 - units.climates[units.region[u]].utc_offset_h
    for day in range(units.begins[u], days):
        silent = int(rng.integers(2, 12)) if rng.random() < 0.004 else silent - 1
        if silent > 0 or rng.random() < 0.02:
            continue
        litres = round(made.metered[u, day] / step) * step
        row = {"serial": serial, "timestamp": _stamp(units, u, start + day, 23.75), "kind": "daily", "volume_l": litres}
        if rng.random() < 0.002:
            row["volume_l"] = litres * 10 if rng.random() < 0.5 else litres / 10
            wrong.append([serial, str(start + day), "slip_of_ten", ""])
        if has_noon:
            row["irradiation_kwh_m2"] = f"{made.cell_kwh[u, day] * np.exp(rng.normal(0, 0.006)):.3f}"
            rows.append({
                "serial": serial, "timestamp": _stamp(units, u, start + day, 12 - shift), "kind": "noon",
                "array_voltage_v": f"{made.noon_v[u, day] * np.exp(rng.normal(0, 0.007)):.2f}",
                "array_current_a": f"{max(made.noon_a[u, day] * np.exp(rng.normal(0, 0.015)), 0):.2f}",
                "irradiance_w_m2": f"{made.noon_w[u, day]:.0f}",
                "water_level_m": f"{made.noon_level[u, day] + rng.normal(0, 0.03):.2f}",
            })  # fmt: skip
        rows.append(row)
    return rows
