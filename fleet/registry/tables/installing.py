"""The parts of an installation: its pipe and cable, and the unit in its well for a period."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils.translation import gettext as _

from fleet.intake.errors import Unreadable
from fleet.intake.readers import in_zone
from fleet.registry import warnings
from fleet.registry.models import Cable, Installation, ModuleType, Pipe, Unit, Well
from fleet.registry.tables.catalogue import by_key, by_name, find_named
from fleet.registry.tables.keeping import Part, filled, fresh, pick, relate, stored, thing_of
from fleet.registry.tables.parts import key_of, of_rows


class PipeOfInstallation(Part):
    """The pipe by name, or by its sizes; sizes that the catalogue lacks are added to it."""

    model, name = Pipe, "pipe"

    def begin(self, run):
        run.memory["pipe_sizes"] = {
            (p.outside_mm, p.wall_mm): p for p in by_name(run, Pipe).values()
        }

    def plan(self, rows, run):
        sizes = run.memory["pipe_sizes"]
        for row in rows:
            outside, wall = row["pipe_outside_mm"], row["pipe_wall_mm"]
            if row["pipe"] is not None:
                thing = find_named(run, Pipe, row, "pipe", _("pipe"))
            elif outside is not None and wall is not None:
                if outside <= 2 * wall:
                    row.fault("pipe_wall_mm", _("With this wall the pipe has no bore."))
                    continue
                thing = sizes.get((outside, wall))
                if thing is None:
                    name = f"PE {outside:g} x {wall:.1f}"
                    thing = sizes[(outside, wall)] = by_name(run, Pipe).get(name.lower()) or fresh(
                        Pipe,
                        organisation=run.organisation, name=name, outside_mm=outside, wall_mm=wall
                    )
            elif outside is not None or wall is not None:
                row.fault("pipe_wall_mm" if wall is None else "pipe_outside_mm", _("A pipe needs both its outside "
                          "diameter and its wall, or its name in the catalogue."))  # fmt: skip
                continue
            else:
                continue
            if thing is not None:
                self.step(row, thing, {}, thing.pk is None)


class CableOfInstallation(Part):
    """The drop cable by name, or by its section; a section that the catalogue lacks is added to it."""

    model, name = Cable, "cable"

    def begin(self, run):
        by_area = {}
        for cable in by_name(run, Cable).values():
            if cable.conductor_class == 5 or cable.area_mm2 not in by_area:  # drop cables are flexible, as a rule
                by_area[cable.area_mm2] = cable
        run.memory["cable_areas"] = by_area

    def plan(self, rows, run):
        areas = run.memory["cable_areas"]
        for row in rows:
            area = row["cable_area_mm2"]
            if row["cable"] is not None:
                thing = find_named(run, Cable, row, "cable", _("cable"))
            elif area is not None:
                thing = areas.get(area)
                if thing is None:
                    name = f"{area:g} mm² class 5"
                    thing = areas[area] = by_name(run, Cable).get(name.lower()) or fresh(
                        Cable,
                        organisation=run.organisation, name=name, area_mm2=area
                    )
            else:
                continue
            if thing is not None:
                self.step(row, thing, {}, thing.pk is None)


INSTALLATION_FIELDS = (
    "modules_in_series", "strings", "tilt_deg", "azimuth_deg", "mounting_height_m", "fenced", "boxes_shaded",
    "pipe_length_m", "rope_length_m", "cable_length_m", "setting_depth_m", "dry_run_probe", "controller",
    "controller_serial", "controller_max_voltage_v", "meter_rollover_l", "instrument_level", "installer",
    "commissioned_on", "handed_over_on", "next_inspection_on",
)  # fmt: skip


def moment_of(value, zone):
    """When on a day: the time itself where one is given, else the site's midnight."""
    if isinstance(value, datetime):
        return in_zone(value, zone)
    return datetime.combine(value, time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)


