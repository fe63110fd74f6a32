"""Pieces from telephones become records of visits, in any order, each once.

What cannot be applied because the office changed the visit meanwhile, or because somebody else recorded the same, waits
for a person (`field_settling`); what refers to a piece not here yet waits for that piece.
"""

import logging
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import DatabaseError, DataError, IntegrityError, connection, transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.visits.models import FieldPiece, Photo, PhotoChunk, StepRecord, Visit
from fleet.visits.procedures.reading import judge_step
from fleet.visits.services import downward
from fleet.visits.services import logging as log
from fleet.visits.services.field_photos import whole_photo
from fleet.visits.services.known import known_of
from fleet.visits.services.photos import MOST_BYTES, keep_photo
from fleet.web.refusals import Refused
from fleet.web.storage import NoRoom

# What the office, or somebody else at the well, may have done meanwhile.
TO_SETTLE = {"reassigned", "called_off", "closed", "recorded_by_another"}

logger = logging.getLogger(__name__)


class Wait(Exception):
    """The piece refers to one that is not here yet."""


@transaction.atomic
def put_together(visit_id):
    """Put what is held for a visit into it, as far as it goes. One worker at a time; again changes nothing."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [0x50495, visit_id % 2**31])
    return _take_up_held(visit_id)


def _take_up_held(visit_id):
    """Try the visit's waiting pieces until none gets any further; then answer its spot tests. Returns how many went."""
    waiting = list(
        FieldPiece.objects.filter(visit=visit_id, state=FieldPiece.State.HELD).select_related("person")
        .order_by("written_at", "key")
    )  # fmt: skip
    apply_all(visit_id, waiting)
    return sum(row.state != FieldPiece.State.HELD for row in waiting)


@transaction.atomic
def apply_all(visit_id, rows, late=False):
    """Turn pieces of one visit into its records, in any order: one that waits for another is tried again after it.

    `late`: a person has said that they belong to the visit.
    """
    if not rows:
        return
    with log.held(visit_id) as visit:
        left = rows
        while left:
            for row in left:
                _apply(visit, row, late)
            waits = [row for row in left if row.state == FieldPiece.State.HELD]
            left = waits if len(waits) < len(left) else []
    answer_again(visit_id)


def _apply(held, row, late):
    late = late or row.settled_by_id is not None
    try:
        with transaction.atomic():
            visit = held.now()
            if not late and (stands := _in_the_way(visit, row.person)):
                raise Refused(*stands)
            news = APPLY[row.kind](visit, row, late) or ()
    except Wait as wait:
        held.forget()
        _mark(row, FieldPiece.State.HELD, "waits", str(wait))
    except NoRoom:  # the disk, not the piece: it is tried again when there is room
        held.forget()
        _mark(row, FieldPiece.State.HELD, "no_room", _("Trouble on the server. It is kept and tried again."))
    except Refused as refusal:
        held.forget()
        state = FieldPiece.State.TO_SETTLE if refusal.code in TO_SETTLE else FieldPiece.State.REFUSED
        _mark(row, state, refusal.code, refusal.sentence)
    except (KeyError, TypeError, ValueError, ValidationError, IntegrityError, DataError) as fault:
        held.forget()
        logger.warning("A piece could not be read: %s", row.key, exc_info=fault)
        _mark(row, FieldPiece.State.REFUSED, "not_read", _("This part could not be read. It is kept as it came."))
    except DatabaseError:  # the line to the database, not the piece
        raise
    except Exception:  # a fault of ours in one piece must not keep the others of the visit waiting; it is tried again
        held.forget()
        logger.exception("A piece could not be put into its visit: %s", row.key)
        _mark(row, FieldPiece.State.HELD, "fault", _("Trouble on the server. It is kept and tried again."))
    else:
        _mark(row, FieldPiece.State.TAKEN if late else FieldPiece.State.KEPT, *news)


def _mark(row, state, code="", sentence=""):
    was = (row.state, row.code, row.sentence)
    row.state, row.code, row.sentence = state, code[:40], str(sentence)[:400]
    if was != (row.state, row.code, row.sentence):
        row.save(update_fields=["state", "code", "sentence"])


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
    news = None if late else _moved_meanwhile(visit, row)
    _begin(visit, row, late)
    return news


