"""Units: the physical pumps."""

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.registry.models import Unit, UnitPoint
from fleet.registry.services.keeping import keep, require_own
from fleet.web.refusals import Refused


@transaction.atomic
def keep_unit(*, by, unit=None, organisation=None, **values):
    require_own(by, "edit_registry", unit, values.get("pump_type"))
    return keep(unit or Unit(organisation=organisation or by.organisation), values)


@transaction.atomic
def keep_unit_points(*, unit, points, by):
    """The unit's own test sheet, whole: dicts of head_m, power_w, flow_l_min, voltage_v, current_a."""
    require_own(by, "edit_registry", unit)
    wanted = {}
    for point in points:
        key = point["head_m"], point["power_w"]
        if key in wanted:
            raise Refused("point_twice", _("Head %(head)g m and power %(power)g W stand there twice.")
                          % {"head": key[0], "power": key[1]}, "points")  # fmt: skip
        wanted[key] = point
    for old in unit.points.all():
        point = wanted.pop((old.head_m, old.power_w), None)
        if point is None:
            old.delete()
        elif any(getattr(old, name) != value for name, value in point.items()):
            keep(old, point)
    for point in wanted.values():
        keep(UnitPoint(unit=unit), point)
    return unit
