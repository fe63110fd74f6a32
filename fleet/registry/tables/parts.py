"""The parts of which the tables of places, units and installations are made."""

from django.utils.translation import gettext as _

from fleet.registry import places
from fleet.registry.models import District, PumpType, Site, StaticLevel, Tank, Unit, UnitPoint, Well
from fleet.registry.tables.catalogue import by_key, by_name, find_named
from fleet.registry.tables.keeping import Part, filled, fresh, pick, relate, stored, thing_of


def sites_of(rows, run):
    """The stored sites that these rows name, by code."""
    codes = {row["site_code"] for row in rows}
    found = stored(Site, "t.code", codes, run.organisation)
    return {site.code: site for site in found}


def of_rows(rows, name):
    """The stored objects of that part of these rows, by key."""
    return {t.id: t for row in rows if (t := thing_of(row, name)) is not None and t.id is not None}


class DistrictOfSite(Part):
    """A district named in a site's row is made where there is none yet."""

    model, name = District, "district"

    def plan(self, rows, run):
        known = by_name(run, District)
        for row in rows:
            if row["district"] is None:
                continue
            thing = known.get(row["district"].lower())
            new = thing is None
            if new:
                thing = known[row["district"].lower()] = fresh(
                    District,
                    organisation=run.organisation, name=row["district"]
                )
            self.step(row, thing, {}, new or thing.pk is None)


class SitePart(Part):
    """Sites by code. The zone follows the coordinates."""

    model, name = Site, "site"
    fields = {
        "site_name": "name", "village": "village", "latitude_deg": "latitude_deg", "longitude_deg": "longitude_deg",
        "altitude_m": "altitude_m", "access_notes": "access_notes", "drive_minutes": "drive_minutes",
        "signal": "signal",
        "caretaker_name": "caretaker_name", "caretaker_phone": "caretaker_phone",
        "caretaker_language": "caretaker_language", "people_served": "people_served",
        "animals_served": "animals_served", "skyline": "skyline", "shade_windows": "shade_windows",
    }  # fmt: skip

    def plan(self, rows, run):
        known, fields = sites_of(rows, run), filled(run, self.fields)
        middle = self._middle(rows, run)
        for row in rows:
            thing = known.get(row["site_code"])
            new = thing is None
            values = pick(row, fields)
            if row["need_m3_day"] is not None:
                values["need_m3_day"] = [row["need_m3_day"]] * 12
            if new:
                if not self._whole(row):
                    continue
                thing = fresh(Site, organisation=run.organisation, code=row["site_code"])
                values.setdefault("name", row["site_code"])
            district = thing_of(row, "district")
            if district is not None and (new or thing.__dict__["district_id"] != district.id):
                values["district"] = district
            if not self._placed(row, thing, values, new, middle):
                continue
            self.step(row, thing, values, new)
            known[row["site_code"]] = thing

    def _whole(self, row):
        for column in ("latitude_deg", "longitude_deg", "district"):
            if row[column] is None:
                row.fault(column, _("Needed for a site that is not known yet."))
        return not row.bad

    def _placed(self, row, thing, values, new, middle):
        at = values.get("latitude_deg", thing.latitude_deg), values.get("longitude_deg", thing.longitude_deg)
        if not new and at == (thing.latitude_deg, thing.longitude_deg):
            return True
        zone = places.zone_at(*at)
        trouble = places.trouble_with(*at, zone)
        if trouble:
            row.fault("latitude_deg", trouble)
            return False
        far = places.looks_swapped(*at, middle)
        if far:
            row.warn("latitude_deg", far)
        values["zone"] = zone
        return True

    def _middle(self, rows, run):
        """The middle of the organisation's sites: those known before, else those of the file's first rows."""
        if "middle" not in run.memory:
            known = Site.objects.filter(organisation=run.organisation).values_list("latitude_deg", "longitude_deg")
            found = list(known[:2000]) or [
                (r["latitude_deg"], r["longitude_deg"]) for r in rows
                if r["latitude_deg"] is not None and r["longitude_deg"] is not None
            ]  # fmt: skip
            run.memory["middle"] = places.middle(found)
        return run.memory["middle"]


class KnownSite(Part):
    """A site that must be there already: for tables of wells and of all that belongs to a well."""

    model, name = Site, "site"

    def plan(self, rows, run):
        known = sites_of(rows, run)
        for row in rows:
            site = known.get(row["site_code"])
            if site is None:
                row.fault("site_code", _("There is no site of this code. Bring the sites in first."))
            else:
                self.step(row, site, {}, False)


WELL_FIELDS = {
    "well_kind": "kind", "inside_diameter_mm": "inside_diameter_mm", "well_depth_m": "depth_m",
    "datum_above_ground_m": "datum_above_ground_m", "specific_capacity_m3_h_m": "specific_capacity_m3_h_m",
    "safe_yield_m3_h": "safe_yield_m3_h",
}  # fmt: skip


def key_of(thing):
    """A stored row's id, a planned one's own identity: both fit as a part of a key."""
    return thing.id if thing.id is not None else ("planned", id(thing))


