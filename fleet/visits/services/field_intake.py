"""What telephones send becomes records of visits, in any order, sent twice or half, kept once.

A piece is written down first and understood afterwards, so that a fault of ours costs a delay and never a reading. What
cannot be applied because the office changed the visit meanwhile waits for a person (`field_settling`); what refers to a
piece not here yet waits for that piece.
"""

import logging
import uuid
from dataclasses import dataclass
from datetime import timedelta

from celery import signature
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import Func, IntegerField
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.visits.models import FieldDevice, FieldPiece, Photo, PhotoChunk, StepRecord, Visit
from fleet.visits.procedures.reading import judge_step
from fleet.visits.services import downward
from fleet.visits.services import logging as log
from fleet.visits.services.known import known_of
from fleet.visits.services.photos import MOST_BYTES, keep_photo
from fleet.visits.services.values import storable
from fleet.web.refusals import Refused

FORMAT = 1  # of the pieces; older ones are read for ever
MOST_PIECES = 100
MOST_CHUNK = 256 * 1024
NEWEST = timedelta(minutes=10)  # a telephone's clock may be so far ahead
OLDEST = timedelta(days=3660)
OFFICE = {"reassigned", "called_off", "closed"}  # what the office may have done meanwhile

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Outcome:
    """What became of one piece; `done` means the telephone need not send it again."""

    key: str
    state: str
    code: str = ""
    sentence: str = ""

    @property
    def done(self):
        return self.state != "again"


class Wait(Exception):
    """The piece refers to one that is not here yet."""


SEEN_EVERY = timedelta(minutes=1)


def device_of(*, by, key, name="", app_version="", known=None):
    """The telephone's row; refuses one that was shut out. `known`: the one that signed in, if it is this very one.

    When it was last seen is written once a minute: a telephone that sends a photo asks many times.
    """
    same = known is not None and known.key == key and known.app_version == app_version[:40]
    if same and known.last_seen_at and timezone.now() - known.last_seen_at < SEEN_EVERY:
        return known
    device, _new = FieldDevice.objects.get_or_create(key=key, defaults={"person": by, "name": name[:120]})
    if device.shut_out_at is not None:
        raise Refused("shut_out", _("This telephone was shut out by the office. Ring the coordinator."))
    device.last_seen_at = timezone.now()
    device.person = by
    device.app_version = app_version[:40] or device.app_version
    device.name = name[:120] or device.name
    device.save(update_fields=["last_seen_at", "person", "app_version", "name"])
    return device


def receive(*, by, device, pieces, waiting=None):
    """Keep the pieces of one sending. Returns an Outcome for each, in order."""
    require(by, "log")
    if len(pieces) > MOST_PIECES:
        raise Refused("too_many", _("At most %(n)d pieces at once.") % {"n": MOST_PIECES})
    if waiting is not None and device is not None:
        FieldDevice.objects.filter(pk=device.pk).update(waiting=waiting)
    visits = {
        str(v.key): v for v in Visit.objects.filter(organisation=by.organisation, key__in=_visit_keys(pieces))
    }
    found = [_one(by, device, piece, visits) for piece in pieces]
    touched = {visits[p["visit"]].pk for p in pieces if isinstance(p, dict) and p.get("visit") in visits}
    for visit_id in touched:
        take_up_held(visit_id)
    states = {str(p.key): p for p in FieldPiece.objects.filter(key__in=[o.key for o in found if _uuid(o.key)])}
    return [_outcome(states[o.key]) if o.key in states else o for o in found]


def receive_later(*, by, device, pieces, waiting=None, asked=()):
    """As `receive`, but the pieces are only kept now, in one insert; a worker puts them into their visits afterwards.

    Two hundred telephones may send at once. `asked`: keys sent before, of which the telephone wants to know the state.
    """
    require(by, "log")
    if len(pieces) > MOST_PIECES:
        raise Refused("too_many", _("At most %(n)d pieces at once.") % {"n": MOST_PIECES})
    if waiting is not None and device is not None:
        FieldDevice.objects.filter(pk=device.pk).update(waiting=waiting)
    visits = {
        str(v.key): v for v in Visit.objects.filter(organisation=by.organisation, key__in=_visit_keys(pieces))
    }
    read = [_read(by, device, piece, visits) for piece in pieces]
    FieldPiece.objects.bulk_create([r for r in read if isinstance(r, FieldPiece)], ignore_conflicts=True)
    keys = [r.key for r in read if isinstance(r, FieldPiece)] + [key for key in map(_uuid, asked) if key]
    kept = {p.key: p for p in FieldPiece.objects.filter(key__in=keys, organisation=by.organisation)}
    for visit_id in {p.visit_id for p in kept.values() if p.state == FieldPiece.State.HELD}:
        wake(visit_id)
    unknown = [Outcome(str(key), "unknown") for key in keys if key not in kept]
    return [r for r in read if isinstance(r, Outcome)] + [_outcome(p) for p in kept.values()] + unknown


