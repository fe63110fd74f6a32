"""What a visit changed about which pump hangs where, entered in the register.

A log says it in its own words (a pump out and a pump in, a move, an end); the register learns of it only when somebody
has looked at it, because from that moment another test sheet, another well or nothing at all is expected.
"""

from dataclasses import dataclass, field
from datetime import datetime, time

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.output import services as output
from fleet.output.models import Shortfall
from fleet.readings import services as readings
from fleet.registry import services as registry
from fleet.registry.models import Installation, Unit
from fleet.visits.models import Visit
from fleet.visits.services import downward
from fleet.visits.services.logging import check_may_log, current_records
from fleet.web.quantities import zone_of
from fleet.web.refusals import Refused

KINDS = {Visit.Kind.RELOCATION: "relocation", Visit.Kind.RETIREMENT: "retirement"}
AS_MEASURED = {"pipe_m": "pipe_length_m", "rope_m": "rope_length_m", "cable_m": "cable_length_m",
               "setting_depth_m": "setting_depth_m"}  # fmt: skip


@dataclass
class Owed:
    """A change that the log tells of and the register does not know yet.

    `kind`: exchange, relocation or retirement; `other`: the pump that came in (None: its serial `serial_in` is not in
    the register); `at`, `why`, `as_built`: as far as the log tells.
    """

    kind: str
    unit: Unit
    other: Unit | None = None
    serial_in: str = ""
    at: datetime | None = None
    why: str = ""
    scrapped: bool = False
    as_built: dict = field(default_factory=dict)


def owed(visit):
    """The change that this visit owes the register, or None."""
    hung = visit.installation
    if hung is None or not hung.hangs_now or visit.state in {Visit.State.PROPOSED, Visit.State.ASSIGNED}:
        return None
    if visit.state == Visit.State.CANCELLED or visit.outcome == "not_reached":
        return None
    said = {code: record.values for code, record in current_records(visit).items()}
    at = visit.left_at or visit.arrived_at
    if visit.kind in KINDS:
        return _whole_set(visit, hung, said, at)
    pump = visit.parts.filter(part_type__code="pump").exclude(serial_in="").order_by("-pk").first()
    if pump is None or pump.unit_in_id == hung.unit_id or pump.serial_in.lower() == hung.unit.serial.lower():
        return None
    came_in = pump.unit_in or Unit.objects.filter(
        organisation=visit.organisation, serial__iexact=pump.serial_in
    ).first()
    found = visit.findings.standing().first()
    words = str(found.words or "") if found else ""
    return Owed("exchange", hung.unit, came_in, pump.serial_in, at, words or visit.why)


def _whole_set(visit, hung, said, at):
    if visit.kind == Visit.Kind.RETIREMENT:
        ends, why = said.get("end_states", {}), said.get("decision", {}).get("why", "")
        return Owed("retirement", hung.unit, at=at, why=why or visit.why, scrapped=ends.get("pump_end") != "stored")
    hang = said.get("hang", {})
    as_built = {
        ours: hang[theirs] for theirs, ours in AS_MEASURED.items() if isinstance(hang.get(theirs), int | float)
    }
    closed = _clock(said.get("old_well", {}).get("closed_at"), at, zone_of(visit.site))
    why = said.get("consent", {}).get("why", "") or visit.why
    return Owed("relocation", hung.unit, at=closed or at, why=why, as_built=as_built)


def _clock(text, day_of, zone):
    try:
        hour, minute = str(text).split(":")[:2]
        return datetime.combine(day_of.astimezone(zone).date(), time(int(hour), int(minute)), tzinfo=zone)
    except (ValueError, AttributeError):
        return None


@transaction.atomic
def enter_in_register(*, visit, at, why, by, well=None, scrapped=None, **as_built):
    """Enter what the visit changed. Returns the installation that hangs now, or None where none does any more.

    `well`: where a moved pump went; `scrapped`: whether the pump that came out is retired rather than stored. Spot
    tests taken after that moment go over to the new installation, and the shortfall of the old one ends.
    """
    visit = Visit.objects.select_for_update().get(pk=visit.pk)
    check_may_log(visit, by)
    change = owed(visit)
    if change is None:
        raise Refused("nothing_owed", _("The register knows of this already, or the log tells of no change."))
    if change.kind != "relocation" and (well is not None or as_built):
        raise Refused("no_move", _("This visit moved no pump: leave the new well and what was built there out."))
    if not why.strip():
        raise Refused("say_why", _("Say in a few words why."), field="why")
    if visit.arrived_at and at.date() < visit.arrived_at.date() - timezone.timedelta(days=1):
        raise Refused("before_visit", _("That is before the visit. Check the day."), field="at")
    old, why = visit.installation, why.strip()
    if change.kind == "retirement":
        verb = registry.take_out if scrapped is False else registry.retire
        verb(unit=change.unit, at=at, why=why, by=by)
        output.end_gone(old)
        return None
    if change.kind == "relocation":
        if well is None:
            raise Refused("say_where", _("Say which well it hangs in now."), field="well")
        made = registry.relocate(unit=change.unit, well=well, at=at, why=why, by=by, **as_built)
    else:
        made = _exchange(visit, change, at, why, by, bool(scrapped))
    keys = list(visit.spot_tests.values_list("spot_test__key", flat=True))
    readings.move_spot_tests(keys=keys, installation=made)
    output.end_gone(old)
    return made


def _exchange(visit, change, at, why, by, scrapped):
    if change.other is None:
        raise Refused(
            "unit_unknown", _("%(serial)s is not in the register. Add the unit first.") % {"serial": change.serial_in}
        )
    made = registry.exchange(unit=change.unit, other=change.other, at=at, why=why, by=by, retire_old=scrapped)
    shortfall = visit.shortfall
    if shortfall is not None and shortfall.state != Shortfall.State.CLOSED:
        words = _("%(out)s was replaced by %(into)s") % {"out": change.unit.serial, "into": change.other.serial}
        day = at.astimezone(zone_of(visit.site)).date()
        downward.end_shortfall(shortfall=shortfall, ending=Shortfall.Ending.REPAIRED, words=words,
                               on=max(day, shortfall.flagged_on))  # fmt: skip
    return made


def hangs_after(visit):
    """The installation that the visit left behind: its own, or the one that took its place."""
    hung = visit.installation
    if hung is None or hung.hangs_now:
        return hung
    rows = Installation.objects.hanging()
    moved = rows.filter(unit=hung.unit_id, period__startswith=hung.period.upper).first()
    return moved or rows.filter(well=hung.well_id, period__startswith=hung.period.upper).first()
