"""Figures in doubt: marked by the judgement, settled by a person in one click.

An exchange settles both readings at once. A meter that started again settles with it whatever else its round explains.
A test or a noon with several figures in doubt counts when the last of them is settled; set aside, it is so as a whole.
Volts and amps in each other's place are one doubt of two figures: changed over or kept together.
What a settling changes is kept with it, so that it can be taken back (`decisions`).
"""

from math import isclose

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals
from fleet.readings.models import MeterReading, Slip, Standing
from fleet.readings.services.clock import local_day
from fleet.readings.services.decisions import TABLES, Touched, keep_decision
from fleet.readings.services.meters import went_round
from fleet.registry.models import Installation
from fleet.registry.services import correct
from fleet.web.quantities import litres_written
from fleet.web.refusals import Refused


@transaction.atomic
def settle(*, slip, how, by, value=None):
    """Settle one figure. `how`: "as_suggested", "other" (with `value`), "keep" (as written) or "aside" (do not use).

    The figure counts (or not) from then on, and the judgement goes back to that day by itself. Returns the slip.
    """
    require(by, "settle")
    slip, beside = _held(slip, how, by)
    if slip.state != Slip.State.OPEN:
        raise Refused("already_settled", _("This figure has been settled already: %s.") % slip.get_state_display())
    settled, touched = [slip], Touched()
    suggested = {str(row.pk): row.suggested for row in (slip, *beside)}
    if how == "as_suggested":
        settled = _as_suggested(slip, beside, by, touched)
        state = Slip.State.CORRECTED
    elif how == "other":
        if value is None:
            raise Refused("no_value", _("Give the right figure."), field="value")
        if value < 0:
            raise Refused("out_of_range", _("Zero or more, please."), field="value")
        _write(touched, slip, value, Standing.CORRECTED)
        slip.suggested, state = value, Slip.State.AMENDED
    elif how == "keep":
        settled = [slip, *_changed_over(slip, beside)]
        for one in settled:
            _write(touched, one, None, Standing.CORRECTED, settled)
        state = Slip.State.KEPT
    elif how == "aside":
        _write(touched, slip, None, Standing.SET_ASIDE)
        settled += beside
        state = Slip.State.ASIDE
    else:
        sentence = _("Choose: as suggested, another figure, keep as written, or set aside.")
        raise Refused("unknown_answer", sentence, field="how")
    now = timezone.now()
    suggestions = {str(one.pk): suggested[str(one.pk)] for one in settled}
    settled.sort(key=lambda one: one.pk != slip.pk)
    keep_decision(slips=settled, how=how, by=by, at=now, touched=touched, suggestions=suggestions)
    for one in settled:
        one.state, one.settled_by, one.settled_at = state, by, now
        one.save(update_fields=["state", "suggested", "settled_by", "settled_at", "decision"])
    _look_again(settled)
    return slip


def _held(slip, how, by):
    """The slip and those that are settled with it, locked in one order, so that nobody waits in a circle."""
    seen = Slip.objects.visible_to(by)
    slip = seen.filter(pk=slip.pk).first()
    if slip is None:
        raise Refused("not_found", _("There is no such figure to settle."))
    beside = Slip.objects.none()
    if how == "as_suggested" and slip.kind == Slip.Kind.SWAPPED_READINGS and slip.other_id:
        beside = seen.other_half(slip)
    elif slip.subject in (Slip.Subject.NOON, Slip.Subject.SPOT):
        beside = seen.waiting().of_one_record(slip)
    elif how == "as_suggested" and slip.kind == Slip.Kind.ROLLOVER:
        Installation.objects.select_for_update().get(pk=slip.installation_id)
        beside = seen.waiting().filter(
            installation=slip.installation_id, subject=Slip.Subject.METER,
            kind__in=(Slip.Kind.BACKWARDS, Slip.Kind.ROLLOVER),
        )  # fmt: skip
    wanted = {slip.pk, *beside.values_list("pk", flat=True)}
    rows = list(Slip.objects.select_for_update().filter(pk__in=wanted).order_by("pk"))
    held = next((row for row in rows if row.pk == slip.pk), None)
    if held is None or held.kind != slip.kind:
        raise Refused("changed", _("This figure was judged anew just now. Look at it again."))
    return held, [row for row in rows if row.pk != slip.pk]


