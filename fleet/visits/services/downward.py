"""What visits tell the rooms below: readings to keep, findings that teach, shortfalls that end."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.output import services as output
from fleet.readings import services as readings
from fleet.registry.models import StaticLevel
from fleet.visits.cause_names import TEACHES
from fleet.visits.models import FieldPiece
from fleet.visits.services import answers
from fleet.web.refusals import Refused


def keep_spot_test(*, installation, at, kind, by, key, figures, asked):
    """asked: about slips, where it was typed. A test that was not is looked at here, and waits if it is in doubt."""
    test, _new = readings.keep_spot_test(
        installation=installation, at=at, kind=kind, by=by, key=key, looked=asked, **figures
    )
    if not asked:
        output.look_at_tests([installation.pk])
    return test


def let_count(key, *, counts):
    """A spot test that was corrected at the well counts no more; the one that corrected it does."""
    readings.let_spot_test_count(key=key, counts=counts)


def answer_spot(installation, test):
    """Expected range and verdict for one spot test, with what to check next."""
    return answers.whole(output.answer_spot(installation, test))


def keep_side_readings(visit, records, by):
    """The meter figure and the rested level that were recorded on the way become readings. Again changes nothing.

    Returns sentences for what could not stand among the readings; the figures stay on the visit.
    """
    remarks = []
    if visit.installation is None:
        return remarks
    zone = ZoneInfo(visit.site.zone)
    meter = records.get("meter")
    if meter and isinstance(meter.values.get("meter_total_l"), int | float):
        at = _clock(meter.values.get("meter_at"), meter.at, zone)
        try:
            readings.keep_meter_reading(
                installation=visit.installation, total_l=meter.values["meter_total_l"], at=at, by=by,
                tank_full_seen={"full": True, "part": False, "empty": False}.get(meter.values.get("tank")),
            )  # fmt: skip
        except Refused as refusal:
            remarks.append(_("Meter figure: %(why)s") % {"why": refusal})
    level = records.get("static_level")
    if level and isinstance(level.values.get("static_level_m"), int | float):
        StaticLevel.objects.get_or_create(
            well=visit.installation.well, measured_on=level.at.astimezone(zone).date(),
            defaults={"level_m": level.values["static_level_m"], "hours_since_pumped": level.values.get("rested_h")},
        )  # fmt: skip
    return remarks


def _clock(text, day_of, zone):
    """A clock time "14:35" on the local day of a moment; the moment itself where none was written."""
    try:
        hour, minute = str(text).split(":")[:2]
        at = datetime.combine(day_of.astimezone(zone).date(), time(int(hour), int(minute)), tzinfo=zone)
    except ValueError:
        return day_of
    return min(at, timezone.now())


def teach(finding, by):
    """A confirmed finding teaches the odds of the next diagnosis; the same one never twice."""
    installation, cause = finding.visit.installation, TEACHES.get(finding.cause)
    if installation is None or cause is None or not finding.confirmed or finding.taken_back_at is not None:
        return False
    on = finding.noted_at.astimezone(ZoneInfo(finding.visit.site.zone)).date()
    way = "telephone" if FieldPiece.objects.filter(key=finding.key).exists() else "desk"
    return output.learn(cause=cause, found=finding.key, installation=installation, by=by, on=on, way=way)


def end_shortfall(*, shortfall, ending, words, on):
    """Close a shortfall as repaired or explained; the evidence starts anew from that day."""
    output.end_shortfall(shortfall=shortfall, ending=ending, words=words, on=on)
