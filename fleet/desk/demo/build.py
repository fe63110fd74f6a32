"""Rows of the registry for the demo: places, units, installations as they were hung."""

from datetime import UTC, datetime, timedelta

import numpy as np
from psycopg.types.range import TimestamptzRange

from fleet.desk.demo import catalogue, places
from fleet.people.models import Organisation, Person
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
)  # fmt: skip

ZONE = "Africa/Lusaka"
PASSWORD = "water-from-sun"  # noqa: S105 - the demo's, printed at every start
# type, modules in series, strings, module, static levels it suits (m), bore of the rising main
HUNG_AS = [
    ("Reed 210", 2, 1, "Sable 160", (4, 10), ("40 x 3.7", 32.6)),
    ("Reed 330", 2, 2, "Sable 85", (6, 15), ("40 x 3.7", 32.6)),
    ("Dew 45", 1, 1, "Sable 85", (15, 40), ("20 x 2.0", 16.0)),
    ("Dew 120", 3, 1, "Sable 85", (20, 60), ("25 x 2.3", 20.4)),
    ("Coil 500", 2, 2, "Sable 160", (25, 70), ("32 x 3.0", 26.0)),
    ("Coil 950", 3, 1, "Sable 350", (55, 110), ("32 x 3.0", 26.0)),
]
SHARE = [0.10, 0.17, 0.15, 0.20, 0.24, 0.14]


def organisation_and_people():
    organisation = Organisation.objects.create(
        name=places.ORGANISATION, is_demo=True, need_l_person_day=20, false_alarms_per_100_unit_years=10
    )
    people = {}
    for username, given, family, role in places.PEOPLE:
        person = Person(
            username=username, first_name=given, last_name=family, role=role, organisation=organisation, language="en"
        )
        person.set_password(PASSWORD)
        person.save()
        people[username] = person
    return organisation, people


def catalogue_rows(organisation):
    """Pump and module types, the pipes and cables that the demo hangs."""
    pumps, modules = {}, {}
    for entry in catalogue.PUMPS:
        plain = {k: v for k, v in entry.items() if k not in {"displacement", "turning", "heads", "powers", "max_flow"}}
        pump = PumpType.objects.create(organisation=organisation, currency="USD", maker="Fenwater", **plain)
        PumpPoint.objects.bulk_create(PumpPoint(pump_type=pump, **point) for point in catalogue.points(entry))
        pumps[entry["name"]] = pump
    for entry in catalogue.MODULES:
        modules[entry["name"]] = ModuleType.objects.create(
            organisation=organisation, currency="USD", maker="Brightleaf", **entry
        )
    pipes = {}
    for outside, wall in [(20, 2.0), (25, 2.3), (32, 3.0), (40, 3.7), (50, 4.6)]:
        pipes[f"{outside} x {wall}"], _ = Pipe.objects.get_or_create(
            organisation=organisation, name=f"PE 100 {outside} x {wall}",
            defaults={"outside_mm": outside, "wall_mm": wall, "pressure_bar": 16},
        )  # fmt: skip
    cables = {}
    for area in (2.5, 4, 6, 10):
        cables[area], _ = Cable.objects.get_or_create(
            organisation=organisation, name=f"Drop cable 2 x {area:g} mm²",
            defaults={"area_mm2": area, "conductor_class": 5},
        )  # fmt: skip
    return pumps, modules, pipes, cables


def _flow_at(entry, head_m, power_w):
    if "displacement" in entry:
        return catalogue._displacement_flow(entry["displacement"], head_m, power_w)
    return catalogue._turning_flow(entry["turning"], head_m, power_w)[0]


def fleet_rows(organisation, last_day):
    """All sites with their wells, tanks, units and installations. Returns the installations in order."""
    pumps, modules, pipes, cables = catalogue_rows(organisation)
    by_name = {entry["name"]: entry for entry in catalogue.PUMPS}
    names = iter(places.villages(sum(places.SITES_PER_DISTRICT)))
    installations = []
    for number, ((name, p_code, latitude, longitude, altitude), count) in enumerate(
        zip(places.DISTRICTS, places.SITES_PER_DISTRICT)
    ):
        district = District.objects.create(organisation=organisation, name=name, p_code=p_code)
        rng = np.random.default_rng(100 + number)
        for place in range(count):
            installations.append(
                _one_site(
                    rng, organisation, district, f"{p_code[:2]}{number + 1}{place + 1:02d}", next(names),
                    (latitude, longitude, altitude), last_day, pumps, modules, pipes, cables, by_name,
                )
            )  # fmt: skip
    return installations


