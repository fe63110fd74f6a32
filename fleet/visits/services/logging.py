"""Keeping what a technician records: arrival, steps, spot tests, findings, parts, photos, departure.

Everything carries a key made where it was typed, so that the same thing sent twice is kept once. Nothing is
overwritten: a later record of a step stands before an earlier one, and both stay.
"""

import uuid
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from fleet.people.access import may, require
from fleet.registry.models import Installation, Unit
from fleet.visits.codes import ACTIONS, CAUSES, DETECTIONS, FAILURE_MODES, ITEMS, MECHANISMS
from fleet.visits.models import Finding, PartType, PartUse, StepRecord, Visit, VisitSpotTest
from fleet.visits.procedures.reading import judge_step, missing, out_of_range
from fleet.visits.services import downward, planning
from fleet.visits.services.beside import with_beside
from fleet.visits.services.known import known_of
from fleet.visits.services.planning import own_organisation
from fleet.visits.services.values import clean_values
from fleet.web.refusals import Refused

WRITABLE = {Visit.State.UNDER_WAY, Visit.State.LOGGED}
CLOCK_SLACK = timedelta(minutes=10)

_held = ContextVar("visit_held", default=None)


@contextmanager
def held(visit_id):
    """Within: many records of one visit, which is read and locked once, and whose spot tests are answered afterwards.

    Say `forget` to what it yields when a change of the visit was rolled back.
    """
    one = _Held(visit_id)
    token = _held.set(one)
    try:
        yield one
    finally:
        _held.reset(token)


class _Held:
    def __init__(self, visit_id):
        self.visit_id, self.visit, self.known = visit_id, None, None

    def forget(self):
        """A change of the visit was rolled back: read it anew."""
        self.visit = None

    def now(self):
        if self.visit is None:
            rows = Visit.objects.select_for_update(of=("self",)).select_related(
                "procedure", "site", "technician", "organisation", "installation__well__site", "installation__unit"
            )
            self.visit = rows.get(pk=self.visit_id)
        return self.visit


def locked(visit):
    """The row as it stands now, held until the transaction ends."""
    one = _held.get()
    return one.now() if one is not None and one.visit_id == visit.pk else planning.locked(visit)


def _known(visit):
    """What is known of the unit; nothing that is recorded on a visit changes it before the visit is closed."""
    one = _held.get()
    if one is None or one.visit_id != visit.pk:
        return known_of(visit.installation, visit)
    if one.known is None:
        one.known = known_of(visit.installation, visit)
    return one.known


def check_may_log(visit, by):
    """A technician writes the log of their own visits only; whoever assigns may type in a paper sheet."""
    require(by, "log")
    own_organisation(visit, by)
    if by is None or visit.technician_id == by.pk or may(by, "assign"):
        return
    raise Refused(
        "not_your_visit",
        _("This visit stands with %(who)s. Ask the coordinator to give it to you.")
        % {"who": visit.technician or _("nobody")},
    )


def _check_time(at):
    if at > timezone.now() + CLOCK_SLACK:
        raise Refused("time_to_come", _("This time has not come yet. Check day and hour."), field="at")


def writable(visit, by, late=False):
    """The visit, locked, if its log may be written now; else a refusal that says who or what stands in the way.

    `late`: a person has settled that this belongs to the visit although it was closed, called off or given to another.
    """
    visit = locked(visit)
    if late:
        return visit
    check_may_log(visit, by)
    if visit.state not in WRITABLE:
        sentence = {
            Visit.State.PROPOSED: _("This visit is given to nobody yet."),
            Visit.State.ASSIGNED: _("Say first that you arrived."),
            Visit.State.CLOSED: _("This visit is closed. What is missing goes on a new visit."),
            Visit.State.CANCELLED: _("This visit was called off: %(why)s.") % {"why": visit.cancelled_why},
        }[visit.state]
        raise Refused("not_under_way", sentence)
    return visit


