"""Writes down what the demo's lives showed, through the same services that keep anybody's readings."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from fleet.desk.demo.build import ZONE
from fleet.desk.demo.lives import meter_rows, slips
from fleet.readings import services as readings
from fleet.readings.models import SpotTest
from sizing import chain

SLIPPED_UNITS = 4  # units whose caretaker once wrote a figure wrongly


def daily(installations, lives):
    """Daily volumes of the units that have a logger, with sun and noon figures where they have a cell."""
    for installation, life in zip(installations, lives):
        if installation.instrument_level == "meter":
            continue
        columns = {"volume_l": np.round(life.shown_l, 1)}
        if installation.instrument_level == "logger":
            columns |= {
                "irradiation_kwh_m2": np.round(life.irradiation, 3),
                "noon_irradiance_w_m2": np.round(life.noon_irradiance),
                "noon_voltage_v": np.round(life.noon_voltage, 1),
                "noon_current_a": np.round(life.noon_current, 2),
                "noon_level_m": np.round(life.noon_level, 2),
            }
        readings.keep_days(
            installations=np.full(len(life.dates), installation.pk), days=np.array(life.dates, "datetime64[D]"),
            columns=columns,
        )  # fmt: skip


def meters(installations, lives):
    """Meter figures of the others, as the caretakers wrote them, slips included."""
    rng = np.random.default_rng(404)
    metered = [(i, life) for i, life in zip(installations, lives) if i.instrument_level == "meter"]
    clumsy = set(rng.choice(len(metered), size=min(SLIPPED_UNITS, len(metered)), replace=False).tolist())
    for place, (installation, life) in enumerate(metered):
        rows = meter_rows(rng, life, installation)
        if place in clumsy:
            slips(rows, rng, 2)
        readings.keep_meter_readings(
            installations=np.full(len(rows), installation.pk),
            epoch_s=np.array([at.timestamp() for at, _, _ in rows]),
            days=np.array([at.date() for at, _, _ in rows], "datetime64[D]"),
            totals=np.array([total for _, total, _ in rows], float),
            tank_full=np.array([-1 if full is None else int(full) for _, _, full in rows]),
            source="caretaker's book",
        )


def spot_tests(installations, fleet, person, last_day):
    """Commissioning: two suns a unit, by reference cell, bucket and stopwatch."""
    rng = np.random.default_rng(90)
    zone = ZoneInfo(ZONE)
    suns = [520.0, 880.0]
    answers = [chain.spot(fleet, np.full(len(installations), sun), np.full(len(installations), 27.0)) for sun in suns]
    tests = []
    for k, installation in enumerate(installations):
        health = installation.demo_health
        for turn, (sun, answer) in enumerate(zip(suns, answers)):
            day = installation.commissioned_on
            at = datetime(day.year, day.month, day.day, 10 + 2 * turn, 20, tzinfo=zone)
            flow = float(answer.flow_l_min[k]) * health
            if not np.isfinite(flow) or flow <= 0.2:
                continue
            tests.append(one_test(rng, installation, at, "commissioning", sun, flow, answer, k, person))
    SpotTest.objects.bulk_create(tests)


def one_test(rng, installation, at, kind, sun, flow_l_min, answer, k, person):
    """A spot test with three bucket fills and the noise that instruments have."""
    litres = 20.0
    repeats = [
        {"litres": litres, "seconds": round(60 * litres / (flow_l_min * (1 + 0.015 * rng.standard_normal())), 1)}
        for _ in range(3)
    ]
    level = float(answer.pumping_level_m[k])
    return SpotTest(
        installation=installation, at=at, kind=kind, sun_by="reference_cell",
        irradiance_w_m2=round(sun * (1 + 0.02 * rng.standard_normal())), air_c=27,
        array_voltage_v=round(float(answer.array_voltage_v[k]) * (1 + 0.008 * rng.standard_normal()), 1),
        array_current_a=round(float(answer.array_current_a[k]) * (1 + 0.015 * rng.standard_normal()), 2),
        flow_by="bucket", flow_l_min=round(readings.flow_of(repeats), 2), repeats=repeats,
        static_level_m=round(level - float(answer.drawdown_m[k]), 2), pumping_level_m=round(level, 2),
        first_water_min=round(float(rng.uniform(1.5, 6)), 1) if kind == "commissioning" else None,
        insulation_mohm=round(float(rng.uniform(15, 180)), 1), taken_by=person,
    )  # fmt: skip