def _one_site(rng, organisation, district, code, village, centre, last_day, pumps, modules, pipes, cables, by_name):
    latitude, longitude, altitude = centre
    pump_name, series, strings, module, (shallow, deep), (pipe_name, _) = HUNG_AS[rng.choice(6, p=SHARE)]
    level = float(rng.uniform(shallow, deep))
    rise = float(rng.uniform(3, 7))
    entry = by_name[pump_name]
    module_row = modules[module]
    # What it gives in a full hour of sun decides how many people it was built for.
    power = 0.8 * series * strings * module_row.p_stc_w * (entry.get("controller_efficiency") or 0.85)
    flow = min(_flow_at(entry, level + rise + 2, min(power, entry["max_power_w"])), entry["max_flow"])
    litres = flow * 60 * 5.2
    people = int(max(40, round(litres / 25 * rng.uniform(0.6, 1.1), -1)))
    need = [round(people * 20 / 1000 * (1.15 if month in (8, 9, 10) else 0.95), 2) for month in range(1, 13)]
    site = Site.objects.create(
        organisation=organisation, code=code, name=f"{village} {places.spot(rng)}", village=village,
        district=district, zone=ZONE,
        latitude_deg=round(latitude + float(rng.normal(0, 0.17)), 5),
        longitude_deg=round(longitude + float(rng.normal(0, 0.2)), 5),
        altitude_m=round(altitude + float(rng.normal(0, 40))),
        access_notes=str(rng.choice([
            "Graded road to the school, then 3 km of track. Two dry river crossings; closed after heavy rain.",
            "Tar to the junction, left at the mill. Gate is locked at night; ask at the first house.",
            "Track along the fence line. Soft sand after the second cattle gate, low gear.",
        ])),
        drive_minutes=int(rng.uniform(35, 210)), signal=str(rng.choice(["none", "weak on the hill", "good"])),
        caretaker_name=places.caretaker(rng),
        caretaker_phone=f"+000 55 {rng.integers(100, 999)} {rng.integers(1000, 9999)}",
        people_served=people, animals_served=int(rng.integers(0, 180)), need_m3_day=need,
    )  # fmt: skip
    dug = level < 9 and rng.random() < 0.5
    setting = level + float(rng.uniform(9, 16))
    well = Well.objects.create(
        site=site, name="1", kind="dug" if dug else "drilled", inside_diameter_mm=1200 if dug else 128,
        depth_m=round(setting + float(rng.uniform(4, 14)), 1), datum_above_ground_m=0.3,
        specific_capacity_m3_h_m=round(float(np.exp(rng.normal(0.0, 0.45))), 2), safe_yield_m3_h=None,
    )  # fmt: skip
    has_float = rng.random() < 0.45
    Tank.objects.create(
        well=well, rise_m=round(rise, 1), pipe_run_m=round(float(rng.uniform(5, 80))),
        capacity_m3=round(max(2.0, litres / 1000 * float(rng.uniform(1.0, 2.2)))), float_switch=has_float,
    )  # fmt: skip
    years = float(rng.uniform(2.1, 6.0))
    commissioned = last_day - timedelta(days=int(365 * years))
    for back in range(int(years * 2), -1, -1):
        month = 10 if back % 2 else 4  # end of the dry and of the wet season, every half year
        day = datetime(last_day.year - (back + 1) // 2, month, 12).date()
        if commissioned <= day <= last_day:
            swing = 0.6 if month == 10 else -0.6
            StaticLevel.objects.get_or_create(
                well=well, measured_on=day, defaults={"level_m": round(level + swing + float(rng.normal(0, 0.1)), 2)}
            )
    StaticLevel.objects.get_or_create(well=well, measured_on=commissioned, defaults={"level_m": round(level, 2)})
    batch = str(rng.choice(places.BATCHES))
    unit = Unit.objects.create(
        organisation=organisation, serial=f"OW-{int(rng.integers(1000, 9999))}{code[-3:]}", pump_type=pumps[pump_name],
        batch=batch, tested_on=commissioned - timedelta(days=int(rng.integers(40, 160))),
        warranty_until=commissioned + timedelta(days=3 * 365), status="installed",
    )  # fmt: skip
    # The unit's own health against its type: what the maker's one test point shows.
    health = float(rng.normal(1.0 if batch != "B-2207" else 0.965, 0.03))
    test = min(catalogue.points(entry), key=lambda p: (abs(p["head_m"] - level - rise), -p["power_w"]))
    if test["flow_l_min"] > 0:
        UnitPoint.objects.create(
            unit=unit, head_m=test["head_m"], power_w=test["power_w"], flow_l_min=round(test["flow_l_min"] * health, 2)
        )
    level_of_instruments = str(rng.choice(["meter", "daily", "logger"], p=[0.48, 0.30, 0.22]))
    installation = Installation.objects.create(
        organisation=organisation, unit=unit, well=well,
        period=TimestamptzRange(datetime.combine(commissioned, datetime.min.time(), UTC).replace(hour=9), None),
        module_type=module_row, modules_in_series=series, strings=strings, tilt_deg=15 + float(rng.integers(0, 3)) * 2,
        azimuth_deg=round(float(rng.normal(0, 4)) % 360, 0) % 360, mounting_height_m=3.1, boxes_shaded=True,
        pipe=pipes[pipe_name], pipe_length_m=round(setting, 1), rope_length_m=round(setting + 2, 1),
        cable=cables[4 if series * strings < 4 else 6], cable_length_m=round(setting + 12, 1),
        setting_depth_m=round(setting, 1), dry_run_probe=True,
        controller="built in" if entry["coupling"] == "direct" else "tracking box",
        controller_max_voltage_v=entry["max_voltage_v"] * 1.2, meter_rollover_l=1_000_000,
        instrument_level=level_of_instruments, installer=str(rng.choice(places.INSTALLERS)),
        commissioned_on=commissioned, handed_over_on=commissioned + timedelta(days=2),
        next_inspection_on=last_day + timedelta(days=int(rng.integers(-25, 170))),
    )  # fmt: skip
    installation.demo_health = health
    return installation
