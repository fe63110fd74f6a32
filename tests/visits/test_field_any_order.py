"""Pieces in any order, sent twice or half, of any shape and of any version, end in the same record."""

import json
import uuid
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from fleet.readings.models import SpotTest
from fleet.visits import services
from fleet.visits.models import FieldPiece, PhotoChunk, Visit
from tests.makers.field_pieces import PIECES, a_piece, a_step_piece, an_image, send_photo
from tests.makers.registry import an_installation
from tests.makers.visits import SPOT_READINGS, an_assigned_visit


def snapshot(visit):
    """Everything that the visit's record says, but for what the database numbers."""
    visit.refresh_from_db()

    def plain(values):
        spot = values.get("spot")
        return str({k: v for k, v in values.items() if k != "spot"}), spot and spot["answer"]["verdict"]

    return {
        "visit": (visit.state, visit.arrived_at, visit.left_at, visit.km, visit.caretaker_words, visit.not_done),
        "records": {
            (str(r.key), r.step, plain(r.values), r.passed, r.skipped_why, r.at, r.replaces and str(r.replaces.key))
            for r in visit.records.select_related("replaces")
        },
        "current": {(code, str(r.key)) for code, r in services.current_records(visit).items()},
        "spots": {(str(t.key), t.flow_l_min, t.standing) for t in SpotTest.objects.all()},
        "findings": set(visit.findings.values_list("key", "cause")),
        "parts": set(visit.parts.values_list("key", "part_type__code", "quantity")),
        "photos": set(visit.photos.values_list("key", "sha256")),
        "states": {(str(p.key), p.state) for p in FieldPiece.objects.all()},
    }  # fmt: skip


def a_whole_log(visit, photo_key, photo):
    ask = a_step_piece(visit, "ask_caretaker", 5)
    spot = a_step_piece(visit, "spot_test", 20, values={"spot": SPOT_READINGS | {"key": str(uuid.uuid4())}})
    return [
        a_piece(visit, "start", 2), ask,
        a_step_piece(visit, "ask_caretaker", 7, replaces=ask["key"], values={"words": "less since Monday"}),
        a_step_piece(visit, "meter", 9, values={"meter_total_l": 5000}), spot,
        a_step_piece(visit, "spot_test", 28, replaces=spot["key"], values={"spot": SPOT_READINGS | {"cell_c": 45}}),
        a_step_piece(visit, "cut_offs", 30, skipped_why="ladder broken"),
        a_step_piece(visit, "string_currents", 33, values={"string_a": ["six"]}),
        a_piece(visit, "finding", 35, failure_mode="less_water", cause="pump_worn", action="none"),
        a_piece(visit, "part", 36, part="fuse", quantity=2),
        a_piece(visit, "photo", 15, photo_key, size=len(photo), step="look"),
        a_piece(visit, "leave", 50, km=10, not_done="the rest"),
        a_piece(visit, "leave", 55, km=12, caretaker_words="thanks"),
    ]  # fmt: skip


@settings(
    max_examples=15, deadline=None, phases=[Phase.explicit, Phase.generate],  # a failing try is read, not shrunk
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_any_order_repeats_and_interruptions_end_in_the_same_record(data, send, visit, api_of, idris):
    """Each try: the same log, shuffled, cut into sendings, some sent twice, photo parts strewn in between."""
    api = api_of(idris)
    if not hasattr(visit, "expected"):
        photo, key = an_image(size=(300, 200)), uuid.uuid4()
        visit.photo, visit.photo_key = photo, key
        visit.log = a_whole_log(visit, key, photo)
        send(visit.log)
        send_photo(api, key, photo, send.device, size=4000)
        visit.expected = snapshot(visit)
        assert {s for _k, s in visit.expected["states"]} == {"kept", "refused"}
    forget(visit)
    order = data.draw(st.permutations(visit.log))
    while order:
        n = data.draw(st.integers(1, 6))
        part, order = order[:n], order[n:]
        send(part)
        if data.draw(st.booleans()):
            send(part[:2])
        if data.draw(st.booleans()):
            place = data.draw(st.sampled_from(range(0, len(visit.photo), 4000)))
            send_photo(api, visit.photo_key, visit.photo, send.device, parts=[place], size=4000)
    send_photo(api, visit.photo_key, visit.photo, send.device, size=4000)
    send(visit.log)
    assert snapshot(visit) == visit.expected


def forget(visit):
    """Back to the morning: as if nothing had come yet."""
    FieldPiece.objects.all().delete()
    PhotoChunk.objects.all().delete()
    visit.photos.all().delete()
    visit.findings.all().delete()
    visit.parts.all().delete()
    visit.records.update(replaces=None)
    visit.records.all().delete()
    visit.spot_tests.all().delete()
    SpotTest.objects.all().delete()
    Visit.objects.filter(pk=visit.pk).update(
        state="assigned", arrived_at=None, left_at=None, km=None, caretaker_words="", not_done=""
    )


ODD_PAYLOADS = [
    {"step": "ask_caretaker", "values": {"words": "a\0b"}}, {"step": ["x"], "values": []}, {"step": "\ud800"},
    {"step": "ask_caretaker", "values": {"days_without_water": float("inf")}},
    {"step": "ask_caretaker", "replaces": "x"},
    {"step": "spot_test", "values": {"spot": {"repeats": [None]}}, "cautions_seen": ["DC"]}, {"cautions_seen": 5},
    {"step": "spot_test", "values": {"spot": SPOT_READINGS | {"at": "noon"}}, "cautions_seen": ["DC"]},
]  # fmt: skip


@pytest.mark.parametrize("payload", ODD_PAYLOADS, ids=lambda p: ascii(p)[:40])
@pytest.mark.parametrize("kind", ["step", "finding", "part", "photo", "leave"])
def test_an_odd_payload_never_breaks_the_intake(kind, payload, visit, idris):
    piece = a_piece(visit, kind, 5) | {"payload": payload, "version": 10**12}
    good = a_step_piece(visit, "ask_caretaker", 9)
    device = services.device_of(by=idris, key=uuid.uuid4())
    outcomes = services.receive(by=idris, device=device, pieces=[piece, good])
    assert outcomes[1].state == "kept"
    assert FieldPiece.objects.count() == 2


def test_what_the_first_version_of_the_log_wrote_is_read_for_ever(idris, organisation, api_of):
    """The very words of a sending of that version; the file is never changed to suit the server."""
    services.set_up(organisation)
    installation = an_installation(organisation)
    visit = an_assigned_visit(installation, idris)
    text = (Path(__file__).parent / "data/pieces_format_1.json").read_text()
    body = json.loads(text.replace("VISIT", str(visit.key)))["body"]
    for later in (True, False):
        answer = api_of(idris).post(PIECES, body | {"later": later}, format="json")
        assert answer.status_code == 200
    states = {o["key"][-1]: (o["state"], o["sentence"]) for o in answer.json()["outcomes"]}
    assert {state for state, _said in states.values()} == {"kept"}, states
    visit.refresh_from_db()
    assert (visit.state, visit.km, visit.records.count(), visit.findings.count()) == ("logged", 42, 2, 1)
    assert SpotTest.objects.get().flow_l_min == pytest.approx(60 * 20 / 66.8)