class WellPart(Part):
    """Wells by site and name; a row without a well's name means well 1."""

    model, name = Well, "well"
    known_only = False

    def plan(self, rows, run):
        sites = of_rows(rows, "site")
        found = stored(Well, "t.site_id", sites)
        relate(found, "site", sites)
        known = {(w.__dict__["site_id"], w.name): w for w in found}
        fields = filled(run, WELL_FIELDS)
        for row in rows:
            site, name = thing_of(row, "site"), row["well_name"] or "1"
            thing = known.get((key_of(site), name))
            new = thing is None
            if new and self.known_only:
                row.fault("well_name", _("This site has no well “%(name)s”. Bring the wells in first.")
                          % {"name": name})  # fmt: skip
                continue
            if new:
                thing = fresh(Well, site=site, name=name)
                known[(key_of(site), name)] = thing
            self.step(row, thing, pick(row, fields), new)


class KnownWell(WellPart):
    known_only = True

    def plan(self, rows, run):
        super().plan(rows, run)


class LevelPart(Part):
    """A static level by well and day."""

    model, name = StaticLevel, "level"
    day_columns = ("measured_on",)

    def plan(self, rows, run):
        rows = [row for row in rows if row["static_level_m"] is not None]
        found = stored(StaticLevel, "t.well_id", of_rows(rows, "well"))
        known = {(v.__dict__["well_id"], v.measured_on): v for v in found}
        fields = filled(run, ["hours_since_pumped"])
        for row in rows:
            well = thing_of(row, "well")
            day = next((row[name] for name in self.day_columns if row[name] is not None), None)
            if day is None:
                row.fault(self.day_columns[0], _("A static level needs the day it was measured on: it moves."))
                continue
            deep = row.values.get("well_depth_m") or well.depth_m
            if deep and row["static_level_m"] > deep:
                row.fault("static_level_m", _("Below the bottom of the well (%(deep)g m).") % {"deep": deep})
                continue
            thing = known.get((key_of(well), day))
            new = thing is None
            if new:
                thing = known[(key_of(well), day)] = fresh(StaticLevel, well=well, measured_on=day)
            values = {"level_m": row["static_level_m"]} | pick(row, fields)
            self.step(row, thing, values, new)


TANK_FIELDS = {
    "tank_rise_m": "rise_m", "pipe_run_m": "pipe_run_m", "tank_capacity_m3": "capacity_m3",
    "float_switch": "float_switch", "fittings_k": "fittings_k",
}  # fmt: skip


class TankPart(Part):
    """The tank of a well."""

    model, name = Tank, "tank"

    def plan(self, rows, run):
        rows = [row for row in rows if any(row[name] is not None for name in TANK_FIELDS)]
        found = stored(Tank, "t.well_id", of_rows(rows, "well"))
        known = {t.__dict__["well_id"]: t for t in found}
        fields = filled(run, TANK_FIELDS)
        for row in rows:
            well = thing_of(row, "well")
            thing = known.get(key_of(well))
            new = thing is None
            if new:
                thing = known[key_of(well)] = fresh(Tank, well=well)
            self.step(row, thing, pick(row, fields), new)


class UnitPart(Part):
    """Units by serial, capital or small letters alike."""

    model, name = Unit, "unit"
    fields = ("batch", "tested_on", "warranty_until", "notes")
    known_only = False

    def plan(self, rows, run):
        serials = {row["serial"].lower() for row in rows}
        found = stored(Unit, "lower(t.serial)", serials, run.organisation)
        relate(found, "pump_type", by_key(run, PumpType))
        known = {u.serial.lower(): u for u in found}
        what, fields = _("pump type"), filled(run, self.fields)
        for row in rows:
            thing = known.get(row["serial"].lower())
            new = thing is None
            if new and self.known_only:
                row.fault("serial", _("There is no unit of this serial. Look for a slip, or bring the units in first."))
                continue
            kind = find_named(run, PumpType, row, "pump_type", what)
            if row.bad:
                continue
            values = pick(row, fields)
            if new:
                if kind is None:
                    row.fault("pump_type", _("Needed for a unit that is not known yet."))
                    continue
                thing = known[row["serial"].lower()] = fresh(Unit, organisation=run.organisation, serial=row["serial"])
            if kind is not None and (new or thing.__dict__["pump_type_id"] != kind.id):
                values["pump_type"] = kind
            self.step(row, thing, values, new)


class KnownUnit(UnitPart):
    fields = ()
    known_only = True


class UnitPointPart(Part):
    """A point of the unit's own test sheet, by head and power."""

    model, name = UnitPoint, "unit_point"
    columns = ("test_head_m", "test_power_w", "test_flow_l_min")

    def plan(self, rows, run):
        head, power, flow = self.columns
        rows = [row for row in rows if any(row[name] is not None for name in self.columns)]
        found = stored(UnitPoint, "t.unit_id", of_rows(rows, "unit"))
        known = {(p.__dict__["unit_id"], p.head_m, p.power_w): p for p in found}
        fields = filled(run, {"test_voltage_v": "voltage_v", "test_current_a": "current_a"})
        for row in rows:
            missing = [name for name in self.columns if row[name] is None]
            if missing:
                row.fault(missing[0], _("A test point needs head, power and flow."))
                continue
            unit = thing_of(row, "unit")
            key = key_of(unit), row[head], row[power]
            thing = known.get(key)
            new = thing is None
            if new:
                thing = known[key] = fresh(UnitPoint, unit=unit, head_m=row[head], power_w=row[power])
            values = {"flow_l_min": row[flow]}
            values |= pick(row, fields)
            self.step(row, thing, values, new)
