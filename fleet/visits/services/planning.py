"""Proposing, assigning and calling off visits."""

from datetime import timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.people.access import may, require
from fleet.visits.models import Trip, Visit
from fleet.visits.services.setting_up import procedure_for
from fleet.visits.services.waking import wake_after_commit
from fleet.web.refusals import Refused

FARTHEST_DAYS = 400


def locked(visit):
    """The row as it stands now, held until the transaction ends."""
    return Visit.objects.select_for_update().get(pk=visit.pk)


def own_organisation(visit, by):
    if by is not None and visit.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This visit belongs to another organisation."))


@transaction.atomic
def propose(*, kind, by, site=None, installation=None, why="", shortfall=None, call=None, rule=None, due_on=None):
    """Put a visit on the list, for nobody yet. Where a shortfall or a rule has an open visit, that one is returned."""
    require(by, "assign")
    site = site or installation.well.site
    if by is not None and site.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This site belongs to another organisation."), field="site")
    if kind not in Visit.Kind.values:
        raise Refused("unknown_kind", _("This kind of visit is not known."), field="kind")
    already = Visit.objects.open().filter(installation=installation)
    if shortfall is not None and (found := already.filter(shortfall=shortfall).exclude(state="logged").first()):
        return found
    if rule is not None and (found := already.filter(rule=rule).first()):
        return found
    try:
        with transaction.atomic():
            return Visit.objects.create(
                organisation=site.organisation, site=site, installation=installation, kind=kind, why=why[:300],
                shortfall=shortfall, call=call, rule=rule, due_on=due_on,
                procedure=procedure_for(site.organisation, kind),
            )  # fmt: skip
    except IntegrityError:  # another worker was first
        return already.filter(shortfall=shortfall, rule=rule).first()


def for_shortfall(shortfall):
    """What a visit for a shortfall starts from: a repair, due today where there is danger, else within the week."""
    days = 0 if shortfall.danger else 7
    return {
        "kind": Visit.Kind.REPAIR, "installation": shortfall.installation, "shortfall": shortfall,
        "why": _("%(litres)s litres a day missing since %(day)s")
        % {"litres": f"{shortfall.lost_l_day:,.0f}", "day": date_format(shortfall.since, "j M Y")},
        "due_on": timezone.localdate() + timedelta(days=days),
    }  # fmt: skip


def propose_for_shortfall(*, shortfall, by):
    """A repair visit for a shortfall."""
    return propose(by=by, **for_shortfall(shortfall))


def check_technician(technician, organisation_id):
    if technician.organisation_id != organisation_id:
        raise Refused("not_one_of_us", _("This person belongs to another organisation."), field="technician")
    if not technician.is_active or not may(technician, "log"):
        raise Refused(
            "cannot_log", _("%(who)s does not log visits. Choose a technician.") % {"who": technician},
            field="technician",
        )  # fmt: skip


@transaction.atomic
def assign(*, visit, technician, on, by, expected_version=None):
    """Give a visit to a technician for a day; again to move it. Joins that technician's trip of the day at its end."""
    require(by, "assign")
    visit = locked(visit)
    own_organisation(visit, by)
    if expected_version is not None and visit.version != expected_version:
        raise Refused(
            "changed_meanwhile",
            _("Somebody changed this visit while you looked at it. It now stands with %(who)s for %(day)s.")
            % {"who": visit.technician or _("nobody"), "day": visit.planned_on or _("no day")},
        )
    if visit.state == Visit.State.UNDER_WAY:
        raise Refused(
            "under_way",
            _("%(who)s is at this visit since %(at)s. Ask him or her, or wait until it comes home.")
            % {"who": visit.technician, "at": f"{visit.arrived_at:%Y-%m-%d %H:%M} UTC"},
        )
    if visit.state not in {Visit.State.PROPOSED, Visit.State.ASSIGNED}:
        raise Refused("not_to_go", _("This visit is %(state)s.") % {"state": visit.get_state_display()})
    check_technician(technician, visit.organisation_id)
    today = timezone.localdate()
    if on < today - timedelta(days=1):  # west of Greenwich it may still be yesterday
        raise Refused("day_gone", _("This day is over. Choose today or a later day."), field="on")
    if on > today + timedelta(days=FARTHEST_DAYS):
        raise Refused("day_too_far", _("More than a year ahead. Check the year."), field="on")
    if visit.technician_id == technician.pk and visit.planned_on == on and visit.state == Visit.State.ASSIGNED:
        return visit
    trip, _new = Trip.objects.get_or_create(
        technician=technician, day=on,
        defaults={"organisation": visit.organisation, "base": visit.organisation.bases.first()},
    )  # fmt: skip
    last = trip.visits.exclude(pk=visit.pk).order_by("-trip_order").values_list("trip_order", flat=True).first()
    visit.technician, visit.planned_on, visit.state = technician, on, Visit.State.ASSIGNED
    visit.trip, visit.trip_order = trip, (last or 0) + 1
    visit.version += 1
    visit.save(update_fields=["technician", "planned_on", "state", "trip", "trip_order", "version"])
    if visit.installation_id:
        # So that packing in the morning works nothing out.
        wake_after_commit("visits.warm_cards", [visit.installation_id])
    return visit


@transaction.atomic
def assign_many(*, visits, technician, on, by):
    """Several visits to one technician for one day: all or none."""
    return [assign(visit=visit, technician=technician, on=on, by=by) for visit in visits]


@transaction.atomic
def take_back(*, visit, by):
    """Back on the list, for nobody."""
    require(by, "assign")
    visit = locked(visit)
    own_organisation(visit, by)
    if visit.state != Visit.State.ASSIGNED:
        raise Refused("not_assigned", _("Only an assigned visit can be taken back."))
    visit.technician = visit.planned_on = visit.trip = visit.trip_order = None
    visit.state = Visit.State.PROPOSED
    visit.version += 1
    visit.save(update_fields=["technician", "planned_on", "trip", "trip_order", "state", "version"])
    return visit


@transaction.atomic
def cancel(*, visit, why, by):
    """Call a visit off, with a reason. What was recorded stays."""
    require(by, "assign")
    visit = locked(visit)
    own_organisation(visit, by)
    if not visit.is_open:
        raise Refused("not_open", _("This visit is %(state)s already.") % {"state": visit.get_state_display()})
    if not why.strip():
        raise Refused("no_reason", _("Say why it is called off."), field="why")
    visit.state, visit.cancelled_why = Visit.State.CANCELLED, why.strip()[:300]
    visit.trip = visit.trip_order = None
    visit.version += 1
    visit.save(update_fields=["state", "cancelled_why", "trip", "trip_order", "version"])
    return visit
