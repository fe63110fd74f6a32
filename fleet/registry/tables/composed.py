"""Tables of places, units and installations, and the whole fleet as one wide table, as organisations keep theirs."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from fleet.intake.columns import Column
from fleet.intake.errors import Unreadable
from fleet.intake.numbers import number, whole
from fleet.intake.readers import a_day, a_moment_or_day, choice, text, yes_no
from fleet.registry import hiding
from fleet.registry.models import Installation, Site, StaticLevel, Tank, Unit, UnitPoint, Well
from fleet.registry.models.places import code_fits_an_address
from fleet.registry.tables import installing, parts
from fleet.registry.tables.keeping import Composed

LEVELS = choice(
    {"meter": "meter", "daily": "daily", "logger": "logger"},
    {"a": "meter", "b": "daily", "c": "logger", "monthly": "meter", "noon": "logger"},
)
_words = text(24)


def site_code(cell, hints):
    """A site's code: it stands in addresses, so it has no slash."""
    found = _words(cell, hints)
    try:
        if found is not None:
            code_fits_an_address(found)
    except ValidationError as fault:
        raise Unreadable(fault.messages[0]) from None
    return found


def hidden_sun(reader):
    """A reader of what hides the sun, as `hiding` writes it; every entry that is wrong is named."""

    def read(cell, hints):
        found, faults = reader(str(cell).strip())
        if faults:
            raise Unreadable(" ".join(faults))
        return found or None

    return read