def _moved_meanwhile(visit, row):
    """The office gave the visit another day after it was packed, or None: (code, sentence).

    That is no conflict, for it was made by the person who has it: all of it is kept, the office's day too. But whoever
    moved it had a reason, so a coordinator is shown both and says whether something is still wanted on the new day.
    """
    packed, now = str(row.payload.get("day") or "")[:10], visit.planned_on
    if row.visit_version >= visit.version or now is None or packed == now.isoformat():
        return None
    return "moved_meanwhile", _("The office moved this visit to %(day)s after it was packed. All of it is kept.") % {
        "day": date_format(now, "j F Y")
    }


def _step(visit, row, late):
    _begin(visit, row, late)
    payload = row.payload
    replaces = _corrected(payload.get("replaces"), visit)
    at = row.written_at
    standing = standing_of(visit, str(payload["step"]))
    if standing is not None and standing.by_id != row.person_id and standing != replaces:
        if not late:
            raise Refused(
                "recorded_by_another",
                _("%(who)s recorded this step too. Somebody looks at both and says which one stands.")
                % {"who": standing.by or _("Somebody")},
            )
        replaces = standing  # a person has looked at both and taken this one
    if replaces is not None:
        at = max(at, replaces.at + timedelta(milliseconds=1))  # even if the clock was set back
    log.record_step(
        visit=visit, step=str(payload["step"]), by=row.person, values=payload.get("values") or {}, at=at,
        key=row.key, skipped_why=str(payload.get("skipped_why") or ""), whole=False, replaces=replaces,
        cautions_seen=[str(c) for c in payload.get("cautions_seen") or []], late=late,
    )  # fmt: skip


def standing_of(visit, step):
    """The record that stands for a step, or None."""
    rows = StepRecord.objects.filter(visit=visit, step=step).select_related("by")
    return max(rows, key=lambda record: (record.at, record.key.hex), default=None)


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


WORDS_OF_LEAVING = ("caretaker_words", "not_done")


def _km(row):
    return None if row.payload.get("km") in (None, "") else float(row.payload["km"])


def _departures(visit):
    states = [FieldPiece.State.KEPT, FieldPiece.State.TAKEN]
    return FieldPiece.objects.filter(visit=visit, kind=FieldPiece.Kind.LEAVE, state__in=states)


def _leave(visit, row, late):
    """Several departures (left, came back) make one: the last time, and of each word the last that was written.

    What the desk typed from a paper sheet is not overwritten by other words of the telephone: a person looks at both.
    """
    _begin(visit, row, late)
    earlier = list(_departures(visit).exclude(pk=row.pk))
    if visit.left_at is not None and not earlier and not late:
        typed = {"km": visit.km, "caretaker_words": visit.caretaker_words, "not_done": visit.not_done}
        sent = {"km": _km(row)} | {name: str(row.payload.get(name) or "").strip() for name in WORDS_OF_LEAVING}
        if any(typed[name] and sent[name] and typed[name] != sent[name] for name in typed):
            raise Refused(
                "recorded_by_another",
                _("The desk wrote down the departure too. Somebody looks at both and says which one stands."),
            )
    said, km = {}, None
    rows = sorted([*earlier, row], key=lambda r: (r.written_at, r.key.hex))
    for one in rows:
        km = km if _km(one) is None else _km(one)
        for name in WORDS_OF_LEAVING:
            said[name] = str(one.payload.get(name) or "") or said.get(name, "")
    log.leave(visit=visit, by=row.person, at=rows[-1].written_at, km=km, late=late, **said)


APPLY = {"start": _start, "step": _step, "finding": _finding, "part": _part, "photo": _photo, "leave": _leave}


def answer_again(visit_id):
    """Later tests rest on earlier ones: answers are worked out in the order of time, whatever came first."""
    visit = Visit.objects.select_related("installation__well", "procedure").get(pk=visit_id)
    links = list(visit.spot_tests.select_related("spot_test__installation").order_by("spot_test__at"))
    if len(links) < 2 and not any(link.answer == {} for link in links):
        return
    fresh = {}
    for link in links:
        answer = downward.answer_spot(link.spot_test.installation, link.spot_test)
        if answer != link.answer:
            link.answer = answer
            link.save(update_fields=["answer"])
            fresh[str(link.spot_test.key)] = answer
    known = known_of(visit.installation, visit) if fresh else {}
    for record in visit.records.all() if fresh else []:
        spots = {c: v for c, v in record.values.items() if isinstance(v, dict) and v.get("key") in fresh}
        if spots:
            record.values |= {code: {**value, "answer": fresh[value["key"]]} for code, value in spots.items()}
            record.passed = judge_step(log.step_of(visit, record.step), record.values, known)[0]
            record.save(update_fields=["values", "passed"])
