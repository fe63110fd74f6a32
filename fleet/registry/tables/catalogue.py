"""Catalogue tables: pump types and their points, module types, pipes, cables, districts."""

import difflib

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.intake.columns import Column
from fleet.intake.numbers import number, whole
from fleet.intake.readers import choice, text
from fleet.registry.models import Cable, District, ModuleType, Pipe, PumpPoint, PumpType
from fleet.registry.tables.keeping import Composed, Part, filled, fresh, pick

KINDS = choice(
    {"helical": "helical", "diaphragm": "diaphragm", "piston": "piston", "centrifugal": "centrifugal"},
    {"screw": "helical", "helical rotor": "helical", "progressive cavity": "helical", "membrane": "diaphragm",
     "plunger": "piston", "submersible centrifugal": "centrifugal", "multistage": "centrifugal"},
)  # fmt: skip
COUPLINGS = choice(
    {"direct": "direct", "tracking": "tracking"},
    {"direct coupled": "direct", "no controller": "direct", "mppt": "tracking", "controller": "tracking",
     "maximum power": "tracking", "tracker": "tracking"},
)  # fmt: skip
WATTS = number("W", 0, 50_000, "300", above=True, mistaken=("kW",))
VOLTS = number("V", 0, 1500, "60", above=True)
HEAD = number("m", 0, 600, "45")
FLOW = number("L/min", 0, 5000, "12.5")


class Named(Part):
    """A catalogue row known by its name within the organisation."""

    fields = ()
    name_column = "name"

    def plan(self, rows, run):
        known = by_name(run, self.model)
        fields = filled(run, self.fields)
        for row in rows:
            key = row[self.name_column].lower()
            thing = known.get(key)
            new = thing is None
            if new:
                thing = fresh(self.model, organisation=run.organisation, name=row[self.name_column])
            values = pick(row, fields)
            if not self.sound(row, thing, values):
                continue
            self.step(row, thing, values, new)
            if new:
                known[key] = thing

    def sound(self, row, thing, values):
        return True


def by_name(run, model):
    """All of the organisation's rows of this model by lower-case name, read once a run."""
    memory = run.memory.setdefault("by_name", {})
    if model not in memory:
        memory[model] = {t.name.lower(): t for t in model.objects.filter(organisation=run.organisation)}
    return memory[model]


def by_key(run, model):
    """The same rows by their key."""
    return {t.pk: t for t in by_name(run, model).values() if t.pk is not None}


def find_named(run, model, row, column, what):
    """The catalogue row that this cell names; a fault on the row where there is none."""
    wanted = row[column]
    if wanted is None:
        return None
    known = by_name(run, model)
    found = known.get(wanted.lower())
    if found is None:
        near = difflib.get_close_matches(wanted.lower(), known, n=1, cutoff=0.75)
        hint = _(" Is it %(near)s?") % {"near": known[near[0]].name} if near else ""
        sentence = _("There is no %(what)s of this name in the catalogue.%(hint)s Bring the catalogue in first.")
        row.fault(column, sentence % {"what": what, "hint": hint})
    return found


class PumpTypePart(Named):
    model, name = PumpType, "pump_type"
    fields = (
        "maker", "kind", "coupling", "outside_diameter_mm", "mass_kg", "min_voltage_v", "max_voltage_v", "max_power_w",
        "max_head_m", "controller_efficiency", "start_power_w", "motor_ohm",
    )  # fmt: skip

    def sound(self, row, thing, values):
        low, high = values.get("min_voltage_v"), values.get("max_voltage_v")
        if low and high and low >= high:
            row.fault("min_voltage_v", _("The lowest voltage must be below the highest."))
        if thing.pk is None:
            for name in ("kind", "coupling"):
                if name not in values:
                    row.fault(name, _("Needed for a type that is not in the catalogue yet."))
        return not row.bad


class PumpTypes(Composed):
    name, title, group, order = "pump_types", gettext_lazy("Pump types"), "catalogue", 10
    about = gettext_lazy("One row a type: kind, limits, controller. Its test-sheet points have their own table.")
    parts, primary, key, deed = (PumpTypePart(),), "pump_type", ("name",), "import"
    columns = (
        Column("name", gettext_lazy("Pump type"), text(60), example="Brook 80",
               aliases=("type", "pump type", "model"), required=True),
        Column("maker", gettext_lazy("Maker"), text(80), aliases=("manufacturer",)),
        Column("kind", gettext_lazy("Kind"), KINDS, example="helical"),
        Column("coupling", gettext_lazy("Fed"), COUPLINGS, example="tracking", aliases=("drive",)),
        Column("outside_diameter_mm", gettext_lazy("Outside diameter"),
               number("mm", 20, 1000, "98", mistaken=("m", "in"))),
        Column("mass_kg", gettext_lazy("Mass"), number("kg", 0, 1000, "12", above=True)),
        Column("min_voltage_v", gettext_lazy("Lowest working voltage"), number("V", 0, 1500, "24")),
        Column("max_voltage_v", gettext_lazy("Highest voltage"), VOLTS),
        Column("max_power_w", gettext_lazy("Highest power"), WATTS),
        Column("max_head_m", gettext_lazy("Highest head"), number("m", 0, 600, "80", above=True)),
        Column("controller_efficiency", gettext_lazy("Controller efficiency"), number("", 0, 1, "0.95", above=True),
               note=gettext_lazy("a share: 0.95, not 95")),
        Column("start_power_w", gettext_lazy("Starting power"), number("W", 0, 5000, "15")),
        Column("motor_ohm", gettext_lazy("Motor resistance, ohm"), number("", 0, 1000, "1.4")),
    )  # fmt: skip

    def rows(self, organisation):
        for t in PumpType.objects.filter(organisation=organisation).iterator():
            yield {column.name: getattr(t, column.name) for column in self.columns}