PLACE = (
    Column(
        "site_code", _("Site code"), site_code, example="NK-014", aliases=("site", "code", "site id"), required=True
    ),
    Column("site_name", _("Site name"), text(120), example="Nakwara school", aliases=("name",)),
    Column("village", _("Village"), text(120), example="Nakwara"),
    Column("district", _("District"), text(80), example="Upper Nakwara"),
    Column("latitude_deg", _("Latitude, degrees"), number("", -90, 90, "3.1204"), aliases=("lat", "latitude", "y"),
           note=_("decimal degrees, south below zero")),
    Column("longitude_deg", _("Longitude, degrees"), number("", -180, 180, "35.6071"),
           aliases=("lon", "long", "lng", "longitude", "x"), note=_("decimal degrees, west below zero")),
    Column("altitude_m", _("Altitude"), number("m", -450, 6000, "620"), aliases=("elevation",)),
    Column("access_notes", _("The way there"), text(2000), aliases=("access",)),
    Column("drive_minutes", _("Drive from the base, minutes"), whole(0, 10_000, "95")),
    Column("signal", _("Telephone signal"), text(60)),
    Column("caretaker_name", _("Caretaker"), text(120), example="Ekal Lomeri"),
    Column("caretaker_phone", _("Caretaker's telephone"), text(20), aliases=("phone", "telephone")),
    Column("caretaker_language", _("Caretaker's language"), text(35)),
    Column("people_served", _("People served"), whole(0, 1_000_000, "250"), aliases=("people", "population")),
    Column("animals_served", _("Animals served"), whole(0, 1_000_000, "80"), aliases=("animals", "livestock")),
    Column("need_m3_day", _("Daily need"), number("m3", 0, 10_000, "5"), aliases=("need", "demand", "daily need")),
    Column("skyline", _("Skyline"), hidden_sun(hiding.read_skyline), example="95 12; 110 20; 130 0",
           note=_("true bearing and height in degrees, a semicolon between points")),
    Column("shade_windows", _("Windows of shade"), hidden_sun(hiding.read_windows), example="7:30-9:30 80%",
           note=_("from and to by sun time, share of the direct light lost, a semicolon between windows")),
)  # fmt: skip
SITE_CODE = PLACE[0]
WELL_NAME = Column("well_name", _("Well"), text(60), example="1", note=_("empty means well 1"))
WELL = (
    WELL_NAME,
    Column("well_kind", _("Kind of well"), choice({"drilled": "drilled", "dug": "dug"},
           {"borehole": "drilled", "tube well": "drilled", "tubewell": "drilled", "hand dug": "dug", "open": "dug"})),
    Column("inside_diameter_mm", _("Well, inside diameter"), number("mm", 40, 5000, "150", mistaken=("m", "in")),
           aliases=("well_diameter_mm", "casing diameter")),
    Column("well_depth_m", _("Well depth"), number("m", 0, 1000, "60", above=True), aliases=("depth",)),
    Column("datum_above_ground_m", _("Datum above ground"), number("m", -2, 5, "0.4")),
    Column("specific_capacity_m3_h_m", _("Specific capacity"), number("m3/h/m", 0, 500, "0.6", above=True)),
    Column("safe_yield_m3_h", _("Safe yield"), number("m3/h", 0, 1000, "2", above=True)),
)  # fmt: skip
LEVEL = number("m", -5, 500, "22.4", mistaken=())
TANK = (
    Column("tank_rise_m", _("Rise from well head to tank inlet"), number("m", -20, 300, "5")),
    Column("pipe_run_m", _("Run of pipe from well head"), number("m", 0, 20_000, "20")),
    Column("tank_capacity_m3", _("Tank"), number("m3", 0, 5000, "10", above=True), aliases=("tank_m3",)),
    Column("float_switch", _("Float switch"), yes_no, example="yes"),
)
SERIAL = Column("serial", _("Serial"), text(40), example="RM00123", aliases=("serial number", "unit"), required=True)
UNIT = (
    Column("pump_type", _("Pump type"), text(60), example="Brook 80", aliases=("type", "model")),
    Column("batch", _("Maker's batch"), text(40)),
    Column("tested_on", _("Maker's test date"), a_day),
    Column("warranty_until", _("Warranty until"), a_day, example="2029-04-03"),
)
POINT = (
    Column("test_head_m", _("Test point: head"), number("m", 0, 600, "45")),
    Column("test_power_w", _("Test point: power"), number("W", 0, 50_000, "300", above=True, mistaken=("kW",))),
    Column("test_flow_l_min", _("Test point: flow"), number("L/min", 0, 5000, "12.5")),
)
BUILT = (
    Column("module_type", _("Module type"), text(60), example="Plain 150"),
    Column("modules_in_series", _("Modules in series"), whole(1, 100, "3")),
    Column("strings", _("Strings"), whole(1, 100, "1"), aliases=("parallel", "modules in parallel")),
    Column("tilt_deg", _("Tilt, degrees from flat"), number("", 0, 90, "15"), aliases=("tilt",)),
    Column("azimuth_deg", _("Azimuth, degrees from true north"), number("", 0, 360, "180"), aliases=("azimuth",),
           note=_("clockwise, south is 180")),
    Column("mounting_height_m", _("Lower edge of modules above ground"), number("m", 0, 20, "3")),
    Column("fenced", _("Fenced"), yes_no, example="no"),
    Column("boxes_shaded", _("Boxes in the shade of the modules"), yes_no, example="yes"),
    Column("pipe", _("Pipe"), text(60), note=_("its name in the catalogue; or give its two sizes")),
    Column("pipe_outside_mm", _("Pipe, outside diameter"), number("mm", 8, 500, "32", mistaken=("m", "in"))),
    Column("pipe_wall_mm", _("Pipe, wall"), number("mm", 0.5, 60, "3.0", mistaken=("m",))),
    Column("pipe_length_m", _("Rising main in the well"), number("m", 0, 1000, "41", above=True)),
    Column("rope_length_m", _("Safety rope"), number("m", 0, 1000, "43", above=True)),
    Column("cable", _("Drop cable"), text(60), note=_("its name in the catalogue; or give its section")),
    Column("cable_area_mm2", _("Drop cable, section"), number("mm2", 0.2, 400, "4")),
    Column("cable_length_m", _("Drop cable, length"), number("m", 0, 2000, "48", above=True)),
    Column("setting_depth_m", _("Setting depth below datum"), number("m", 0, 1000, "40", above=True)),
    Column("dry_run_probe", _("Dry-run probe"), yes_no, example="no"),
    Column("controller", _("Controller"), text(80)),
    Column("controller_serial", _("Controller serial"), text(40)),
    Column("controller_max_voltage_v", _("Controller's highest voltage"), number("V", 0, 1500, "100", above=True)),
    Column("meter_rollover_l", _("Meter starts again at"), number("L", 100, 1e12, "100000000")),
    Column("instrument_level", _("What is measured"), LEVELS, example="meter"),
    Column("installer", _("Installed by"), text(80)),
    Column("commissioned_on", _("Commissioned on"), a_day),
    Column("handed_over_on", _("Handed over on"), a_day),
    Column("next_inspection_on", _("Next inspection due"), a_day),
)  # fmt: skip


