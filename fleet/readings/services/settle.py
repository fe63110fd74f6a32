"""Figures in doubt: marked by the judgement, settled by a person in one click."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals
from fleet.readings.models import DayRecord, MeterReading, Slip, SpotTest, Standing
from fleet.readings.services.clock import local_day
from fleet.web.refusals import Refused


@transaction.atomic
def settle(*, slip, how, by, value=None):
    """Settle one figure. `how`: "as_suggested", "other" (with `value`), "keep" (as written) or "aside" (do not use).

    The figure counts (or not) from then on, and the judgement goes back to that day by itself.
    """
    require(by, "settle")
    slip = Slip.objects.visible_to(by).select_for_update(of=("self",)).filter(pk=slip.pk).first()
    if slip is None:
        raise Refused("not_found", _("There is no such figure to settle."))
    if slip.state != Slip.State.OPEN:
        raise Refused("already_settled", _("This figure has been settled already: %s.") % slip.get_state_display())
    if how == "as_suggested":
        if slip.suggested is None and slip.other_id is None:
            raise Refused("nothing_suggested", _("Nothing is suggested here. Give the right figure, or set it aside."))
        _write(slip, slip.suggested, Standing.CORRECTED)
        slip.state = Slip.State.CORRECTED
    elif how == "other":
        if value is None:
            raise Refused("no_value", _("Give the right figure."), field="value")
        if value < 0:
            raise Refused("out_of_range", _("Zero or more, please."), field="value")
        _write(slip, value, Standing.CORRECTED)
        slip.suggested, slip.state = value, Slip.State.AMENDED
    elif how == "keep":
        _write(slip, None, Standing.CORRECTED)
        slip.state = Slip.State.KEPT
    elif how == "aside":
        _write(slip, None, Standing.SET_ASIDE)
        slip.state = Slip.State.ASIDE
    else:
        sentence = _("Choose: as suggested, another figure, keep as written, or set aside.")
        raise Refused("unknown_answer", sentence, field="how")
    slip.settled_by, slip.settled_at = by, timezone.now()
    slip.save(update_fields=["state", "suggested", "settled_by", "settled_at"])
    for installation in filter(None, (slip.installation, slip.other)):
        arrivals.note_day(installation.pk, local_day(installation, slip.at))
    return slip


def _write(slip, value, standing):
    """The figure and its standing in the row in doubt. `value` None leaves the figure as it is."""
    if slip.subject == Slip.Subject.METER:
        _write_meter(slip, value, standing)
    elif slip.subject == Slip.Subject.SPOT:
        _change(SpotTest.objects.filter(pk=slip.spot_test_id), slip.field, value, {"standing": standing})
    else:
        mark = "noon_standing" if slip.subject == Slip.Subject.NOON else "standing"
        rows = DayRecord.objects.filter(installation_id=slip.installation_id, day=local_day(slip.installation, slip.at))
        _change(rows, slip.field, value, {mark: standing})


def _write_meter(slip, value, standing):
    rows = MeterReading.objects.filter(pk=slip.meter_reading_id)
    changes = {"standing": standing}
    if slip.kind == Slip.Kind.ROLLOVER and standing == Standing.CORRECTED:
        changes["rolled_over"] = True
    if slip.kind == Slip.Kind.WRONG_SERIAL and slip.other_id and slip.suggested == value and value is not None:
        # It belongs to the other unit: hand it over, unless that one has a figure for the moment already.
        reading = rows.select_for_update().get()
        taken = MeterReading.objects.filter(installation_id=slip.other_id, at=reading.at).exclude(pk=reading.pk)
        if taken.exists():
            raise Refused(
                "already_there", _("The other unit has a figure for this moment already. Set this one aside instead.")
            )
        changes["installation_id"] = slip.other_id
        changes["written_serial"] = slip.installation.unit.serial
    _change(rows, slip.field, value, changes)


def _change(rows, field, value, changes):
    if value is not None:
        changes[field] = value
    if rows.update(**changes) != 1:
        raise Refused("gone", _("The reading is no longer there."))