class PointPart(Part):
    """Points are known by type, head and power; a new figure for the same two replaces the flow."""

    model, name = PumpPoint, "point"

    def plan(self, rows, run):
        for row in rows:
            row.values["_type"] = find_named(run, PumpType, row, "pump_type", _("pump type"))
        rows = [row for row in rows if not row.bad]
        types = {row.values["_type"].pk for row in rows}
        known = {
            (p.pump_type_id, p.head_m, p.power_w): p for p in PumpPoint.objects.filter(pump_type__in=types)
        }
        fields = filled(run, ["flow_l_min", "voltage_v", "current_a"])
        for row in rows:
            kind = row.values.pop("_type")
            key = kind.pk, row["head_m"], row["power_w"]
            thing = known.get(key)
            new = thing is None
            if new:
                thing = known[key] = fresh(PumpPoint, pump_type=kind, head_m=row["head_m"], power_w=row["power_w"])
            if kind.max_head_m and row["head_m"] > kind.max_head_m * 1.02:
                row.warn("head_m", _("Above the type's highest head, %(m)g m.") % {"m": kind.max_head_m})
            self.step(row, thing, pick(row, fields), new)


class PumpPoints(Composed):
    name, title, group, order = "pump_points", gettext_lazy("Test-sheet points of pump types"), "catalogue", 11
    about = gettext_lazy("One row a point: at this head and power, this flow. Flow 0: it does not lift there.")
    parts, primary, key = (PointPart(),), "point", ("pump_type", "head_m", "power_w")
    columns = (
        Column("pump_type", gettext_lazy("Pump type"), text(60), example="Brook 80", aliases=("type", "model"),
               required=True),
        Column("head_m", gettext_lazy("Head"), HEAD, required=True),
        Column("power_w", gettext_lazy("Power at the motor"), WATTS, aliases=("power",), required=True),
        Column("flow_l_min", gettext_lazy("Flow"), FLOW, required=True),
        Column("voltage_v", gettext_lazy("Voltage"), number("V", 0, 1500, "48")),
        Column("current_a", gettext_lazy("Current"), number("A", 0, 200, "6.2")),
    )  # fmt: skip

    def rows(self, organisation):
        names = [c.name for c in self.columns]
        points = PumpPoint.objects.filter(pump_type__organisation=organisation).select_related("pump_type")
        for p in points.order_by("pump_type__name", "head_m", "power_w").iterator():
            yield {name: p.pump_type.name if name == "pump_type" else getattr(p, name) for name in names}


class ModulePart(Named):
    model, name = ModuleType, "module_type"
    fields = (
        "maker", "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k", "beta_voc_pct_k",
        "gamma_p_pct_k", "noct_c",
    )  # fmt: skip

    def sound(self, row, thing, values):
        def now(field):
            return values.get(field, getattr(thing, field, None))

        if thing.pk is None:
            for field in ("cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a"):
                if field not in values:
                    row.fault(field, _("Needed for a type that is not in the catalogue yet."))
        if row.bad:
            return False
        if now("v_oc_v") <= now("v_mp_v"):
            row.fault("v_oc_v", _("The open-circuit voltage must be above the voltage at highest power."))
        if now("i_sc_a") < now("i_mp_a"):
            row.fault("i_sc_a", _("The short-circuit current cannot be below the current at highest power."))
        power = now("v_mp_v") * now("i_mp_a")
        if not 0.9 <= power / now("p_stc_w") <= 1.1:
            row.warn("p_stc_w", _("Volts times amperes at highest power give %(w).0f W.") % {"w": power})
        return not row.bad


