"""Catalogue, places, units and installations for tests: each maker gives a sound row of its own; say only what matters.

The land is real (western Kenya's dry north, coordinates only), everything that stands on it is invented.
"""

from datetime import UTC, date, datetime
from itertools import count

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from fleet.registry.models import (
    Cable,
    District,
    Installation,
    ModuleType,
    Pipe,
    PumpPoint,
    PumpType,
    Site,
    StaticLevel,
    Tank,
    Unit,
    UnitPoint,
    Well,
)
from tests.makers.people import an_organisation

_numbers = count(1)
START = datetime(2024, 3, 1, 9, 0, tzinfo=UTC)


def a_district(organisation=None, **changes):
    known = {"name": f"District {next(_numbers)}", "organisation": organisation or an_organisation()}
    return District.objects.create(**known | changes)


def a_site(organisation=None, **changes):
    """A site near 3.1 N, 35.6 E, with a caretaker, 250 people and a need of 5 m³ a day."""
    number = next(_numbers)
    district = changes.pop("district", None) or a_district(organisation)
    known = {
        "organisation": district.organisation,
        "district": district,
        "code": f"S-{number:04}",
        "name": f"Lokesheni {number}",
        "village": f"Nakwara {number}",
        "latitude_deg": 3.1 + (number % 50) * 0.01,
        "longitude_deg": 35.6 + (number % 30) * 0.01,
        "altitude_m": 620,
        "zone": "Africa/Nairobi",
        "caretaker_name": f"Ekal Lomeri {number}",
        "caretaker_phone": f"+2547000{number:05}",
        "people_served": 250,
        "need_m3_day": [5.0] * 12,
    }
    return Site.objects.create(**known | changes)


def a_static_level(well, level_m=22.0, measured_on=date(2024, 2, 20), **changes):
    return StaticLevel.objects.create(well=well, level_m=level_m, measured_on=measured_on, **changes)


def a_tank(well, **changes):
    known = {"rise_m": 5.0, "pipe_run_m": 20.0, "capacity_m3": 10.0, "float_switch": True}
    return Tank.objects.create(well=well, **known | changes)


def a_well(site=None, *, organisation=None, level_m=22.0, tank=True, **changes):
    """A drilled well of 150 mm and 60 m, static level 22 m (`level_m=None`: not measured), a tank 5 m up."""
    site = site or a_site(organisation)
    known = {
        "name": str(site.wells.count() + 1),
        "kind": Well.Kind.DRILLED,
        "inside_diameter_mm": 150,
        "depth_m": 60,
        "specific_capacity_m3_h_m": 0.6,
    }
    well = Well.objects.create(site=site, **known | changes)
    if level_m is not None:
        a_static_level(well, level_m)
    if tank:
        a_tank(well)
    return well


def sheet_points(heads=(10, 20, 30, 45, 60), powers=(60, 120, 200, 300, 420), efficiency=0.42, most_l_min=28):
    """Points of a plain positive displacement pump: hydraulic power is a share of what is above idling."""
    for head in heads:
        for power in powers:
            flow = 60 * efficiency * max(0.0, power - 12 - 0.6 * head) / (9.81 * head)
            yield head, power, round(min(flow, most_l_min * power / (power + 60)), 2)


def a_pump_type(organisation=None, *, points=True, **changes):
    """A helical pump through a tracking controller, up to 80 m and 450 W, with 25 points of its test sheet."""
    known = {
        "organisation": organisation or an_organisation(),
        "name": f"Brook {next(_numbers)}",
        "kind": PumpType.Kind.HELICAL,
        "coupling": PumpType.Coupling.TRACKING,
        "outside_diameter_mm": 98,
        "min_voltage_v": 24,
        "max_voltage_v": 100,
        "max_power_w": 450,
        "max_head_m": 80,
        "controller_efficiency": 0.95,
        "start_power_w": 15,
    }
    made = PumpType.objects.create(**known | changes)
    if points:
        sheet = sheet_points() if points is True else points
        PumpPoint.objects.bulk_create(
            [PumpPoint(pump_type=made, head_m=h, power_w=p, flow_l_min=q) for h, p, q in sheet]
        )
    return made


