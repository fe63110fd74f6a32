"""Days on which a full tank or a dry well, not the unit, set what came: told apart from a unit that is down."""

from datetime import date, timedelta

import numpy as np
import pytest

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation, Shortfall
from fleet.readings.services import keep_days
from fleet.reports.models import InstallationMonth
from fleet.reports.services import refresh_months
from sizing import chain
from tests.makers.registry import side_by_side

pytestmark = pytest.mark.django_db
FIRST, DAYS, NOON_W_M2 = date(2024, 3, 1), 60, 800.0
LAST = FIRST + timedelta(days=DAYS - 1)


def a_fleet(organisation, *, float_switch, count=3, **built):
    """Loggers with a cell, side by side."""
    return side_by_side(organisation, count, float_switch=float_switch, instrument_level="logger", **built)


def readings(installations):
    """{name of the day record: (n, days)} of sound units, each drawn from as much as it gives."""
    rng, fleet = np.random.default_rng(4), read_fleet([i.pk for i in installations], 2024).fleet
    shape = (len(installations), DAYS)
    sun = rng.uniform(4.5, 6.0, DAYS) * rng.normal(1, 0.02, shape)
    litres = np.stack([
        chain.expected_days(fleet, np.full(DAYS, n), 61 + np.arange(DAYS), sun[n]).volume_l for n in range(shape[0])
    ])  # fmt: skip
    month = np.array([(FIRST + timedelta(days=d)).month - 1 for d in range(DAYS)])
    noon = chain.spot(fleet, np.full(shape, NOON_W_M2), 30.0, fleet.static_level_m[:, month])
    return {
        "volume_l": litres * rng.normal(1, 0.02, shape),
        "irradiation_kwh_m2": sun,
        "noon_irradiance_w_m2": np.full(shape, NOON_W_M2),
        "noon_voltage_v": noon.array_voltage_v * rng.normal(1, 0.01, shape),
        "noon_current_a": noon.array_current_a * rng.normal(1, 0.02, shape),
        "noon_level_m": noon.pumping_level_m + rng.normal(0, 0.1, shape),
    }


def judge(installations, columns):
    when = np.datetime64(FIRST) + np.arange(DAYS)
    for n, installation in enumerate(installations):
        keep_days(installations=np.full(DAYS, installation.pk), days=when,
                  columns={name: values[n] for name, values in columns.items()})  # fmt: skip
    services.judge([i.pk for i in installations], LAST)


def marked(installation, word):
    return [e.day for e in Evaluation.objects.filter(installation=installation, **{word: True}).order_by("day")]


def some_days(*numbers):
    return [FIRST + timedelta(days=n) for n in numbers]


def stands_at_noon(columns, unit, days):
    columns["noon_current_a"][unit, days] = 0.0
    columns["noon_voltage_v"][unit, days] *= 1.15


def test_who_stands_at_noon_with_voltage_after_the_usual_draw_is_idle_and_with_little_water_is_not(organisation):
    units = a_fleet(organisation, float_switch=True)
    columns = readings(units)
    usual = 0.5 * columns["volume_l"].mean()
    for unit in units:
        unit.well.site.need_m3_day = [usual / 1000] * 12
        unit.well.site.save()
    columns["volume_l"] = usual * np.random.default_rng(1).normal(1, 0.05, columns["volume_l"].shape)
    columns["volume_l"][:2] *= 0.8  # too little for the day's figure alone to say that the tank was full
    days = [40, 45, 50]
    stands_at_noon(columns, 0, days)
    stands_at_noon(columns, 1, days)
    columns["volume_l"][1, days] = 0.2 * usual
    judge(units, columns)
    assert set(some_days(*days)) <= set(marked(units[0], "idle"))
    assert not set(some_days(*days)) & set(marked(units[1], "idle"))


def test_without_a_float_switch_nobody_says_that_it_stood_for_a_full_tank(organisation):
    units = a_fleet(organisation, float_switch=False)
    columns = readings(units)
    stands_at_noon(columns, 0, [40, 45, 50])
    judge(units, columns)
    assert marked(units[0], "idle") == []


def test_a_few_days_of_a_dry_well_raise_nothing_and_are_neither_down_nor_idle_but_disabled(organisation):
    units = a_fleet(organisation, float_switch=False)
    columns, dry = readings(units), [33, 41, 42, 52]  # of April
    columns["volume_l"][:2, dry] *= 0.05
    columns["noon_level_m"][0, dry] = units[0].setting_depth_m - 0.2
    judge(units, columns)
    assert not Shortfall.objects.filter(installation=units[0]).exists()
    assert marked(units[0], "dry") == some_days(*dry)
    assert marked(units[1], "dry") == []
    refresh_months(first=FIRST, through=LAST)
    april = {m.installation_id: m for m in InstallationMonth.objects.filter(month=date(2024, 4, 1))}
    counted = [(april[u.pk].days_disabled, april[u.pk].days_down, april[u.pk].days_idle) for u in units]
    assert counted == [(4, 0, 0), (0, 4, 0), (0, 0, 0)]


@pytest.mark.parametrize(("probe", "above_m", "counts"), [(False, 1.2, False), (True, 1.2, True), (True, 2.5, False)])
def test_a_dry_run_probe_hangs_above_the_pump(organisation, probe, above_m, counts):
    units = a_fleet(organisation, float_switch=False, count=2, dry_run_probe=probe)
    columns = readings(units)
    columns["volume_l"][0, 50] *= 0.3
    columns["noon_level_m"][0, 50] = units[0].setting_depth_m - above_m
    judge(units, columns)
    assert (marked(units[0], "dry") == some_days(50)) is counts


def test_full_output_with_the_water_at_the_pump_is_no_dry_well(organisation):
    units = a_fleet(organisation, float_switch=False, count=2)
    columns = readings(units)
    columns["noon_level_m"][0, 50] = units[0].setting_depth_m
    judge(units, columns)
    assert marked(units[0], "dry") == []


def test_a_well_that_is_dry_day_after_day_is_told_and_the_water_is_why(organisation):
    units = a_fleet(organisation, float_switch=False)
    columns = readings(units)
    columns["volume_l"][0, 40:] *= 0.45
    columns["noon_level_m"][0, 40:] = units[0].setting_depth_m - 0.2
    judge(units, columns)
    short = Shortfall.objects.get()
    assert (short.installation, short.state) == (units[0], "open")
    assert short.causes[0]["cause"] == "water_sinks"
    assert FIRST + timedelta(days=42) <= short.flagged_on <= FIRST + timedelta(days=54)