def _as_suggested(slip, beside, by, touched):
    """Do what is suggested. Returns all slips that this settles."""
    if slip.suggested is None and slip.other_id is None:
        raise Refused("nothing_suggested", _("Nothing is suggested here. Give the right figure, or set it aside."))
    if slip.kind == Slip.Kind.SWAPPED_READINGS and slip.other_id:
        return _exchange(slip, beside, touched)
    if slip.kind == Slip.Kind.ROLLOVER:
        return _start_again(slip, beside, by, touched)
    if slip.kind == Slip.Kind.VOLTS_FOR_AMPS:
        return _change_over(slip, beside, touched)
    _write(touched, slip, slip.suggested, Standing.CORRECTED)
    return [slip]


def _changed_over(slip, beside):
    """The other figure of volts and amps in each other's place, where it waits."""
    kind = Slip.Kind.VOLTS_FOR_AMPS
    return [row for row in beside if slip.kind == kind and row.kind == kind and row.state == Slip.State.OPEN][:1]


def _change_over(slip, beside, touched):
    """Volts and amps of a test change places."""
    both = [slip, *_changed_over(slip, beside)]
    if len(both) < 2:
        sentence = _(
            "The other figure has been settled otherwise. Give the right figure here, keep it, or set the test aside."
        )
        raise Refused("other_settled", sentence)
    for one, other in (both, reversed(both)):
        stands = _rows(one).values_list(one.field, flat=True).first()
        if not (_same(stands, one.found) and _same(one.suggested, other.found)):
            raise Refused("changed", _("A figure of this exchange has changed since it was marked. Give the right "
                                       "figure here, keep it, or set it aside."))  # fmt: skip
    for one in both:
        _write(touched, one, one.suggested, Standing.CORRECTED, both)
    return both


def _exchange(slip, beside, touched):
    """Both readings change places."""
    other = min(beside, key=lambda row: (abs(row.at - slip.at), row.pk), default=None)
    if other is None:
        raise Refused("other_gone", _("The other reading of this exchange is no longer in doubt. Give the right figure "
                                      "here, keep it, or set it aside."))  # fmt: skip
    words = {"serial": other.installation.unit.serial, "state": other.get_state_display()}
    if other.state != Slip.State.OPEN:
        raise Refused("other_settled", _("The reading of %(serial)s has been settled otherwise: %(state)s. Give the "
                                         "right figure here, keep it, or set it aside.") % words)  # fmt: skip
    if not (_same(slip.suggested, other.found) and _same(slip.found, other.suggested)):
        raise Refused("changed", _("This figure was judged anew just now. Look at it again."))
    for one in (slip, other):
        if not _same(_rows(one).values_list(one.field, flat=True).first(), one.found):
            raise Refused("changed", _("A figure of this exchange has changed since it was marked. Give the right "
                                       "figure here, keep it, or set it aside."))  # fmt: skip
    for one in (slip, other):
        _write(touched, one, one.suggested, Standing.CORRECTED)
    return [slip, other]


def _same(figure, other):
    return figure is not None and other is not None and isclose(figure, other, rel_tol=1e-6)