def wake(visit_id):
    """After commit, tell a worker. A broker that is away is no reason to fail: the sweep finds the pieces."""
    transaction.on_commit(lambda: _tell(visit_id))


def _tell(visit_id):
    try:
        signature("visits.put_together", args=[visit_id]).delay()
    except Exception:  # every transport raises its own
        logger.warning("The broker could not be reached; the pieces of visit %s wait for the sweep.", visit_id)


@transaction.atomic
def put_together(visit_id):
    """Put what is held for a visit into it, as far as it goes. One worker at a time; again changes nothing."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [0x50495, visit_id % 2**31])
    held = FieldPiece.objects.filter(visit=visit_id, state=FieldPiece.State.HELD).count()
    if held:
        take_up_held(visit_id)
    return held - FieldPiece.objects.filter(visit=visit_id, state=FieldPiece.State.HELD).count()


def _uuid(text):
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None


def _visit_keys(pieces):
    keys = (_uuid(p.get("visit")) for p in pieces if isinstance(p, dict))
    return {key for key in keys if key}


def _outcome(piece):
    return Outcome(str(piece.key), piece.state, piece.code, piece.sentence)


def _read(by, device, piece, visits):
    """The row of a piece as it came, not kept yet; or the Outcome that says why it is none."""
    key = _uuid(piece.get("key")) if isinstance(piece, dict) else None
    if key is None:
        return Outcome(str(piece)[:40], "refused", "no_key", _("This piece has no key of its own."))
    at = _moment(piece.get("at"))
    if at is not None and at < timezone.now() - OLDEST:
        at = timezone.now()  # a telephone that began anew in 1970 after a flat battery
    visit = visits.get(str(piece.get("visit")))
    kind = piece.get("kind")
    if at is None or kind not in FieldPiece.Kind.values or not isinstance(piece.get("payload"), dict):
        return Outcome(str(key), "refused", "not_a_piece", _("Kind, time with zone and content are needed."))
    if visit is None:
        return Outcome(str(key), "refused", "no_visit", _("This visit is not known here. Keep it, and ring the desk."))
    row = FieldPiece(
        key=key, device=device, person=by, organisation=by.organisation, visit=visit, kind=kind,
        visit_version=_version(piece.get("version")),
        payload=storable(piece["payload"]), written_at=min(at, timezone.now() + NEWEST),
    )  # fmt: skip
    if isinstance(piece.get("format", 1), int) and piece.get("format", 1) > FORMAT:
        row.state, row.code = FieldPiece.State.TO_SETTLE, "newer_format"
        row.sentence = _("Written by a newer app than the office knows.")
    return row


def _one(by, device, piece, visits):
    read = _read(by, device, piece, visits)
    if isinstance(read, Outcome):
        return read
    FieldPiece.objects.bulk_create([read], ignore_conflicts=True)
    row = FieldPiece.objects.get(key=read.key)
    if row.state == FieldPiece.State.HELD:
        apply(row)
    return _outcome(row)


def _version(number):
    return number if isinstance(number, int) and not isinstance(number, bool) and 0 < number < 2**31 else 1


def _moment(text):
    try:
        at = parse_datetime(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return at if at is not None and timezone.is_aware(at) else None


def _mark(row, state, code="", sentence=""):
    row.state, row.code, row.sentence = state, code[:40], str(sentence)[:400]
    row.save(update_fields=["state", "code", "sentence"])


def apply(row, late=False):
    """Turn a piece into its record. `late`: a person has said that it belongs to the visit."""
    try:
        with transaction.atomic():
            visit = log.locked(Visit(pk=row.visit_id))
            if not late and (stands := _in_the_way(visit, row.person)):
                raise Refused(*stands)
            APPLY[row.kind](visit, row, late)
    except Wait as wait:
        _mark(row, FieldPiece.State.HELD, "waits", str(wait))
    except Refused as refusal:
        state = FieldPiece.State.TO_SETTLE if refusal.code in OFFICE else FieldPiece.State.REFUSED
        _mark(row, state, refusal.code, refusal.sentence)
    except (KeyError, TypeError, ValueError, ValidationError, IntegrityError) as fault:
        logger.warning("A piece could not be read: %s", row.key, exc_info=fault)
        _mark(row, FieldPiece.State.REFUSED, "not_read", _("This part could not be read. It is kept as it came."))
    else:
        _mark(row, FieldPiece.State.TAKEN if late else FieldPiece.State.KEPT)
    return row


def _in_the_way(visit, person):
    """What the office did meanwhile that a person has to settle: (code, sentence), or None."""
    if visit.state == Visit.State.CANCELLED:
        return "called_off", _("The office called this visit off: %(why)s.") % {"why": visit.cancelled_why}
    if visit.state == Visit.State.CLOSED:
        return "closed", _("The office closed this visit meanwhile.")
    if visit.technician_id != person.pk:
        return "reassigned", _("The office gave this visit to %(who)s.") % {"who": visit.technician or _("nobody")}
    return None


def _begin(visit, row, late):
    """Whoever records something was there: the arrival is the earliest time that any piece tells."""
    at = row.written_at
    if late and visit.state not in log.WRITABLE:
        return
    if visit.state == Visit.State.ASSIGNED or visit.arrived_at is None or at < visit.arrived_at:
        log.start(visit=visit, by=row.person, at=at)


def _start(visit, row, late):
    _begin(visit, row, late)


def _step(visit, row, late):
    _begin(visit, row, late)
    payload = row.payload
    replaces = _corrected(payload.get("replaces"), visit)
    at = row.written_at
    if replaces is not None:
        at = max(at, replaces.at + timedelta(milliseconds=1))  # even if the clock was set back
    log.record_step(
        visit=visit, step=str(payload["step"]), by=row.person, values=payload.get("values") or {}, at=at,
        key=row.key, skipped_why=str(payload.get("skipped_why") or ""), whole=False, replaces=replaces,
        cautions_seen=[str(c) for c in payload.get("cautions_seen") or []], late=late,
    )  # fmt: skip


def _corrected(key, visit):
    """The record that a correction names; of one that came back or was left out, the one before it."""
    if not key:
        return None
    record = StepRecord.objects.filter(key=key, visit=visit).first()
    if record is not None:
        return record
    piece = FieldPiece.objects.filter(key=key, visit=visit).first()
    if piece is None or piece.state not in {FieldPiece.State.REFUSED, FieldPiece.State.LEFT_OUT}:
        raise Wait("the record that this one corrects")
    return _corrected(piece.payload.get("replaces"), visit)


FINDING_FIELDS = ("failure_mode", "cause", "action", "item", "mechanism", "detection", "words")


def _finding(visit, row, late):
    _begin(visit, row, late)
    texts = {name: str(row.payload.get(name) or "") for name in FINDING_FIELDS}
    log.add_finding(
        visit=visit, by=row.person, key=row.key, at=row.written_at, late=late, **texts,
        warranty=bool(row.payload.get("warranty")), confirmed=bool(row.payload.get("confirmed", True)),
    )  # fmt: skip


def _part(visit, row, late):
    _begin(visit, row, late)
    payload = row.payload
    log.use_part(
        visit=visit, by=row.person, key=row.key, part_type=str(payload["part"]), late=late,
        quantity=int(payload.get("quantity") or 1), serial_out=str(payload.get("serial_out") or ""),
        serial_in=str(payload.get("serial_in") or ""), was_aboard=bool(payload.get("was_aboard", True)),
    )  # fmt: skip


def _photo(visit, row, late):
    """The photo's own piece tells size and place; its bytes come in chunks under the same key, last of all."""
    _begin(visit, row, late)
    size = int(row.payload["size"])
    if not 0 < size <= MOST_BYTES:
        raise Refused("photo_too_large", _("This photo is larger than 25 MB."))
    if Photo.objects.filter(key=row.key).exists():
        return
    data = whole_photo(row.key, size)
    if data is None:
        raise Wait("the photo's bytes")
    keep_photo(
        visit=visit, data=data, by=row.person, key=row.key, step=str(row.payload.get("step") or ""),
        taken_at=row.written_at, latitude_deg=_degree(row.payload.get("latitude_deg")),
        longitude_deg=_degree(row.payload.get("longitude_deg")),
        caption=str(row.payload.get("caption") or ""), late=late,
    )  # fmt: skip
    PhotoChunk.objects.filter(photo_key=row.key).delete()