@transaction.atomic
def start(*, visit, by, at=None):
    """The technician is there. Again with an earlier time moves the arrival back; a later one changes nothing."""
    visit = locked(visit)
    check_may_log(visit, by)
    at = at or timezone.now()
    _check_time(at)
    if visit.state in WRITABLE:
        if visit.arrived_at is None or at < visit.arrived_at:
            visit.arrived_at = at
            visit.save(update_fields=["arrived_at"])
        return visit
    if visit.state != Visit.State.ASSIGNED:
        raise Refused("not_assigned", _("This visit is %(state)s.") % {"state": visit.get_state_display()})
    visit.state, visit.arrived_at = Visit.State.UNDER_WAY, at
    visit.save(update_fields=["state", "arrived_at"])
    return visit


def step_of(visit, code):
    for step in visit.procedure.steps if visit.procedure else []:
        if step["code"] == code:
            return step
    raise Refused("unknown_step", _("This visit's procedure has no step “%(code)s”.") % {"code": code}, field="step")


def current_records(visit):
    """{step code: the record that stands}, the latest by time of writing; ties by key, so that order never matters."""
    found = {}
    for record in visit.records.all():
        other = found.get(record.step)
        if other is None or (record.at, record.key.hex) > (other.at, other.key.hex):
            found[record.step] = record
    return found


@transaction.atomic
def record_step(
    *, visit, step, by, values=None, at=None, key=None, skipped_why="", cautions_seen=(), replaces=None, whole=True,
    late=False,
):  # fmt: skip
    """Keep what was recorded at a step, or why it was skipped. Returns (record, sentences of broken rules).

    Refuses: a caution not acknowledged, figures that cannot be, and, when `whole`, captures still missing. A record of
    a step that has one already is a correction: it names the old one, which stays.
    """
    if key is not None and (already := StepRecord.objects.filter(key=key).first()):
        if already.visit_id != visit.pk:
            raise Refused("key_taken", _("This record's key belongs to another visit."))
        return already, []
    visit = writable(visit, by, late)
    at = at or timezone.now()
    _check_time(at)
    data = step_of(visit, step)
    key = key or uuid.uuid4()
    if skipped_why.strip():
        values, passed, sentences = {}, None, []
    else:
        unseen = [c for c in data.get("cautions", []) if c not in set(cautions_seen)]
        if unseen:
            raise Refused(
                "caution_not_seen",
                _("Read and acknowledge the caution first: %(marks)s.") % {"marks": ", ".join(unseen)},
                field="cautions_seen",
            )
        values = clean_values(data, values or {})
        for code, sentence in out_of_range(data, values):
            raise Refused("out_of_range", sentence, field=code)
        if whole:
            for code, sentence in missing(data, values, visit.installation):
                raise Refused("missing", sentence, field=code)
        values = _with_spot_tests(visit, data, values, at, key, by, late, whole)
        passed, sentences, _stop = judge_step(data, values, _known(visit))
    if replaces is None and whole:
        replaces = current_records(visit).get(step)
    record = StepRecord.objects.create(
        key=key, visit=visit, step=step, values=values, passed=passed, skipped_why=skipped_why.strip()[:300],
        cautions_seen=list(cautions_seen), at=at, by=by, replaces=replaces,
    )  # fmt: skip
    _only_the_last_counts(visit, data)
    return record, sentences


def _only_the_last_counts(visit, step):
    """Spot tests of records that were corrected are set aside; that of the standing record counts."""
    codes = [c["code"] for c in step.get("captures", []) if c["kind"] == "spot"]
    records = [r for r in visit.records.all() if r.step == step["code"]] if codes else []
    if len(records) < 2:
        return
    standing = current_records(visit)[step["code"]]
    for record in records:
        for code in codes:
            if key := (record.values.get(code) or {}).get("key"):
                downward.let_count(key, counts=record.key == standing.key)


