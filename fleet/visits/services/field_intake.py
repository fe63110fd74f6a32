"""What telephones send is written down first and understood afterwards (`field_applying`), in any order, sent twice or
half, kept once: a fault of ours costs a delay and never a reading.
"""

import json
import uuid
from dataclasses import dataclass
from datetime import timedelta

from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.visits.models import FieldDevice, FieldPiece
from fleet.visits.services.field_applying import put_together
from fleet.visits.services.field_photos import keep_part, parts_here
from fleet.visits.services.photos import MOST_BYTES
from fleet.visits.services.values import storable
from fleet.visits.services.waking import wake_after_commit
from fleet.web.plain_sql import server_cursor
from fleet.web.refusals import Refused

FORMAT = 1  # of the pieces; older ones are read for ever
MOST_PIECES = 100
MOST_CHUNK = 256 * 1024
NEWEST = timedelta(minutes=10)  # a telephone's clock may be so far ahead
OLDEST = timedelta(days=3660)
SEEN_EVERY = timedelta(minutes=1)
SEEN_NAMES = ("id", "last_seen_at", "person_id", "app_version", "name", "waiting")
SEEN = """
UPDATE visits_fielddevice SET last_seen_at = %(last_seen_at)s, person_id = %(person_id)s,
  app_version = %(app_version)s, name = %(name)s, waiting = %(waiting)s WHERE id = %(id)s
"""


@dataclass(frozen=True)
class Outcome:
    """What became of one piece."""

    key: str
    state: str
    code: str = ""
    sentence: str = ""


def device_of(*, by, key, name="", app_version="", known=None, waiting=None):
    """The telephone's row; refuses one that was shut out. `known`: the one that signed in, if it is this very one.

    When it was last seen is written once a minute: a telephone that sends a photo asks many times. `waiting`: how many
    pieces it says it still holds.
    """
    same = known is not None and known.key == key and known.app_version == (app_version[:40] or known.app_version)
    fresh = same and known.last_seen_at and timezone.now() - known.last_seen_at < SEEN_EVERY
    if fresh and (waiting is None or known.waiting == waiting):
        return known
    if same:
        device = known
    else:
        device, _new = FieldDevice.objects.get_or_create(key=key, defaults={"person": by, "name": name[:120]})
    if device.shut_out_at is not None:
        raise Refused("shut_out", _("This telephone was shut out by the office. Ring the coordinator."))
    device.last_seen_at = timezone.now()
    device.person = by
    device.app_version = app_version[:40] or device.app_version
    device.name = name[:120] or device.name
    device.waiting = device.waiting if waiting is None else waiting
    with server_cursor() as cursor:
        cursor.execute(SEEN, {name: getattr(device, name) for name in SEEN_NAMES})
    return device


def receive(*, by, device, pieces):
    """Keep the pieces of one sending and put them into their visits at once. Returns an Outcome for each, in order."""
    visits = _checked(by, pieces)
    read = [_read(by, device, piece, visits) for piece in pieces]
    rows = [r for r in read if isinstance(r, FieldPiece)]
    FieldPiece.objects.bulk_create(rows, ignore_conflicts=True)
    for visit_id in {row.visit_id for row in rows}:
        put_together(visit_id)
    kept = {row.key: row for row in FieldPiece.objects.filter(key__in=[row.key for row in rows])}
    return [_outcome(kept[r.key]) if isinstance(r, FieldPiece) else r for r in read]


KEEP = """
WITH sent AS (
  SELECT * FROM jsonb_to_recordset(%s::jsonb) AS t (
    key uuid, visit_id bigint, visit_version int, kind text, payload jsonb, written_at timestamptz, state text,
    code text, sentence text)
), added AS (
  INSERT INTO visits_fieldpiece (key, device_id, person_id, organisation_id, visit_id, visit_version, kind, payload,
    written_at, received_at, state, code, sentence)
  SELECT DISTINCT ON (key) key, %s, %s, %s, visit_id, visit_version, kind, payload, written_at, now(), state, code,
    sentence FROM sent ON CONFLICT DO NOTHING RETURNING key, state, code, sentence, visit_id
)
SELECT key, state, code, sentence, visit_id, true FROM added
UNION ALL
SELECT key, state, code, sentence, visit_id, false FROM visits_fieldpiece
WHERE organisation_id = %s AND key = ANY(%s)
"""


