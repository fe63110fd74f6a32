"""Catalogue: types and sizes that units and installations refer to."""

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.registry.models import Cable, District, ModuleType, Pipe, PumpPoint, PumpType
from fleet.registry.services.keeping import keep, require_own
from fleet.web.refusals import Refused


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


# Outside diameters of ISO 4427-2 that drop pipes come in; the wall is the diameter over the ratio SDR, rounded up to a
# tenth of a millimetre, and never below 2.0 (from memory of the standard's table; compare with the maker's sheet).
PE_OUTSIDE_MM = (20, 25, 32, 40, 50, 63, 75, 90)
PE_WALLS_MM = {  # SDR 11 and SDR 9 rows of the same table; PE 100, 16 and 20 bar with water at 20 °C
    (20, 11): 2.0, (25, 11): 2.3, (32, 11): 3.0, (40, 11): 3.7, (50, 11): 4.6, (63, 11): 5.8, (75, 11): 6.8,
    (90, 11): 8.2, (20, 9): 2.3, (25, 9): 3.0, (32, 9): 3.6, (40, 9): 4.5, (50, 9): 5.6, (63, 9): 7.1, (75, 9): 8.4,
    (90, 9): 10.1,
}  # fmt: skip
PE_PRESSURE_BAR = {11: 16, 9: 20}
CABLE_AREAS_MM2 = (1.5, 2.5, 4, 6, 10, 16, 25, 35)  # nominal sections of IEC 60228, class 5 (flexible)


@transaction.atomic
def standard_catalogue(*, organisation, by=None):
    """PE pipes of ISO 4427 and flexible cables of IEC 60228 for an organisation; what it has already stays as it is.

    Returns (pipes, cables) added.
    """
    require_own(by, "edit_registry")
    names = set(Pipe.objects.filter(organisation=organisation).values_list("name", flat=True))
    pipes = [
        Pipe(organisation=organisation, name=f"PE {outside} x {wall:.1f}", outside_mm=outside, wall_mm=wall,
             pressure_bar=PE_PRESSURE_BAR[ratio], material="PE 100")
        for (outside, ratio), wall in PE_WALLS_MM.items() if f"PE {outside} x {wall:.1f}" not in names
    ]  # fmt: skip
    names = set(Cable.objects.filter(organisation=organisation).values_list("name", flat=True))
    cables = [
        Cable(organisation=organisation, name=f"{area:g} mm² class 5", area_mm2=area, conductor_class=5)
        for area in CABLE_AREAS_MM2 if f"{area:g} mm² class 5" not in names
    ]  # fmt: skip
    Pipe.objects.bulk_create(pipes)
    Cable.objects.bulk_create(cables)
    return len(pipes), len(cables)