SINCE = Column("installed_on", _("Installed on"), a_moment_or_day,
               note=_("day, or day and hour; where it is left out, the day of commissioning"))  # fmt: skip
UNTIL = Column("removed_on", _("Taken out on"), a_moment_or_day, note=_("empty: it hangs there now"))


class Sites(Composed):
    name, title, group, order = "sites", _("Sites"), "places", 21
    parts, primary, key = (parts.DistrictOfSite(), parts.SitePart()), "site", ("site_code",)
    columns = PLACE

    def rows(self, organisation):
        for s in Site.objects.filter(organisation=organisation).select_related("district").iterator():
            yield site_out(s)


class Wells(Composed):
    name, title, group, order = "wells", _("Wells"), "places", 22
    parts, primary, key = (parts.KnownSite(), parts.WellPart()), "well", ("site_code", "well_name")
    columns = (SITE_CODE, *WELL)

    def rows(self, organisation):
        for w in Well.objects.filter(site__organisation=organisation).select_related("site").iterator():
            yield well_out(w)


class StaticLevels(Composed):
    name, title, group, order = "static_levels", _("Static levels"), "places", 23
    about = _("One row a measurement: the resting water level on a day.")
    parts, primary = (parts.KnownSite(), parts.KnownWell(), parts.LevelPart()), "level"
    key = ("site_code", "well_name", "measured_on")
    columns = (
        SITE_CODE, WELL_NAME, Column("measured_on", _("Measured on"), a_day, aliases=("date",), required=True),
        Column("static_level_m", _("Static level below datum"), LEVEL, aliases=("level", "water level"), required=True),
        Column("hours_since_pumped", _("Hours since last pumped"), number("", 0, 100_000, "12")),
    )  # fmt: skip

    def rows(self, organisation):
        levels = StaticLevel.objects.filter(well__site__organisation=organisation).select_related("well__site")
        for v in levels.iterator():
            yield {
                "site_code": v.well.site.code, "well_name": v.well.name, "measured_on": v.measured_on,
                "static_level_m": v.level_m, "hours_since_pumped": v.hours_since_pumped,
            }  # fmt: skip


class Tanks(Composed):
    name, title, group, order = "tanks", _("Tanks"), "places", 24
    parts, primary = (parts.KnownSite(), parts.KnownWell(), parts.TankPart()), "tank"
    key = ("site_code", "well_name")
    columns = (SITE_CODE, WELL_NAME, *TANK)

    def rows(self, organisation):
        for t in Tank.objects.filter(well__site__organisation=organisation).select_related("well__site").iterator():
            yield {"site_code": t.well.site.code, "well_name": t.well.name} | tank_out(t)


class Units(Composed):
    name, title, group, order = "units", _("Units"), "units", 30
    about = _("One row a pump, with one point of its own test sheet where there is one.")
    parts, primary, key = (parts.UnitPart(), parts.UnitPointPart()), "unit", ("serial",)
    columns = (SERIAL, *UNIT, *POINT, Column("notes", _("Notes"), text(2000)))

    def rows(self, organisation):
        units = Unit.objects.filter(organisation=organisation).select_related("pump_type").prefetch_related("points")
        for u in units.iterator(chunk_size=2000):
            yield unit_out(u) | point_out(u) | {"notes": u.notes}


class UnitPoints(Composed):
    name, title, group, order = "unit_points", _("Test points of units"), "units", 31
    parts, primary = (parts.KnownUnit(), parts.UnitPointPart()), "unit_point"
    key = ("serial", "test_head_m", "test_power_w")
    columns = (SERIAL, *POINT, Column("test_voltage_v", _("Test point: voltage"), number("V", 0, 1500, "48")),
               Column("test_current_a", _("Test point: current"), number("A", 0, 200, "6.2")))  # fmt: skip

    def rows(self, organisation):
        for p in UnitPoint.objects.filter(unit__organisation=organisation).select_related("unit").iterator():
            yield {
                "serial": p.unit.serial, "test_head_m": p.head_m, "test_power_w": p.power_w,
                "test_flow_l_min": p.flow_l_min, "test_voltage_v": p.voltage_v, "test_current_a": p.current_a,
            }  # fmt: skip