def _degree(value):
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _leave(visit, row, late):
    """Several departures (left, came back) make one: the last time, and of each word the last that was written."""
    _begin(visit, row, late)
    earlier = FieldPiece.objects.filter(
        visit=visit, kind=FieldPiece.Kind.LEAVE, state__in=[FieldPiece.State.KEPT, FieldPiece.State.TAKEN]
    ).exclude(pk=row.pk)
    said, km = {}, None
    rows = sorted([*earlier, row], key=lambda r: (r.written_at, r.key.hex))
    for one in rows:
        if one.payload.get("km") not in (None, ""):
            km = float(one.payload["km"])
        for name in ("caretaker_words", "not_done"):
            said[name] = str(one.payload.get(name) or "") or said.get(name, "")
    log.leave(visit=visit, by=row.person, at=rows[-1].written_at, km=km, late=late, **said)


APPLY = {"start": _start, "step": _step, "finding": _finding, "part": _part, "photo": _photo, "leave": _leave}


def take_up_held(visit_id):
    """Try the visit's waiting pieces again, until none gets any further; then answer its spot tests in time order."""
    while True:
        moved = False
        for row in FieldPiece.objects.filter(visit=visit_id, state=FieldPiece.State.HELD).select_related("person"):
            moved = apply(row).state != FieldPiece.State.HELD or moved
        if not moved:
            break
    answer_again(visit_id)


