"""Closing a visit: what came of it, for the shortfall, for the next inspection, for the odds of the next diagnosis."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.output.models import Shortfall
from fleet.visits.cause_names import CAUSES, NO_FAULT
from fleet.visits.codes import OUTCOMES
from fleet.visits.models import Call, Visit
from fleet.visits.services import downward
from fleet.visits.services.entering import hangs_after
from fleet.visits.services.logging import check_may_log, current_records
from fleet.visits.services.planning import locked
from fleet.visits.services.rules import next_inspection_on
from fleet.visits.services.setting_up import procedure_for
from fleet.web.refusals import Refused

UNFINISHED = {"part_awaited", "not_mended"}
DONE_FOR = {"restored", "in_order", "explained"}


def after_test_of(visit):
    """The latest after-test of a visit, or None."""
    return (
        visit.spot_tests.filter(spot_test__kind="after_work").select_related("spot_test")
        .order_by("spot_test__at", "pk").last()
    )  # fmt: skip


def open_steps(visit):
    """Needed steps that were neither recorded nor skipped with a reason."""
    done = current_records(visit)
    steps = visit.procedure.steps if visit.procedure else []
    return [step for step in steps if step.get("needed", True) and step["code"] not in done]


def _check(visit, outcome, why):
    if visit.state in {Visit.State.CLOSED, Visit.State.CANCELLED}:
        raise Refused("not_open", _("This visit is %(state)s already.") % {"state": visit.get_state_display()})
    if outcome not in OUTCOMES:
        raise Refused("unknown_code", _("Choose what came of the visit."), field="outcome")
    if visit.state not in {Visit.State.LOGGED, Visit.State.UNDER_WAY} and outcome != "not_reached":
        raise Refused("not_under_way", _("Nobody has been there yet. Log the visit first, or call it off."))
    if outcome == "not_reached":
        return
    if visit.left_at is None:
        raise Refused("not_left", _("Say first when you left."), field="left_at")
    waiting = open_steps(visit)
    if waiting and not (why.strip() or visit.not_done):
        raise Refused(
            "steps_open",
            _("%(n)d steps are open: %(which)s. Record them, or say why they were left.")
            % {"n": len(waiting), "which": ", ".join(_(s["title"]) for s in waiting[:4])},
            field="not_done",
        )


def _check_repair(visit, outcome):
    """A repair closes only with an after-test, and as restored only if that test says so."""
    if visit.kind != Visit.Kind.REPAIR or outcome == "not_reached":
        return
    if outcome not in DONE_FOR:
        raise Refused(
            "repair_stays_open",
            _("A repair that is not done stays open. Leave it open with its reason; a follow-up visit is made of it."),
            field="outcome",
        )
    test = after_test_of(visit)
    if test is None:
        raise Refused(
            "no_after_test",
            _("A repair closes only with an after-test. Take the spot test again, or leave the visit open."),
            field="outcome",
        )
    if outcome == "restored" and test.answer.get("verdict") == "below":
        raise Refused(
            "after_test_below",
            _("The after-test is still below what is expected. Leave the visit open, or say what explains it."),
            field="outcome",
        )


@transaction.atomic
def close(*, visit, outcome, by, shortfall="", explained="", not_done="", next_on=None):
    """Close a visit. `shortfall`: "closes", "explains" or "keeps" the one that caused it.

    Sets the next inspection by the rules (or `next_on`), teaches the odds from confirmed findings, closes the call, and
    closes the unfinished visits that this one followed.
    """
    visit = locked(visit)
    check_may_log(visit, by)
    _check(visit, outcome, not_done)
    _check_repair(visit, outcome)
    if not_done.strip():
        visit.not_done = not_done.strip()
    _settle_shortfall(visit, outcome, shortfall, explained)
    visit.remarks = downward.keep_side_readings(visit, current_records(visit), by)
    visit.state, visit.outcome = Visit.State.CLOSED, outcome
    visit.closed_at, visit.closed_by = timezone.now(), by
    visit.save(update_fields=["state", "outcome", "closed_at", "closed_by", "not_done"])
    for finding in visit.findings.standing():
        downward.teach(finding, by)
    if outcome != "not_reached":
        _set_next_inspection(visit, next_on)
    if visit.call_id:
        Call.objects.filter(pk=visit.call_id).update(state=Call.State.CLOSED)
    _close_followed(visit, by)
    return visit


def _settle_shortfall(visit, outcome, how, words):
    shortfall = visit.shortfall
    if shortfall is None or shortfall.state == Shortfall.State.CLOSED or outcome == "not_reached":
        return
    how = how or {"restored": "closes", "explained": "explains"}.get(outcome, "")
    if not how:
        raise Refused(
            "shortfall_open",
            _("A shortfall caused this visit. Say whether it is closed, explained or still stands."), field="shortfall",
        )  # fmt: skip
    if how == "keeps":
        return
    causes = [str(CAUSES[f.cause]) for f in visit.findings.standing()]
    words = words.strip() or ", ".join(causes)
    if not words:
        raise Refused("no_words", _("Say in a few words what it was, or note a finding."), field="explained")
    ending = Shortfall.Ending.REPAIRED if how == "closes" else Shortfall.Ending.EXPLAINED
    if how == "closes" and causes and all(f.cause in NO_FAULT for f in visit.findings.standing()):
        ending = Shortfall.Ending.EXPLAINED
    day = (visit.left_at or timezone.now()).date()
    downward.end_shortfall(shortfall=shortfall, ending=ending, words=words, on=day)


def _set_next_inspection(visit, next_on):
    installation = hangs_after(visit)
    if installation is None:
        return
    if next_on is not None and next_on < timezone.localdate():
        raise Refused("day_gone", _("The next inspection lies in the past. Choose a later day."), field="next_on")
    due = next_on or next_inspection_on(installation, visit)
    if due != installation.next_inspection_on:
        installation.next_inspection_on = due
        installation.save(update_fields=["next_inspection_on"])


def _close_followed(visit, by):
    earlier = visit.follows
    while earlier is not None and earlier.is_open:
        earlier.state, earlier.closed_at, earlier.closed_by = Visit.State.CLOSED, timezone.now(), by
        earlier.save(update_fields=["state", "closed_at", "closed_by"])
        earlier = earlier.follows


@transaction.atomic
def leave_open(*, visit, outcome, why, by, due_on=None):
    """A repair that could not be finished stays open; a follow-up visit is proposed and carries its shortfall on."""
    visit = locked(visit)
    check_may_log(visit, by)
    if outcome not in UNFINISHED:
        raise Refused("unknown_code", _("Say whether a part is awaited or it could not be mended."), field="outcome")
    if not why.strip():
        raise Refused("no_reason", _("Say what is missing, and which part is awaited."), field="why")
    _check(visit, outcome, why)
    if visit.followed_by.open().exists():
        raise Refused("followed", _("A follow-up visit waits already."))
    downward.keep_side_readings(visit, current_records(visit), by)
    visit.state, visit.outcome, visit.not_done = Visit.State.LOGGED, outcome, why.strip()
    visit.save(update_fields=["state", "outcome", "not_done"])
    return Visit.objects.create(
        organisation=visit.organisation, site=visit.site, installation=visit.installation, kind=visit.kind,
        why=_("Follow-up: %(why)s") % {"why": why.strip()[:280]}, shortfall=visit.shortfall, call=visit.call,
        follows=visit, due_on=due_on, procedure=procedure_for(visit.organisation, visit.kind),
    )  # fmt: skip
