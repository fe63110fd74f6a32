"""Someone rings: ask first, drive only if it must be."""

from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.registry.models import Installation
from fleet.visits.codes import PHONE_QUESTIONS
from fleet.visits.models import Call, Visit
from fleet.visits.services.planning import propose
from fleet.web.refusals import Refused

RING_BACK_DAYS = 3  # after something was settled by telephone (field practice)


def advice(answers):
    """Sentences that the answers suggest before anyone drives."""
    found = []
    for question in PHONE_QUESTIONS:
        hint = question["hint"].get(_key(answers.get(question["code"])))
        if hint:
            found.append(str(hint))
    return found


def _key(answer):
    return {True: "yes", False: "no"}.get(answer, answer) if isinstance(answer, bool | str) else None


def is_danger(answers):
    return _key(answers.get("tingle")) == "yes"


@transaction.atomic
def take_call(*, site, words, by, at=None, caller="", phone="", answers=None):
    """Keep a call with its answers. Returns the call."""
    require(by, "take_calls")
    if by is not None and site.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This site belongs to another organisation."), field="site")
    if not words.strip():
        raise Refused("no_words", _("Write what the caller sees, in their words."), field="words")
    at = at or timezone.now()
    if at > timezone.now() + timedelta(minutes=10):
        raise Refused("time_to_come", _("This time has not come yet. Check day and hour."), field="at")
    return Call.objects.create(
        organisation=site.organisation, site=site, at=at, words=words.strip(), caller=caller.strip(),
        phone=phone.strip(), answers=answers or {}, taken_by=by,
    )  # fmt: skip


def _still_open(call, by, deed):
    require(by, deed)
    call = Call.objects.select_for_update().get(pk=call.pk)
    if by is not None and call.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This call belongs to another organisation."))
    if call.state in {Call.State.VISIT, Call.State.CLOSED}:
        raise Refused("call_settled", _("This call is settled already: %(how)s.") % {"how": call.get_state_display()})
    return call


@transaction.atomic
def solve_by_phone(*, call, by, call_back_on=None):
    """Nobody drives; ring back in three days, unless another day is given."""
    call = _still_open(call, by, "take_calls")
    if is_danger(call.answers):
        raise Refused("danger", _("Someone felt a tingle: this cannot be settled by telephone. Send someone."))
    call.state = Call.State.BY_PHONE
    call.call_back_on = call_back_on or timezone.localdate() + timedelta(days=RING_BACK_DAYS)
    call.save(update_fields=["state", "call_back_on"])
    return call


@transaction.atomic
def close_call(*, call, by):
    """It was well when we rang back, or it came to nothing."""
    call = _still_open(call, by, "take_calls")
    call.state = Call.State.CLOSED
    call.save(update_fields=["state"])
    return call


@transaction.atomic
def visit_for_call(*, call, by, kind=Visit.Kind.REPAIR, due_on=None):
    """Someone must drive. Danger is due today."""
    call = _still_open(call, by, "assign")
    hanging = Installation.objects.hanging().filter(well__site=call.site).order_by("-period").first()
    if due_on is None and is_danger(call.answers):
        due_on = timezone.localdate()
    visit = propose(
        site=call.site, installation=hanging, kind=kind, why=call.words[:300], call=call, due_on=due_on, by=by
    )
    call.state = Call.State.VISIT
    call.save(update_fields=["state"])
    return visit