def a_module_type(organisation=None, **changes):
    """A 36-cell module of 150 W."""
    known = {
        "organisation": organisation or an_organisation(),
        "name": f"Plain 150-{next(_numbers)}",
        "cells": 36,
        "p_stc_w": 150,
        "v_mp_v": 18.2,
        "i_mp_a": 8.24,
        "v_oc_v": 22.5,
        "i_sc_a": 8.79,
        "alpha_isc_pct_k": 0.06,
        "beta_voc_pct_k": -0.33,
        "gamma_p_pct_k": -0.41,
        "noct_c": 46,
    }
    return ModuleType.objects.create(**known | changes)


def a_pipe(organisation=None, **changes):
    known = {
        "organisation": organisation or an_organisation(),
        "name": f"PE 32 x 3.0 no {next(_numbers)}",
        "outside_mm": 32,
        "wall_mm": 3.0,
        "pressure_bar": 16,
    }
    return Pipe.objects.create(**known | changes)


def a_cable(organisation=None, **changes):
    known = {
        "organisation": organisation or an_organisation(),
        "name": f"2 x 4 mm² no {next(_numbers)}",
        "area_mm2": 4,
        "conductor_class": 5,
    }
    return Cable.objects.create(**known | changes)


def a_unit(organisation=None, *, points=(), **changes):
    """A unit in store; `points` are (head m, power W, flow L/min) of its own test sheet."""
    number = next(_numbers)
    if "pump_type" not in changes:
        changes["pump_type"] = a_pump_type(organisation)
    known = {"organisation": changes["pump_type"].organisation, "serial": f"RM{number:05}", "batch": "A1"}
    unit = Unit.objects.create(**known | changes)
    UnitPoint.objects.bulk_create([UnitPoint(unit=unit, head_m=h, power_w=p, flow_l_min=q) for h, p, q in points])
    return unit


def a_period(start=START, end=None):
    return DateTimeTZRange(start, end, "[)")


def an_installation(organisation=None, *, unit=None, well=None, start=START, end=None, **changes):
    """A unit hanging in a well since 1 March 2024 (`start`), three modules facing the equator, all in order."""
    given = unit or well
    organisation = organisation or (
        (unit.organisation if unit else well.site.organisation) if given else an_organisation()
    )
    well = well or a_well(organisation=organisation)
    unit = unit or a_unit(organisation, status=Unit.Status.INSTALLED if end is None else Unit.Status.STORED)
    if end is None and unit.status != Unit.Status.INSTALLED:
        unit.status = Unit.Status.INSTALLED
        unit.save(update_fields=["status"])
    known = {
        "organisation": organisation,
        "unit": unit,
        "well": well,
        "period": a_period(start, end),
        "modules_in_series": 3,
        "strings": 1,
        "tilt_deg": 15,
        "azimuth_deg": 180,
        "mounting_height_m": 3.0,
        "pipe_length_m": 41,
        "rope_length_m": 43,
        "cable_length_m": 48,
        "setting_depth_m": 40,
        "controller": "plain tracker",
        "controller_max_voltage_v": 100,
        "installer": "Team North",
        "commissioned_on": start.date(),
    }
    # What hangs with the unit is made only when it is not given, so that a test pays for what it uses.
    for name, maker in (("module_type", a_module_type), ("pipe", a_pipe), ("cable", a_cable)):
        if name not in changes:
            changes[name] = maker(organisation)
    return Installation.objects.create(**known | changes)


def side_by_side(organisation, count, *, float_switch=False, **changes):
    """Installations of one pump type and one module type, a kilometre apart, each on its own site and well."""
    kind, module, made = a_pump_type(organisation), a_module_type(organisation), []
    for n in range(count):
        well = a_well(a_site(organisation, latitude_deg=3.1 + n * 0.01, longitude_deg=35.6))
        well.tank.float_switch = float_switch
        well.tank.save()
        unit = a_unit(organisation, pump_type=kind)
        made.append(an_installation(unit=unit, well=well, module_type=module, **changes))
    return made