class InstallationPart(Part):
    """The unit in its well since a day; the same unit in the same well is the same installation.

    An import never moves a pump: where the books say that it hangs elsewhere, the row is rejected with the way out.
    """

    model, name = Installation, "installation"

    def plan(self, rows, run):
        units, wells = of_rows(rows, "unit"), of_rows(rows, "well")
        in_well, of_unit = {}, {}
        found = {i.id: i for i in stored(Installation, "t.unit_id", units)}
        for one in stored(Installation, "t.well_id", wells, beside="upper_inf(t.period)"):
            found.setdefault(one.id, one)
        found = list(found.values())
        self._relate(run, found, units, wells)
        for one in found:
            if one.unit_id in units:
                of_unit.setdefault(one.unit_id, []).append(one)
            if one.well_id in wells and one.period.upper_inf:
                in_well[one.well_id] = one
        what, fields = _("module type"), filled(run, INSTALLATION_FIELDS)
        for row in rows:
            self._plan_one(row, run, of_unit, in_well, what, fields)

    def _relate(self, run, found, units, wells):
        """Units and wells that the rows do not name themselves are needed for sentences about them."""
        units = units | Unit.objects.in_bulk({i.unit_id for i in found} - units.keys())
        others = {i.well_id for i in found} - wells.keys()
        relate(found, "unit", units)
        relate(found, "well", wells | Well.objects.select_related("site").in_bulk(others))
        for model, name in ((ModuleType, "module_type"), (Pipe, "pipe"), (Cable, "cable")):
            relate(found, name, by_key(run, model))

    def _plan_one(self, row, run, of_unit, in_well, what, fields):
        unit, well, site = thing_of(row, "unit"), thing_of(row, "well"), thing_of(row, "site")
        module = find_named(run, ModuleType, row, "module_type", what)
        values = pick(row, fields)
        parts = {"module_type": module, "pipe": thing_of(row, "pipe"), "cable": thing_of(row, "cable")}
        for field, thing in parts.items():
            if thing is not None:
                values[field] = thing
        if values.get("azimuth_deg") == 360:
            values["azimuth_deg"] = 0.0
        if row.bad:
            return
        zone = row.values.get("_zone") or site.zone
        start, end = self._period(row, zone)
        if row.bad:
            return
        if unit.status == Unit.Status.RETIRED and end is None:
            row.fault("serial", _("This unit is retired. Put it in store first, if it hangs again."))
            return
        mine = of_unit.setdefault(key_of(unit), [])
        thing = self._same(mine, well, start, end)
        new = thing is None
        if new:
            if start is None:
                row.fault("installed_on", _("Needed: since when it hangs there (or the day of its commissioning)."))
                return
            if not self._free(row, mine, in_well, well, start, end):
                return
            thing = fresh(
                Installation,
                organisation=run.organisation, unit=unit, well=well, period=DateTimeTZRange(start, end, "[)")
            )
            mine.append(thing)
            if site._state.adding:  # its words for searching, so that it need not be written a second time
                site.search = f"{site.search} {unit.serial}".lstrip()
            if end is None:
                in_well[key_of(well)] = thing
        elif end is not None and thing.period.upper is None:
            values["period"] = DateTimeTZRange(thing.period.lower, end, "[)")
        self.step(row, thing, values, new)
        self._status(row, unit, thing)
        self._warn(row, unit, well, site, values, thing)

    def _period(self, row, zone):
        since = row["installed_on"] if row["installed_on"] is not None else row["commissioned_on"]
        start = end = None
        try:
            start = moment_of(since, zone) if since is not None else None
            end = moment_of(row["removed_on"], zone) if row["removed_on"] is not None else None
        except Unreadable as fault:
            row.fault("installed_on", fault)
        if start and end and end <= start:
            row.fault("removed_on", _("It cannot have been taken out before it was put in."))
        return start, end

    def _same(self, mine, well, start, end):
        for found in mine:
            if found.__dict__["well_id"] == well.id and (found.period.upper is None or start is None or (
                start < found.period.upper and (end is None or end > found.period.lower))):  # fmt: skip
                if end is None and found.period.upper is not None and (start is None or start >= found.period.upper):
                    continue
                return found
        return None

    def _free(self, row, mine, in_well, well, start, end):
        for found in mine:
            upper = found.period.upper
            if (upper is None or upper > start) and (end is None or end > found.period.lower):
                row.fault("serial", _("This unit hangs in %(well)s then. Relocate it on its page, or give the day it "
                                      "was taken out.") % {"well": found.well})  # fmt: skip
                return False
        other = in_well.get(key_of(well))
        if other is not None and (end is None or end > other.period.lower):
            row.fault("site_code", _("Unit %(serial)s hangs in this well. Take it out on its page first, or name "
                                     "another well.") % {"serial": other.unit.serial})  # fmt: skip
            return False
        return True

    def _warn(self, row, unit, well, site, values, thing):
        def now(field):
            return values[field] if field in values else getattr(thing, field)

        def of_well(column, field):
            return row.values.get(column, getattr(well, field))

        module, kind = now("module_type"), unit.pump_type
        need = row["need_m3_day"] or (max(site.need_m3_day) if site.need_m3_day else None)
        for field, sentence in warnings.of_installation(
            pump_diameter_mm=kind.outside_diameter_mm,
            well_diameter_mm=of_well("inside_diameter_mm", "inside_diameter_mm"),
            well_depth_m=of_well("well_depth_m", "depth_m"), static_level_m=row["static_level_m"],
            specific_capacity_m3_h_m=of_well("specific_capacity_m3_h_m", "specific_capacity_m3_h_m"), need_m3_day=need,
            latitude_deg=row.values.get("latitude_deg", site.latitude_deg), v_oc_v=module and module.v_oc_v,
            beta_voc_pct_k=module and module.beta_voc_pct_k, modules_in_series=now("modules_in_series"),
            controller_max_voltage_v=now("controller_max_voltage_v"), tilt_deg=now("tilt_deg"),
            azimuth_deg=now("azimuth_deg"), mounting_height_m=now("mounting_height_m"), fenced=now("fenced"),
            boxes_shaded_=now("boxes_shaded"), pipe_length_m=now("pipe_length_m"), rope_length_m=now("rope_length_m"),
            cable_length_m=now("cable_length_m"), setting_depth_m=now("setting_depth_m"),
        ):  # fmt: skip
            row.warn("serial" if field == "unit" else field, sentence)

    def _status(self, row, unit, thing):
        """A unit that hangs is installed: written with the unit itself, whose part comes first."""
        if thing.period.upper is None and unit.status == Unit.Status.STORED:
            if unit.pk is None:
                unit.status = Unit.Status.INSTALLED
            else:
                row.steps["unit"].changes["status"] = Unit.Status.INSTALLED

    def write(self, rows):
        super().write(rows)
        out = {
            i.unit_id for row in rows if (i := thing_of(row, "installation")) is not None and i.period.upper is not None
        }
        if out:  # a row that takes a unit out leaves it in store, unless it hangs elsewhere by now
            Unit.objects.filter(pk__in=out, status=Unit.Status.INSTALLED).exclude(
                installations__period__upper_inf=True
            ).update(status=Unit.Status.STORED)
