"""What the office and a telephone did to the same visit is settled by a person who sees both sides."""

from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import may, require
from fleet.visits.models import FieldDevice, FieldPiece, Visit
from fleet.visits.services import field_applying
from fleet.visits.services.field_photos import whole_photo
from fleet.visits.services.logging import current_records
from fleet.visits.services.photos import MOST_BYTES
from fleet.visits.services.planning import assign, locked, own_organisation, propose
from fleet.web.refusals import Refused


@transaction.atomic
def settle(*, visit, by, take=(), leave=()):
    """Piece by piece: take over some of what waits, leave out others; what is in neither goes on waiting.

    `take` and `leave` hold keys of pieces. What is taken over stands on the visit, before what stood there for the same
    step; what is left out counts no more. Both stay readable. Taking over brings a visit that was called off, closed or
    given to another back under that person's name, unless the other has already begun it: then the records join what
    is there. Returns the pieces that were settled.
    """
    require(by, "assign")
    if visit.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This visit belongs to another organisation."))
    visit = locked(visit)
    take, leave = {str(key) for key in take}, {str(key) for key in leave}
    if take & leave:
        raise Refused("both", _("Either take a part over or leave it out."))
    waiting = {
        str(row.key): row
        for row in FieldPiece.objects.select_for_update(of=("self",)).select_related("person")
        .filter(visit=visit, state=FieldPiece.State.TO_SETTLE).order_by("written_at", "key")
    }  # fmt: skip
    if not waiting:
        raise Refused("nothing_to_settle", _("Nothing waits here any more."))
    if not take | leave:
        raise Refused("nothing_chosen", _("Choose for at least one part: take it over, or leave it out."))
    if not take | leave <= set(waiting):
        raise Refused("settled_meanwhile", _("Somebody settled one of these meanwhile. Look at what is left."))
    taken, left = ([row for key, row in waiting.items() if key in chosen] for chosen in (take, leave))
    if taken:
        _bring_back(visit, taken[0])
        field_applying.apply_all(visit.pk, taken, late=True)
    for row in left:
        row.state = FieldPiece.State.LEFT_OUT
        row.save(update_fields=["state"])
    done = [row.pk for row in taken + left]
    FieldPiece.objects.filter(pk__in=done).update(settled_by=by, settled_at=timezone.now())
    return taken + left


def _bring_back(visit, first):
    if visit.state not in {Visit.State.PROPOSED, Visit.State.ASSIGNED, Visit.State.CANCELLED}:
        return
    visit.technician, visit.state = first.person, Visit.State.UNDER_WAY
    visit.planned_on = visit.planned_on or first.written_at.date()
    visit.arrived_at = min(visit.arrived_at or first.written_at, first.written_at)
    visit.version += 1
    visit.save(update_fields=["technician", "state", "planned_on", "arrived_at", "version"])


@transaction.atomic
def settle_move(*, visit, by, again):
    """A coordinator has seen that a visit was made though the office had moved it to another day.

    `again`: what it was moved for is still wanted. Then a new visit of the same kind and reason stands on the office's
    day, with the same technician if that day is still to come. Returns the new visit, or None.
    """
    require(by, "assign")
    own_organisation(visit, by)
    visit = locked(visit)
    if not visit.pieces.moved_meanwhile().update(settled_by=by, settled_at=timezone.now()):
        raise Refused("nothing_to_settle", _("Nothing waits here any more."))
    if not again:
        return None
    day = visit.planned_on
    new = propose(kind=visit.kind, site=visit.site, installation=visit.installation, why=visit.why, due_on=day, by=by)
    if visit.technician and day and day >= timezone.localdate():
        new = assign(visit=new, technician=visit.technician, on=day, by=by)
    return new


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


@dataclass(frozen=True)
class Side:
    """A piece that waits, and what stands on the visit in its place."""

    piece: FieldPiece
    other: object = None  # the record of the same step
    own_photos: tuple = ()  # keys; the bytes of some may still be on their way
    other_photos: tuple = ()


def sides(visit):
    """What waits for a person, in order of writing, each with what stands there now and both sides' photos."""
    standing = current_records(visit)
    waiting = list(visit.pieces.to_settle().select_related("person", "device").order_by("written_at", "key"))
    pictures = list(visit.pieces.filter(kind=FieldPiece.Kind.PHOTO))
    here = list(visit.photos.all())
    found = []
    for piece in waiting:
        step = piece.payload.get("step")
        if piece.kind != FieldPiece.Kind.STEP:
            own = (piece.key,) if piece.kind == FieldPiece.Kind.PHOTO else ()
            found.append(Side(piece, own_photos=own))
            continue
        own = {p.key for p in pictures if p.payload.get("step") == step and p.person_id == piece.person_id}
        theirs = tuple(photo.key for photo in here if photo.step == step and photo.key not in own)
        found.append(Side(piece, standing.get(step), tuple(own), theirs))
    return found


def picture_of(piece):
    """The bytes of a photo that waits or was left out; None while they are still on their way."""
    size = piece.payload.get("size")
    return whole_photo(piece.key, size) if isinstance(size, int) and 0 < size <= MOST_BYTES else None


def not_home(person, on):
    """Visits of past days whose log has not come: [(visit, telephone last heard of or None)], oldest first."""
    visits = Visit.objects.visible_to(person).not_home(on).select_related("site", "technician")
    visits = visits.prefetch_related("technician__field_devices").order_by("planned_on", "id")
    found = []
    for visit in visits[:200]:
        devices = [d for d in visit.technician.field_devices.all() if d.shut_out_at is None]
        found.append((visit, max(devices, key=lambda d: d.last_seen_at or d.first_seen_at, default=None)))
    return found