def _with_spot_tests(visit, step, values, at, record_key, by, late, whole):
    """The step's values with each spot test kept as one, and its answer beside it."""
    values = dict(values)
    for capture in step.get("captures", []):
        readings = values.get(capture["code"])
        if capture["kind"] == "spot" and readings:
            if whole:  # typed at the desk; a telephone brings what its other steps measured itself
                readings = with_beside(readings, current_records(visit).values())
                if readings.get("no_water") and not readings.get("watched_min"):
                    sentence = _("No water came: say how many minutes it was watched, from switching on.")
                    raise Refused("not_watched", sentence, field="watched_min")
            key = uuid.UUID(readings["key"]) if readings.get("key") else uuid.uuid5(record_key, capture["code"])
            test, answer = log_spot_test(
                visit=visit, readings=readings, kind=capture["test_kind"], at=readings.get("at") or at, by=by, key=key,
                late=late, asked=not whole,
            )  # fmt: skip
            values[capture["code"]] = {**readings, "key": str(test.key), "answer": answer}
    return values


SPOT_FIGURES = (
    "sun_by", "irradiance_w_m2", "module_isc_a", "cell_c", "air_c", "array_voltage_v", "array_current_a",
    "output_voltage_v", "output_current_a", "flow_by", "flow_l_min", "meter_flow_l_min", "static_level_m",
    "pumping_level_m", "first_water_min", "main_was_full", "insulation_mohm",
    "loop_ohm", "notes", "instrument",
)  # fmt: skip


@transaction.atomic
def log_spot_test(*, visit, readings, kind, by, at=None, key=None, late=False, asked=True):
    """Keep a spot test of this visit and answer it at once. asked: whether a telephone asked about slips while they
    could be looked at. Returns (spot test, answer)."""
    visit = writable(visit, by, late)
    installation = _hanging_then(visit.installation, _moment(at) or timezone.now())
    if installation is None:
        raise Refused("nothing_hangs", _("No unit is known to hang here, so no spot test can be judged."))
    figures = {name: readings[name] for name in SPOT_FIGURES if readings.get(name) not in (None, "")}
    figures["repeats"] = [r for r in readings.get("repeats", []) if r.get("litres") is not None and r.get("seconds")]
    if readings.get("no_water"):  # from a log that was left unfinished, perhaps without the minutes
        figures |= {"flow_l_min": 0.0, "watched_min": readings.get("watched_min")}
    if not figures["repeats"] and figures.get("flow_l_min") is None:
        figures["flow_by"] = "none"
    test = downward.keep_spot_test(
        installation=installation, at=_moment(at) or timezone.now(), kind=kind, by=by, key=key, figures=figures,
        asked=asked,
    )  # fmt: skip
    later = _held.get() is not None  # whoever holds the visit answers its tests in the order of time, when all are here
    answer = {} if later else downward.answer_spot(installation, test)
    link, _new = VisitSpotTest.objects.get_or_create(spot_test=test, defaults={"visit": visit, "answer": answer})
    if link.visit_id != visit.pk:
        raise Refused("key_taken", _("This spot test belongs to another visit."))
    return test, link.answer


def _hanging_then(installation, at):
    """The installation, or where its unit hung at that moment if it was moved meanwhile."""
    if installation is None or installation.period.upper is None or at < installation.period.upper:
        return installation
    return Installation.objects.filter(unit=installation.unit_id).hanging_on(at).first() or installation


def _moment(at):
    if isinstance(at, str):
        at = parse_datetime(at)
        if at is None or timezone.is_naive(at):
            raise Refused("no_zone", _("Give the time with its zone."), field="at")
    return at


LISTS = {
    "failure_mode": FAILURE_MODES, "cause": CAUSES, "action": ACTIONS, "item": ITEMS, "mechanism": MECHANISMS,
    "detection": DETECTIONS,
}  # fmt: skip


@transaction.atomic
def add_finding(*, visit, failure_mode, cause, action, by, item="", mechanism="", detection="", words="",
                warranty=False, confirmed=True, key=None, at=None, late=False):  # fmt: skip
    """Keep a finding: how it shows, what happened inside, why, how it was found, what was done."""
    if key is not None and (already := Finding.objects.filter(key=key).first()):
        if already.visit_id != visit.pk:
            raise Refused("key_taken", _("This finding's key belongs to another visit."))
        return already
    visit = writable(visit, by, late)
    given = {
        "failure_mode": failure_mode, "cause": cause, "action": action, "item": item, "mechanism": mechanism,
        "detection": detection,
    }  # fmt: skip
    for field, code in given.items():
        needed = field in {"failure_mode", "cause", "action"}
        if (needed and not code) or (code and code not in LISTS[field]):
            raise Refused("unknown_code", _("Choose one from the list; “%(code)s” is not on it.") % {"code": code},
                          field=field)  # fmt: skip
    finding = Finding.objects.create(
        visit=visit, **given, words=words.strip(), warranty=warranty, confirmed=confirmed, noted_by=by,
        noted_at=at or timezone.now(), key=key or uuid.uuid4(),
    )  # fmt: skip
    if visit.state == Visit.State.CLOSED:  # it came after the closing, which teaches from all that stood there
        downward.teach(finding, by)
    return finding


