"""What the office and a telephone did to the same visit is settled by a person who sees both sides."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import may, require
from fleet.visits.models import FieldDevice, FieldPiece, Visit
from fleet.visits.services import field_intake
from fleet.visits.services.logging import current_records
from fleet.visits.services.planning import locked
from fleet.web.refusals import Refused


@transaction.atomic
def settle(*, visit, person, take, by):
    """Take over what a person's telephone recorded on a visit, or leave it out. It stays readable either way.

    Taking over brings a visit that was called off, closed or given to another back under that person's name, logged,
    unless the other has already begun it: then the records join what is there.
    """
    require(by, "assign")
    if visit.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This visit belongs to another organisation."))
    visit = locked(visit)
    rows = list(
        FieldPiece.objects.select_for_update(of=("self",)).select_related("person")
        .filter(visit=visit, person=person, state=FieldPiece.State.TO_SETTLE).order_by("written_at", "key")
    )  # fmt: skip
    if not rows:
        raise Refused("nothing_to_settle", _("Nothing waits here any more."))
    if take:
        if visit.state in {Visit.State.PROPOSED, Visit.State.ASSIGNED, Visit.State.CANCELLED}:
            first = rows[0].written_at
            visit.technician, visit.state = person, Visit.State.UNDER_WAY
            visit.planned_on = visit.planned_on or first.date()
            visit.arrived_at = min(visit.arrived_at or first, first)
            visit.version += 1
            visit.save(update_fields=["technician", "state", "planned_on", "arrived_at", "version"])
        for row in rows:
            field_intake.apply(row, late=True)
    else:
        for row in rows:
            row.state = FieldPiece.State.LEFT_OUT
            row.save(update_fields=["state"])
    FieldPiece.objects.filter(pk__in=[r.pk for r in rows]).update(settled_by=by, settled_at=timezone.now())
    return rows


@transaction.atomic
def shut_out(*, device, by):
    """A lost telephone: it may send and fetch nothing more, and forgets what it holds when it next asks."""
    require(by, "log")
    if device.person.organisation_id != by.organisation_id or not (device.person_id == by.pk or may(by, "assign")):
        raise Refused("not_yours", _("This telephone belongs to someone else."))
    device.shut_out_at, device.shut_out_by = timezone.now(), by
    device.save(update_fields=["shut_out_at", "shut_out_by"])
    return device


@transaction.atomic
def let_in(*, device, by):
    """The telephone was found again."""
    require(by, "assign")
    if device.person.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This telephone belongs to another organisation."))
    FieldDevice.objects.filter(pk=device.pk).update(shut_out_at=None, shut_out_by=None)


def sides(visit):
    """[(piece, the record that stands for the same step)] of what waits for a person, in order of writing."""
    standing = current_records(visit)
    waiting = visit.pieces.to_settle().select_related("person", "device").order_by("written_at", "key")
    return [(piece, standing.get(piece.payload.get("step")) if piece.kind == "step" else None) for piece in waiting]


def not_home(person, on):
    """Visits of past days whose log has not come: [(visit, telephone last heard of or None)], oldest first."""
    visits = Visit.objects.visible_to(person).not_home(on).select_related("site", "technician")
    visits = visits.prefetch_related("technician__field_devices").order_by("planned_on", "id")
    found = []
    for visit in visits[:200]:
        devices = [d for d in visit.technician.field_devices.all() if d.shut_out_at is None]
        found.append((visit, max(devices, key=lambda d: d.last_seen_at or d.first_seen_at, default=None)))
    return found