def receive_later(*, by, device, pieces, asked=()):
    """As `receive`, but the pieces are only kept now, in one statement; a worker puts them into their visits.

    Two hundred telephones may send at once. `asked`: keys sent before, of which the telephone wants to know the state.
    """
    visits = _checked(by, pieces)
    read = [_read(by, device, piece, visits) for piece in pieces]
    rows = [r for r in read if isinstance(r, FieldPiece)]
    keys = [r.key for r in rows] + [key for key in map(_uuid, asked) if key]
    if not keys:
        return [r for r in read if isinstance(r, Outcome)]
    sent = json.dumps([_plain(row) for row in rows])
    with server_cursor() as cursor:
        cursor.execute(KEEP, [sent, device and device.pk, by.pk, by.organisation_id, by.organisation_id, keys])
        found = {row[0]: row for row in cursor.fetchall()}
    for visit_id in {row[4] for row in found.values() if row[5] and row[1] == FieldPiece.State.HELD}:
        wake_after_commit("visits.put_together", visit_id)
    unknown = [Outcome(str(key), "unknown") for key in keys if key not in found]
    known = [Outcome(str(key), *row[1:4]) for key, row in found.items()]
    return [r for r in read if isinstance(r, Outcome)] + known + unknown


def _plain(row):
    names = ("visit_version", "kind", "payload", "state", "code", "sentence")
    return {name: getattr(row, name) for name in names} | {
        "key": str(row.key), "visit_id": row.visit_id, "written_at": row.written_at.isoformat(),
    }  # fmt: skip


VISITS = "SELECT key, id FROM visits_visit WHERE organisation_id = %s AND key = ANY(%s)"


def _checked(by, pieces):
    """{key of a visit: its id} of what is sent."""
    require(by, "log")
    if len(pieces) > MOST_PIECES:
        raise Refused("too_many", _("At most %(n)d pieces at once.") % {"n": MOST_PIECES})
    keys = {key for key in (_uuid(p.get("visit")) for p in pieces if isinstance(p, dict)) if key}
    if not keys:
        return {}
    with server_cursor() as cursor:
        found = cursor.execute(VISITS, [by.organisation_id, list(keys)]).fetchall()
    return {str(key): pk for key, pk in found}


def _uuid(text):
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None


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
        key=key, device=device, person=by, organisation_id=by.organisation_id, visit_id=visit, kind=kind,
        visit_version=_version(piece.get("version")),
        payload=storable(piece["payload"]), written_at=min(at, timezone.now() + NEWEST),
    )  # fmt: skip
    if isinstance(piece.get("format", 1), int) and piece.get("format", 1) > FORMAT:
        row.state, row.code = FieldPiece.State.TO_SETTLE, "newer_format"
        row.sentence = _("Written by a newer app than the office knows.")
    return row


def _version(number):
    return number if isinstance(number, int) and not isinstance(number, bool) and 0 < number < 2**31 else 1


def _moment(text):
    try:
        at = parse_datetime(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return at if at is not None and timezone.is_aware(at) else None


def keep_chunk(*, by, photo_key, place, data, total, later=False):
    """Keep a part of a photo. Returns the places [start, end) that are here, so that a half-sent photo goes on."""
    require(by, "log")
    if not data or len(data) > MOST_CHUNK:
        raise Refused("chunk_size", _("Between 1 byte and 256 kB at once."))
    if not 0 <= place < total <= MOST_BYTES or place + len(data) > total:
        raise Refused("chunk_place", _("This part does not fit into the photo."))
    keep_part(person_id=by.pk, photo_key=photo_key, place=place, data=data)
    parts = parts_here(photo_key, by.pk)
    if parts.of_another and not parts.whole:
        raise Refused("key_taken", _("This photo's key belongs to another person."))
    if not parts.whole and parts.reach() >= total:
        row = FieldPiece.objects.filter(key=photo_key, person=by, state=FieldPiece.State.HELD).first()
        if row is not None:
            wake_after_commit("visits.put_together", row.visit_id) if later else put_together(row.visit_id)
            parts = parts if later else parts_here(photo_key, by.pk)
    return parts.places(total)


def places_of(photo_key, total):
    return parts_here(photo_key).places(total)


__all__ = ["FORMAT", "Outcome", "device_of", "keep_chunk", "places_of", "receive", "receive_later"]