class Installations(Composed):
    name, title, group, order = "installations", _("Installations"), "units", 32
    about = _("One row a unit in a well for a period, past ones too; units and wells must be known.")
    parts = (parts.KnownSite(), parts.KnownWell(), parts.KnownUnit(), installing.PipeOfInstallation(),
             installing.CableOfInstallation(), installing.InstallationPart())  # fmt: skip
    primary, key = "installation", ("serial", "installed_on", "commissioned_on")
    columns = (SERIAL, SITE_CODE, WELL_NAME, SINCE, UNTIL, *BUILT)

    def rows(self, organisation):
        found = Installation.objects.filter(organisation=organisation).select_related(*RELATED)
        for i in found.order_by("unit__serial", "period").iterator():
            yield installation_out(i) | {
                "serial": i.unit.serial, "site_code": i.well.site.code, "well_name": i.well.name,
                "removed_on": i.period.upper,
            }  # fmt: skip


class WholeFleet(Composed):
    name, title, group, order = "fleet", _("Installed fleet, one wide table"), "units", 1
    about = _("One row a unit as it hangs now, with its site, well and tank: the spreadsheet most organisations keep.")
    parts = (
        parts.DistrictOfSite(), parts.SitePart(), parts.WellPart(), parts.LevelPart(), parts.TankPart(),
        parts.UnitPart(), parts.UnitPointPart(), installing.PipeOfInstallation(), installing.CableOfInstallation(),
        installing.InstallationPart(),
    )  # fmt: skip
    primary, key = "installation", ("serial",)
    columns = (
        SERIAL, *PLACE, *WELL,
        Column("static_level_m", _("Static level below datum"), LEVEL, aliases=("static level", "water level")),
        Column("measured_on", _("Static level measured on"), a_day, aliases=("static_measured_on",)),
        *TANK, *UNIT, *POINT, SINCE, *BUILT,
    )  # fmt: skip

    def rows(self, organisation):
        found = Installation.objects.filter(organisation=organisation, period__upper_inf=True).select_related(*RELATED)
        found = found.select_related("well__tank").prefetch_related("unit__points", "well__static_levels")
        for i in found.iterator(chunk_size=2000):
            levels = list(i.well.static_levels.all())
            tank = getattr(i.well, "tank", None)
            yield (
                site_out(i.well.site) | well_out(i.well) | (tank_out(tank) if tank else {}) | unit_out(i.unit)
                | point_out(i.unit) | installation_out(i)
                | ({"static_level_m": levels[-1].level_m, "measured_on": levels[-1].measured_on} if levels else {})
            )  # fmt: skip


RELATED = ("unit__pump_type", "well__site__district", "module_type", "pipe", "cable")


def site_out(s):
    need = s.need_m3_day[0] if s.need_m3_day and len(set(s.need_m3_day)) == 1 else None
    own = {c.name: getattr(s, c.name) for c in PLACE if hasattr(s, c.name) and c.name not in {"need_m3_day"}}
    return own | {
        "site_code": s.code, "site_name": s.name, "district": s.district.name, "need_m3_day": need,
        "skyline": hiding.skyline_words(s.skyline) or None,
        "shade_windows": hiding.windows_words(s.shade_windows) or None,
    }  # fmt: skip


def well_out(w):
    return {"site_code": w.site.code, "well_name": w.name} | {
        column: getattr(w, field) for column, field in parts.WELL_FIELDS.items()
    }


def tank_out(t):
    return {c.name: getattr(t, parts.TANK_FIELDS[c.name]) for c in TANK}


def unit_out(u):
    return {
        "serial": u.serial, "pump_type": u.pump_type.name, "batch": u.batch, "tested_on": u.tested_on,
        "warranty_until": u.warranty_until,
    }  # fmt: skip


def point_out(u):
    points = list(u.points.all())
    if len(points) != 1:  # several points have their own table
        return {}
    return {"test_head_m": points[0].head_m, "test_power_w": points[0].power_w, "test_flow_l_min": points[0].flow_l_min}


def installation_out(i):
    own = {c.name: getattr(i, c.name) for c in BUILT if c.name in installing.INSTALLATION_FIELDS}
    return own | {
        "installed_on": i.period.lower, "module_type": i.module_type and i.module_type.name,
        "pipe": i.pipe and i.pipe.name, "cable": i.cable and i.cable.name,
    }  # fmt: skip


COMPOSED = (
    WholeFleet(), Sites(), Wells(), StaticLevels(), Tanks(), Units(), UnitPoints(), Installations(),
)  # fmt: skip
