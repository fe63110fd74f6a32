"""Catalogue: types and sizes that units and installations refer to."""

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.registry.models import Cable, District, ModuleType, Pipe, PumpPoint, PumpType
from fleet.registry.services.keeping import keep, require_own
from fleet.web.refusals import Refused
from sizing.cable import conductor_table
from sizing.head import pipe_table


def _keep(model, row, by, organisation, values):
    require_own(by, "edit_registry", row)
    row = row or model(organisation=organisation or by.organisation)
    return keep(row, values)


@transaction.atomic
def keep_pump_type(*, by, pump_type=None, organisation=None, **values):
    """A new pump type, or one corrected."""
    low = values.get("min_voltage_v", getattr(pump_type, "min_voltage_v", None))
    high = values.get("max_voltage_v", getattr(pump_type, "max_voltage_v", None))
    if low and high and low >= high:
        raise Refused("voltages_crossed", _("The lowest voltage must be below the highest."), "min_voltage_v")
    return _keep(PumpType, pump_type, by, organisation, values)


@transaction.atomic
def keep_pump_points(*, pump_type, points, by):
    """The type's whole test sheet: dicts of head_m, power_w, flow_l_min, voltage_v, current_a. Replaces what was
    there."""
    require_own(by, "edit_registry", pump_type)
    seen = set()
    rows = []
    for point in points:
        key = point["head_m"], point["power_w"]
        if key in seen:
            raise Refused("point_twice", _("Head %(head)g m and power %(power)g W stand there twice.")
                          % {"head": key[0], "power": key[1]}, "points")  # fmt: skip
        seen.add(key)
        rows.append(PumpPoint(pump_type=pump_type, **point))
    kept = {(p.head_m, p.power_w): p for p in pump_type.points.all()}
    # Only what differs is touched, so that the trail shows what changed and not the whole sheet.
    PumpPoint.objects.filter(pk__in=[p.pk for key, p in kept.items() if key not in seen]).delete()
    for row in rows:
        old = kept.get((row.head_m, row.power_w))
        if old is None:
            keep(row)
        elif (old.flow_l_min, old.voltage_v, old.current_a) != (row.flow_l_min, row.voltage_v, row.current_a):
            keep(old, {"flow_l_min": row.flow_l_min, "voltage_v": row.voltage_v, "current_a": row.current_a})
    return pump_type


@transaction.atomic
def keep_module_type(*, by, module_type=None, organisation=None, **values):
    return _keep(ModuleType, module_type, by, organisation, values)


@transaction.atomic
def keep_pipe(*, by, pipe=None, organisation=None, **values):
    return _keep(Pipe, pipe, by, organisation, values)


@transaction.atomic
def keep_cable(*, by, cable=None, organisation=None, **values):
    return _keep(Cable, cable, by, organisation, values)


@transaction.atomic
def keep_district(*, by, district=None, organisation=None, **values):
    return _keep(District, district, by, organisation, values)


# Nominal pressure of PE 100 with water at 20 °C, as the standard rounds it. Source: ISO 4427-2:2007, table 2.
PE_PRESSURE_BAR = {17.0: 10, 13.6: 12.5, 11.0: 16, 9.0: 20}
SMALLEST_CABLE_MM2 = 1.5  # thinner ones are not hung in wells (common practice, no source)


@transaction.atomic
def standard_catalogue(*, organisation, by=None):
    """PE pipes of ISO 4427 and flexible cables of IEC 60228 for an organisation; what it has already stays as it is.

    The sizes are those of the engineering's own tables. Returns (pipes, cables) added.
    """
    require_own(by, "edit_registry")
    names = set(Pipe.objects.filter(organisation=organisation).values_list("name", flat=True))
    pipes = [
        Pipe(organisation=organisation, name=f"PE {outside:g} x {wall:.1f}", outside_mm=outside, wall_mm=wall,
             pressure_bar=PE_PRESSURE_BAR[ratio], material="PE 100")
        for outside, walls in pipe_table().items() for ratio, wall in walls.items()
        if f"PE {outside:g} x {wall:.1f}" not in names
    ]  # fmt: skip
    names = set(Cable.objects.filter(organisation=organisation).values_list("name", flat=True))
    cables = [
        Cable(organisation=organisation, name=f"{area:g} mm² class 5", area_mm2=area, conductor_class=5)
        for area in conductor_table()["section_mm2"].tolist()
        if area >= SMALLEST_CABLE_MM2 and f"{area:g} mm² class 5" not in names
    ]  # fmt: skip
    Pipe.objects.bulk_create(pipes)
    Cable.objects.bulk_create(cables)
    return len(pipes), len(cables)