def _start_again(slip, beside, by, touched):
    """The meter starts again at the round that is suggested. The figure stays, the installation remembers the round,
    and every total that was less than the one before it and is explained by it is settled as well."""
    installation, round_l = slip.installation, slip.suggested
    _must_fit(slip, installation, round_l)
    if installation.meter_rollover_l != round_l:
        was, became = {"meter_rollover_l": installation.meter_rollover_l}, {"meter_rollover_l": round_l}
        touched.note("installation", {"pk": installation.pk}, was, became)
        correct(installation=installation, by=by, meter_rollover_l=round_l)
    settled = []
    for one in sorted([slip, *beside], key=lambda row: (row.at, row.pk)):
        total_l, before = one.meter_reading.total_l, _before(one)
        if before is None:
            continue
        less = total_l < before.total_l
        over = less and (one == slip or went_round(total_l, before.total_l, round_l))
        if over or not less:
            changes = {"standing": Standing.CORRECTED, "rolled_over": over}
            touched.change(*_place(one), changes, watched=[one.field])
            settled.append(one)
    return settled


def _must_fit(slip, installation, round_l):
    words = {"round": litres_written(round_l)}
    if installation.meter_rollover_l not in (None, round_l):
        words |= {"known": litres_written(installation.meter_rollover_l)}
        raise Refused("round_known", _("It is kept that this meter starts again after %(known)s, not %(round)s. "
                                       "Correct that at the installation first, or keep the figure as written.")
                      % words)  # fmt: skip
    before = _before(slip)
    if before is None or slip.meter_reading.total_l >= before.total_l:
        raise Refused("not_less", _("This total is no longer less than the one before. Keep it as written."))
    if round_l <= before.total_l:
        words |= {"total": litres_written(before.total_l)}
        raise Refused("round_too_small", _("This meter has shown %(total)s, so it does not start again after "
                                           "%(round)s. Give the right figure, keep it, or set it aside.")
                      % words)  # fmt: skip


def _before(slip):
    """The newest total before this one that counts."""
    readings = MeterReading.objects.of(slip.installation_id).used()
    return readings.before(slip.meter_reading.at).order_by("-at").first()


def _look_again(settled):
    """The judgement goes back to the first day concerned of each installation."""
    days = {
        (installation.pk, local_day(installation, slip.at))
        for slip in settled for installation in (slip.installation, slip.other) if installation is not None
    }  # fmt: skip
    for pk, day in sorted(days):
        arrivals.note_day(pk, day)


def _place(slip):
    """The row in doubt: its table and its key."""
    if slip.subject == Slip.Subject.METER:
        return "meter", {"pk": slip.meter_reading_id}
    if slip.subject == Slip.Subject.SPOT:
        return "spot", {"pk": slip.spot_test_id}
    day = local_day(slip.installation, slip.at)
    return "day", {"installation_id": slip.installation_id, "day": day.isoformat()}


def _rows(slip):
    table, key = _place(slip)
    return TABLES[table].objects.filter(**key)


def _write(touched, slip, value, standing, together=()):
    """The figure and its standing in the row in doubt. `value` None leaves the figure as it is; together: what is
    settled with it."""
    mark = "noon_standing" if slip.subject == Slip.Subject.NOON else "standing"
    others = Slip.objects.waiting().of_one_record(slip).exclude(pk__in=[one.pk for one in together])
    if standing == Standing.CORRECTED and others.exists():
        standing = Standing.IN_DOUBT  # until the other figures of the same test or noon are settled, too
    changes = {mark: standing}
    if slip.kind == Slip.Kind.WRONG_SERIAL and slip.subject == Slip.Subject.METER:
        changes |= _handed_over(slip, value)
    if value is not None:
        changes[slip.field] = value
    touched.change(*_place(slip), changes, watched=[slip.field])


def _handed_over(slip, value):
    """What changes when it belongs to the other unit, unless that one has a figure for the moment already."""
    if not slip.other_id or slip.suggested != value or value is None:
        return {}
    reading = _rows(slip).select_for_update().get()
    taken = MeterReading.objects.filter(installation_id=slip.other_id, at=reading.at).exclude(pk=reading.pk)
    if taken.exists():
        raise Refused(
            "already_there", _("The other unit has a figure for this moment already. Set this one aside instead.")
        )
    return {"installation_id": slip.other_id, "written_serial": slip.installation.unit.serial}