def answer_again(visit_id):
    """Later tests rest on earlier ones: answers are worked out again in the order of time, whatever came first."""
    visit = Visit.objects.select_related("installation", "procedure").get(pk=visit_id)
    links = list(visit.spot_tests.select_related("spot_test__installation").order_by("spot_test__at"))
    if len(links) < 2:
        return
    fresh = {}
    for link in links:
        answer = downward.answer_spot(link.spot_test.installation, link.spot_test)
        if answer != link.answer:
            link.answer = answer
            link.save(update_fields=["answer"])
            fresh[str(link.spot_test.key)] = answer
    for record in visit.records.all() if fresh else []:
        spots = {c: v for c, v in record.values.items() if isinstance(v, dict) and v.get("key") in fresh}
        if spots:
            record.values |= {code: {**value, "answer": fresh[value["key"]]} for code, value in spots.items()}
            known = known_of(visit.installation, visit)
            record.passed = judge_step(log.step_of(visit, record.step), record.values, known)[0]
            record.save(update_fields=["values", "passed"])


def keep_chunk(*, by, photo_key, place, data, total, later=False):
    """Keep a part of a photo. Returns the places [start, end) that are here, so that a half-sent photo goes on."""
    require(by, "log")
    if not data or len(data) > MOST_CHUNK:
        raise Refused("chunk_size", _("Between 1 byte and 256 kB at once."))
    if not 0 <= place < total <= MOST_BYTES or place + len(data) > total:
        raise Refused("chunk_place", _("This part does not fit into the photo."))
    if not Photo.objects.filter(key=photo_key).exists():
        others = PhotoChunk.objects.filter(photo_key=photo_key).exclude(person=by)
        if others.exists():
            raise Refused("key_taken", _("This photo's key belongs to another person."))
        PhotoChunk.objects.bulk_create(
            [PhotoChunk(photo_key=photo_key, place=place, data=data, person=by)], ignore_conflicts=True
        )
        row = FieldPiece.objects.filter(key=photo_key, person=by, state=FieldPiece.State.HELD).first()
        if row is not None and _reach(photo_key) >= total:
            wake(row.visit_id) if later else apply(row)
    return places_of(photo_key, total)


def _spans(photo_key):
    size = Func("data", function="octet_length", output_field=IntegerField())
    rows = PhotoChunk.objects.filter(photo_key=photo_key).annotate(size=size).order_by("place")
    return [(place, place + size) for place, size in rows.values_list("place", "size")]


def _reach(photo_key):
    """How far the photo is here without a gap."""
    end = 0
    for start, stop in _spans(photo_key):
        if start > end:
            break
        end = max(end, stop)
    return end


def places_of(photo_key, total):
    if Photo.objects.filter(key=photo_key).exists():
        return [[0, total]]
    return [list(span) for span in _spans(photo_key)]


def whole_photo(photo_key, size):
    """The photo's bytes if all are here, else None."""
    found = bytearray()
    for place, data in PhotoChunk.objects.filter(photo_key=photo_key).order_by("place").values_list("place", "data"):
        if place > len(found):
            return None
        found[place : place + len(data)] = bytes(data)
    return bytes(found[:size]) if len(found) >= size else None


__all__ = [
    "FORMAT", "Outcome", "apply", "device_of", "keep_chunk", "places_of", "put_together", "receive", "receive_later",
    "take_up_held",
]  # fmt: skip