@transaction.atomic
def take_back_finding(*, finding, why, by):
    """A finding that was wrong stays readable, with the reason; it counts no more."""
    writable(finding.visit, by)
    if not why.strip():
        raise Refused("no_reason", _("Say why it is taken back."), field="why")
    if finding.taken_back_at is None:
        finding.taken_back_at, finding.taken_back_why = timezone.now(), why.strip()[:300]
        finding.save(update_fields=["taken_back_at", "taken_back_why"])
    return finding


@transaction.atomic
def use_part(
    *, visit, part_type, by, quantity=1, serial_out="", serial_in="", was_aboard=True, key=None, late=False
):
    """Keep a part in and a part out. `part_type`: a PartType or its code. Pump serials are looked up as units."""
    if key is not None and (already := PartUse.objects.filter(key=key).first()):
        if already.visit_id != visit.pk:
            raise Refused("key_taken", _("This part's key belongs to another visit."))
        return already
    visit = writable(visit, by, late)
    if isinstance(part_type, str):
        part_type = PartType.objects.filter(organisation=visit.organisation, code=part_type).first()
    if part_type is None or part_type.organisation_id != visit.organisation_id:
        raise Refused("unknown_part", _("This part is not on your list of parts."), field="part_type")
    if not 1 <= quantity <= 1000:
        raise Refused("out_of_range", _("Between 1 and 1,000, please."), field="quantity")
    serial_out, serial_in = serial_out.strip(), serial_in.strip()
    if serial_in and serial_in == serial_out:
        raise Refused("same_serial", _("The serial in is the same as the serial out."), field="serial_in")
    unit_out = unit_in = None
    if part_type.code == "pump":
        units = Unit.objects.filter(organisation=visit.organisation)
        unit_out = units.filter(serial__iexact=serial_out).first() if serial_out else None
        unit_in = units.filter(serial__iexact=serial_in).first() if serial_in else None
        hanging = unit_in and unit_in.installations.filter(period__upper_inf=True).select_related("well__site").first()
        if hanging and hanging.pk != visit.installation_id:
            raise Refused(
                "unit_elsewhere",
                _("%(serial)s hangs at %(site)s. Check the plate, or close that installation first.")
                % {"serial": unit_in.serial, "site": hanging.well.site},
                field="serial_in",
            )
    return PartUse.objects.create(
        visit=visit, part_type=part_type, quantity=quantity, serial_out=serial_out, serial_in=serial_in,
        unit_out=unit_out, unit_in=unit_in, was_aboard=was_aboard, key=key or uuid.uuid4(),
    )  # fmt: skip


@transaction.atomic
def leave(*, visit, by, at=None, km=None, caretaker_words="", not_done="", late=False):
    """The technician leaves; the log is whole as far as they know. Closing is a step of its own."""
    visit = writable(visit, by, late)
    at = at or timezone.now()
    _check_time(at)
    if km is not None and not 0 <= km <= 5000:
        raise Refused("out_of_range", _("Kilometres between 0 and 5,000, please."), field="km")
    if visit.left_at is None or at >= visit.left_at:
        visit.left_at, visit.km = at, km if km is not None else visit.km
        visit.caretaker_words = caretaker_words.strip() or visit.caretaker_words
        visit.not_done = not_done.strip() or visit.not_done
    if visit.state == Visit.State.UNDER_WAY:
        visit.state = Visit.State.LOGGED
    visit.save(update_fields=["left_at", "km", "caretaker_words", "not_done", "state"])
    return visit
