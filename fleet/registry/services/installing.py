"""A unit into a well and out of it: install, relocate, take out, put in store, retire, correct.

Each is one transaction. The database forbids two units in one well and one unit in two wells; these verbs say it in
words first, and turn the race that they cannot see into the same words.
"""

from django.db import transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.registry.models import Installation, Unit, Well
from fleet.registry.services.keeping import keep, require_own
from fleet.web.refusals import Refused

AS_BUILT = {
    "module_type", "modules_in_series", "strings", "tilt_deg", "azimuth_deg", "mounting_height_m", "fenced",
    "boxes_shaded", "pipe", "pipe_length_m", "rope_length_m", "cable", "cable_length_m", "setting_depth_m",
    "dry_run_probe", "controller", "controller_serial", "controller_max_voltage_v", "meter_rollover_l",
    "instrument_level", "installer", "commissioned_on", "handed_over_on", "next_inspection_on", "notes",
}  # fmt: skip


def _past(at, field="at"):
    if at > timezone.now() + timezone.timedelta(days=1):
        raise Refused("in_the_future", _("That moment has not come yet."), field)


def _lock(unit, well=None):
    """Both rows held, the unit first, so that two people who move pumps at once wait for each other in one order."""
    unit = Unit.objects.select_for_update().get(pk=unit.pk)
    if well is not None:
        Well.objects.select_for_update().get(pk=well.pk)
    return unit


@transaction.atomic
def install(*, unit, well, at, by, **as_built):
    """Hang a stored unit in an empty well from a moment on. Returns the installation."""
    require_own(by, "log", unit, well)
    _past(at)
    unit = _lock(unit, well)
    if unit.status == Unit.Status.RETIRED:
        raise Refused("unit_retired", _("This unit is retired. Put it in store first."), "unit")
    hangs = Installation.objects.hanging().filter(unit=unit).select_related("well__site").first()
    if hangs:
        raise Refused("unit_elsewhere", _("This unit hangs in %(well)s. Relocate it, or take it out there first.")
                      % {"well": hangs.well}, "unit")  # fmt: skip
    return _hang(unit, well, at, as_built)


def _hang(unit, well, at, as_built):
    there = Installation.objects.filter(well=well, period__contains=at).select_related("unit").first()
    if there:
        raise Refused("well_taken", _("Unit %(serial)s hangs in this well then. Take it out first.")
                      % {"serial": there.unit.serial}, "well")  # fmt: skip
    later = Installation.objects.filter(well=well, period__startswith__gt=at).select_related("unit").first()
    if later:
        raise Refused("well_taken", _("Unit %(serial)s was hung in this well later than that.")
                      % {"serial": later.unit.serial}, "at")  # fmt: skip
    earlier = Installation.objects.filter(unit=unit, period__endswith__gt=at).select_related("well__site").first()
    if earlier:
        raise Refused("unit_elsewhere", _("This unit hung in %(well)s until after that moment.")
                      % {"well": earlier.well}, "at")  # fmt: skip
    made = Installation(organisation_id=unit.organisation_id, unit=unit, well=well)
    values = {k: v for k, v in as_built.items() if k in AS_BUILT}
    keep(made, values | {"period": DateTimeTZRange(at, None, "[)")})
    if unit.status != Unit.Status.INSTALLED:
        keep(unit, {"status": Unit.Status.INSTALLED, "retired_why": ""})
    return made


def _close(installation, at, why):
    if installation.period.upper is not None:
        raise Refused("closed_already", _("This installation ended already."))
    if at <= installation.period.lower:
        raise Refused("before_start", _("It cannot end before it began, on %(day)s.")
                      % {"day": f"{installation.period.lower:%Y-%m-%d}"}, "at")  # fmt: skip
    keep(installation, {
        "period": DateTimeTZRange(installation.period.lower, at, "[)"), "closed_why": (why or "")[:200],
        "next_inspection_on": None,
    })  # fmt: skip


def _hanging(unit):
    found = Installation.objects.hanging().select_for_update().filter(unit=unit).first()
    if found is None:
        raise Refused("not_hanging", _("This unit hangs nowhere now."), "unit")
    return found


@transaction.atomic
def relocate(*, unit, well, at, why, by, **as_built):
    """Move a unit: one installation ends and the next begins at the same moment. Returns the new installation.

    What is not said about the new one is taken over where it travels with the pump (modules, cable, controller).
    """
    require_own(by, "log", unit, well)
    _past(at)
    unit = _lock(unit, well)
    old = _hanging(unit)
    if old.well_id == well.pk:
        raise Refused("same_well", _("It hangs in that well already. Correct the installation instead."), "well")
    _close(old, at, why)
    travels = ("module_type", "modules_in_series", "strings", "pipe", "cable", "controller", "controller_serial",
               "controller_max_voltage_v", "meter_rollover_l", "instrument_level", "dry_run_probe")  # fmt: skip
    return _hang(unit, well, at, {name: getattr(old, name) for name in travels} | as_built)


@transaction.atomic
def exchange(*, unit, other, at, why, by, retire_old=False):
    """Another pump in the same well, everything else left as it was built. Returns the new installation.

    The old pump goes into store, or is retired; the next inspection that stood on it goes over to the new one.
    """
    require_own(by, "log", unit, other)
    _past(at)
    for row in sorted((unit, other), key=lambda row: row.pk):  # one order for all, so that nobody waits in a circle
        _lock(row)
    old = _hanging(unit)
    due = old.next_inspection_on
    stays = {name: getattr(old, name) for name in AS_BUILT - {"commissioned_on", "handed_over_on"}}
    if retire_old:
        retire(unit=unit, why=why, by=by, at=at)
    else:
        take_out(unit=unit, at=at, why=why, by=by)
    return install(unit=other, well=old.well, at=at, by=by, **stays | {"next_inspection_on": due})


@transaction.atomic
def take_out(*, unit, at, why, by):
    """Out of its well and into store. Returns the installation that ended."""
    require_own(by, "log", unit)
    _past(at)
    unit = _lock(unit)
    old = _hanging(unit)
    _close(old, at, why)
    keep(unit, {"status": Unit.Status.STORED})
    return old


@transaction.atomic
def retire(*, unit, why, by, at=None):
    """For good: taken out if it hangs, and its history stays."""
    require_own(by, "log", unit)
    if not (why or "").strip():
        raise Refused("say_why", _("Say why it is retired."), "why")
    unit = _lock(unit)
    if unit.status == Unit.Status.RETIRED:
        raise Refused("retired_already", _("This unit is retired already."))
    if Installation.objects.hanging().filter(unit=unit).exists():
        at = at or timezone.now()
        _past(at)
        _close(_hanging(unit), at, why)
    return keep(unit, {"status": Unit.Status.RETIRED, "retired_why": why[:200]})


@transaction.atomic
def put_in_store(*, unit, by):
    """A retired unit comes back into store: it was retired by mistake, or repaired after all."""
    require_own(by, "edit_registry", unit)
    unit = _lock(unit)
    if unit.status == Unit.Status.INSTALLED:
        raise Refused("hangs", _("This unit hangs in a well. Take it out of there."))
    return keep(unit, {"status": Unit.Status.STORED, "retired_why": ""})


@transaction.atomic
def correct(*, installation, by, **as_built):
    """Facts of an installation put right; unit, well and period are changed by the other verbs."""
    require_own(by, "log", installation, as_built.get("module_type"), as_built.get("pipe"), as_built.get("cable"))
    return keep(installation, {k: v for k, v in as_built.items() if k in AS_BUILT})