class ModuleTypes(Composed):
    name, title, group, order = "module_types", gettext_lazy("Module types"), "catalogue", 12
    about = gettext_lazy("One row a type, values at standard conditions from the data sheet.")
    parts, primary, key = (ModulePart(),), "module_type", ("name",)
    columns = (
        Column("name", gettext_lazy("Module type"), text(60), example="Plain 150",
               aliases=("type", "module type", "model"), required=True),
        Column("maker", gettext_lazy("Maker"), text(80), aliases=("manufacturer",)),
        Column("cells", gettext_lazy("Cells in series"), whole(1, 300, "36")),
        Column("p_stc_w", gettext_lazy("Power"), number("W", 1, 2000, "150"), aliases=("power", "pmax", "rated power")),
        Column("v_mp_v", gettext_lazy("Voltage at highest power"), number("V", 1, 300, "18.2"),
               aliases=("v_mp", "vmp")),
        Column("i_mp_a", gettext_lazy("Current at highest power"), number("A", 0, 60, "8.24", above=True),
               aliases=("i_mp", "imp")),
        Column("v_oc_v", gettext_lazy("Open-circuit voltage"), number("V", 1, 300, "22.5"), aliases=("v_oc", "voc")),
        Column("i_sc_a", gettext_lazy("Short-circuit current"), number("A", 0, 60, "8.79", above=True),
               aliases=("i_sc", "isc")),
        Column("alpha_isc_pct_k", gettext_lazy("Short-circuit current, % per K"), number("", -0.5, 0.5, "0.05")),
        Column("beta_voc_pct_k", gettext_lazy("Open-circuit voltage, % per K"), number("", -1, 0, "-0.31")),
        Column("gamma_p_pct_k", gettext_lazy("Power, % per K"), number("", -1, 0, "-0.40")),
        Column("noct_c", gettext_lazy("Nominal operating cell temperature, °C"), number("", 30, 70, "46"),
               aliases=("noct",)),
    )  # fmt: skip

    def rows(self, organisation):
        for t in ModuleType.objects.filter(organisation=organisation).iterator():
            yield {column.name: getattr(t, column.name) for column in self.columns}


class PipePart(Named):
    model, name = Pipe, "pipe"
    fields = ("outside_mm", "wall_mm", "pressure_bar", "material")

    def sound(self, row, thing, values):
        if thing.pk is None:
            for field in ("outside_mm", "wall_mm"):
                if field not in values:
                    row.fault(field, _("Needed for a pipe that is not in the catalogue yet."))
        outside = values.get("outside_mm", thing.outside_mm)
        wall = values.get("wall_mm", thing.wall_mm)
        if outside and wall and outside <= 2 * wall:
            row.fault("wall_mm", _("With this wall the pipe has no bore."))
        return not row.bad


class Pipes(Composed):
    name, title, group, order = "pipes", gettext_lazy("Pipes"), "catalogue", 13
    parts, primary, key = (PipePart(),), "pipe", ("name",)
    columns = (
        Column("name", gettext_lazy("Pipe"), text(60), example="PE 32 x 3.0", required=True),
        Column("outside_mm", gettext_lazy("Outside diameter"), number("mm", 8, 500, "32", mistaken=("m", "in"))),
        Column("wall_mm", gettext_lazy("Wall"), number("mm", 0.5, 60, "3.0", mistaken=("m",))),
        Column("pressure_bar", gettext_lazy("Nominal pressure"), number("bar", 0, 100, "16", above=True)),
        Column("material", gettext_lazy("Material"), text(20), example="PE 100"),
    )

    def rows(self, organisation):
        for t in Pipe.objects.filter(organisation=organisation).iterator():
            yield {column.name: getattr(t, column.name) for column in self.columns}


class CablePart(Named):
    model, name = Cable, "cable"
    fields = ("area_mm2", "conductor_class")

    def sound(self, row, thing, values):
        if thing.pk is None and "area_mm2" not in values:
            row.fault("area_mm2", _("Needed for a cable that is not in the catalogue yet."))
        return not row.bad


class Cables(Composed):
    name, title, group, order = "cables", gettext_lazy("Drop cables"), "catalogue", 14
    parts, primary, key = (CablePart(),), "cable", ("name",)
    columns = (
        Column("name", gettext_lazy("Cable"), text(60), example="4 mm² class 5", required=True),
        Column("area_mm2", gettext_lazy("Conductor section"), number("mm2", 0.2, 400, "4")),
        Column("conductor_class", gettext_lazy("Conductor class"),
               choice({"5": "5", "2": "2"}, {"flexible": "5", "stranded": "2"}), example="5"),
    )  # fmt: skip

    def take(self, rows, run):
        for row in rows:
            if row["conductor_class"] is not None:
                row.values["conductor_class"] = int(row.values["conductor_class"])
        super().take(rows, run)

    def rows(self, organisation):
        for t in Cable.objects.filter(organisation=organisation).iterator():
            yield {column.name: getattr(t, column.name) for column in self.columns}


class DistrictPart(Named):
    model, name = District, "district"
    fields = ("p_code",)


class Districts(Composed):
    name, title, group, order = "districts", gettext_lazy("Districts"), "places", 20
    parts, primary, key = (DistrictPart(),), "district", ("name",)
    columns = (
        Column("name", gettext_lazy("District"), text(80), example="Upper Nakwara", aliases=("district",),
               required=True),
        Column("p_code", gettext_lazy("P-code"), text(20), example="NK01", aliases=("pcode",)),
    )

    def rows(self, organisation):
        for t in District.objects.filter(organisation=organisation).iterator():
            yield {"name": t.name, "p_code": t.p_code}


CATALOGUE = (PumpTypes(), PumpPoints(), ModuleTypes(), Pipes(), Cables(), Districts())
