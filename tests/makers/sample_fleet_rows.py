"""The sample fleet as rows of the registry and the readings, put there directly: for tests that begin behind import."""

import csv
import gzip
from collections import defaultdict
from datetime import UTC, date, datetime

import numpy as np
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from fleet.readings.hung import Hung
from fleet.readings.models import SpotTest
from fleet.readings.services import keep_days, keep_meter_readings
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
from tests.makers.sample_fleet import FOLDER, moment, number, table

ZONES = {0.0: "Africa/Abidjan", 1.0: "Africa/Lagos", 2.0: "Africa/Lusaka", 3.0: "Africa/Nairobi", 5.5: "Asia/Kolkata"}
ZONES |= {-7.0: "America/Phoenix", 5.0: "Asia/Karachi", -5.0: "America/Lima", 9.5: "Australia/Darwin"}


def _or_none(text):
    return float(text) if text else None


def sample_registry(organisation=None, folder=FOLDER, only=None):
    """Types, sites, wells, units and installations. `only`: these serials. Returns the organisation."""
    organisation = organisation or an_organisation(name="Sample fleet")
    types, modules = {}, {}
    for row in table("pump_type_info", folder):
        types[row["type"]] = PumpType.objects.create(
            organisation=organisation,
            name=row["type"],
            kind=row["kind"],
            coupling="direct" if row["coupling"] == "direct" else "tracking",
            outside_diameter_mm=number(row["outside_diameter_mm"]),
            max_voltage_v=number(row["max_voltage_v"]),
            max_power_w=number(row["max_power_w"]),
            max_head_m=number(row["max_head_m"]),
            controller_efficiency=_or_none(row["controller_efficiency"]),
            start_power_w=_or_none(row["start_power_w"]),
        )
    PumpPoint.objects.bulk_create(
        PumpPoint(
            pump_type=types[row["type"]],
            **{k: _or_none(row[k]) for k in ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")},
        )
        for row in table("pump_types", folder)
    )
    renamed = {"v_mp": "v_mp_v", "i_mp": "i_mp_a", "v_oc": "v_oc_v", "i_sc": "i_sc_a"}
    for row in table("module_types", folder):
        values = {renamed.get(k, k): float(v) for k, v in row.items() if k != "type"}
        modules[row["type"]] = ModuleType.objects.create(organisation=organisation, name=row["type"], **values)
    districts, pipes, cables = {}, {}, {}
    for row in table("units", folder):
        if only is not None and row["serial"] not in only:
            continue
        if row["region"] not in districts:
            districts[row["region"]] = District.objects.create(organisation=organisation, name=row["region"])
        size = (row["pipe_outside_mm"], row["pipe_wall_mm"])
        if size not in pipes:
            pipes[size] = Pipe.objects.create(
                organisation=organisation, name="PE {} x {}".format(*size), outside_mm=size[0], wall_mm=size[1]
            )
        area = row["cable_area_mm2"]
        if area not in cables:
            cables[area] = Cable.objects.create(
                organisation=organisation, name=f"{area} mm²", area_mm2=area, conductor_class=2
            )
        _one(organisation, row, districts[row["region"]], types, modules, pipes[size], cables[area])
    return organisation


def _one(organisation, row, district, types, modules, pipe, cable):
    site = Site.objects.create(
        organisation=organisation,
        code=row["serial"].replace("S", "P"),
        name=f"Place {row['serial']}",
        district=district,
        latitude_deg=row["lat"],
        longitude_deg=row["lon"],
        altitude_m=row["altitude_m"],
        zone=ZONES[float(row["utc_offset_h"])],
        people_served=int(row["people_served"]),
        need_m3_day=[float(row["need_m3_day"])] * 12,
    )
    well = Well.objects.create(
        site=site,
        kind="dug" if row["well_kind"] == "dug" else "drilled",
        inside_diameter_mm=1000 * float(row["well_diameter_m"]),
        specific_capacity_m3_h_m=row["specific_capacity_m3_h_m"],
    )
    StaticLevel.objects.create(
        well=well, measured_on=date.fromisoformat(row["static_measured_on"]), level_m=row["static_level_m"]
    )
    Tank.objects.create(
        well=well,
        rise_m=row["tank_rise_m"],
        pipe_run_m=row["pipe_run_m"],
        capacity_m3=row["tank_m3"],
        float_switch=row["float_switch"] == "1",
        fittings_k=8,
    )
    unit = Unit.objects.create(
        organisation=organisation, serial=row["serial"], pump_type=types[row["pump_type"]], status="installed"
    )
    if row["test_flow_l_min"]:
        values = {k: float(row[f"test_{k}"]) for k in ("head_m", "power_w", "flow_l_min")}
        UnitPoint.objects.create(unit=unit, **values)
    began = date.fromisoformat(row["commissioned_on"])
    Installation.objects.create(
        organisation=organisation,
        unit=unit,
        well=well,
        period=DateTimeTZRange(datetime(began.year, began.month, began.day, tzinfo=UTC), None, "[)"),
        module_type=modules[row["module_type"]],
        modules_in_series=row["modules_in_series"],
        strings=row["strings"],
        tilt_deg=row["tilt_deg"],
        azimuth_deg=row["azimuth_deg"],
        pipe=pipe,
        pipe_length_m=row["setting_depth_m"],
        cable=cable,
        cable_length_m=row["cable_length_m"],
        setting_depth_m=row["setting_depth_m"],
        dry_run_probe=row["dry_run_probe"] == "1",
        meter_rollover_l=_or_none(row["meter_rollover_l"]),
        instrument_level={"A": "meter", "B": "daily", "C": "logger"}[row["instrument_level"]],
        commissioned_on=began,
    )


def sample_readings(organisation, folder=FOLDER, only=None, until=None):
    """Commissioning tests, meter figures, daily volumes and noon readings; `until` a day (text) cuts the rest off."""
    hung = Hung(organisation)
    installations = {i.pk: i for i in Installation.objects.filter(organisation=organisation)}
    by_serial = {serial: installations[int(hung.ids[hung.first[n]])] for serial, n in hung.serials.items()}
    for row in table("commissioning", folder):
        installation = by_serial.get(row["serial"].lower())
        if installation is None or (only is not None and row["serial"] not in only):
            continue
        SpotTest.objects.create(
            installation=installation,
            kind="commissioning",
            at=moment(row["timestamp"]),
            sun_by="reference_cell",
            irradiance_w_m2=_or_none(row["irradiance_w_m2"]),
            air_c=_or_none(row["ambient_c"]),
            array_voltage_v=_or_none(row["array_voltage_v"]),
            array_current_a=_or_none(row["array_current_a"]),
            flow_l_min=_or_none(row["flow_l_min"]),
            repeats=[{"litres": float(row["bucket_l"]), "seconds": float(row["seconds"])}] if row["seconds"] else [],
            static_level_m=_or_none(row["static_level_m"]),
            pumping_level_m=_or_none(row["pumping_level_m"]),
            first_water_min=_or_none(row["minutes_to_first_water"]),
            insulation_mohm=_or_none(row["insulation_mohm"]),
        )
    kinds = defaultdict(list)
    with gzip.open(folder / "readings.csv.gz", "rt", newline="") as lines:
        for row in csv.DictReader(lines):
            installation = by_serial.get(row["serial"].lower())
            if installation is None or (only is not None and row["serial"] not in only):
                continue
            if until is None or row["timestamp"][:10] <= until:
                kinds[row["kind"]].append((installation.pk, row))
    for kind in ("daily", "noon"):
        rows = kinds[kind]
        if not rows:
            continue
        names = {"daily": {"volume_l": "volume_l", "irradiation_kwh_m2": "irradiation_kwh_m2"}}.get(kind) or {
            "noon_irradiance_w_m2": "irradiance_w_m2",
            "noon_voltage_v": "array_voltage_v",
            "noon_current_a": "array_current_a",
            "noon_level_m": "water_level_m",
        }
        keep_days(
            installations=[pk for pk, _row in rows],
            days=np.array([row["timestamp"][:10] for _pk, row in rows], dtype="datetime64[D]"),
            columns={name: [number(row[source]) for _pk, row in rows] for name, source in names.items()},
        )
    rows = kinds["meter"]
    if rows:
        keep_meter_readings(
            installations=[pk for pk, _row in rows],
            epoch_s=[moment(row["timestamp"]).timestamp() for _pk, row in rows],
            days=np.array([row["timestamp"][:10] for _pk, row in rows], dtype="datetime64[D]"),
            totals=[float(row["meter_total_l"]) for _pk, row in rows],
            tank_full=[int(row["tank_full_seen"]) if row["tank_full_seen"] else -1 for _pk, row in rows],
        )
    return by_serial
