"""What telephones send: kept once in any order, held, refused, settled by a person; photos in parts; lost phones."""

import hashlib
import io
import json
import uuid
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from fleet.readings.models import SpotTest
from fleet.visits import services
from fleet.visits.models import FieldDevice, FieldPiece, Photo, PhotoChunk, Visit
from tests.makers.people import a_person
from tests.makers.registry import an_installation
from tests.makers.visits import SPOT_READINGS, an_assigned_visit, values_for

PIECES = "/api/v1/field/pieces/"


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


def a_piece(visit, kind, minutes=0, key=None, **payload):
    at = timezone.now() - timedelta(hours=2) + timedelta(minutes=minutes)
    return {
        "key": str(key or uuid.uuid4()), "visit": str(visit.key), "version": visit.version, "kind": kind,
        "at": at.isoformat(), "format": 1, "payload": payload,
    }  # fmt: skip


def a_step_piece(visit, code, minutes=5, key=None, replaces=None, **changes):
    step = next(s for s in visit.procedure.steps if s["code"] == code)
    values = values_for(step, visit.installation) | changes.pop("values", {})
    known = {"step": code, "values": values, "cautions_seen": step["cautions"], "replaces": replaces}
    return a_piece(visit, "step", minutes, key, **known | changes)


def an_image(seed=1, size=(900, 700)):
    out = io.BytesIO()
    Image.effect_noise(size, 40 + seed).convert("RGB").save(out, "JPEG", quality=70)
    return out.getvalue()


@pytest.fixture
def send(api_of, idris):
    """`send(pieces)` as Idris's telephone does; gives the outcomes' states."""
    device = str(uuid.uuid4())

    def sent(pieces, by=idris, waiting=None):
        body = {"device": device, "name": "Idris's phone", "pieces": pieces, "waiting": waiting}
        answer = api_of(by).post(PIECES, body, format="json")
        assert answer.status_code == 200, answer.content
        return answer.json()["outcomes"]

    sent.device = device
    return sent


def send_photo(api, key, data, device, parts=None, size=20_000):
    places = range(0, len(data), size)
    for place in parts if parts is not None else places:
        answer = api.put(
            f"/api/v1/field/photos/{key}/?place={place}&total={len(data)}&device={device}",
            data[place : place + size], content_type="application/octet-stream",
        )  # fmt: skip
        assert answer.status_code == 200, answer.content
    return answer.json()["here"]


def test_a_log_from_the_phone_becomes_the_visits_record(send, visit, idris):
    pieces = [
        a_piece(visit, "start"), a_step_piece(visit, "ask_caretaker"),
        a_step_piece(visit, "spot_test", 20, values={"spot": SPOT_READINGS}),
        a_piece(visit, "finding", 30, failure_mode="less_water", cause="dirt", action="cleaned"),
        a_piece(visit, "part", 31, part="wash_kit", quantity=1),
        a_piece(visit, "leave", 50, km=42, caretaker_words="all well", not_done="strings: cloud"),
    ]  # fmt: skip
    assert {o["state"] for o in send(pieces)} == {"kept"}
    visit.refresh_from_db()
    assert (visit.state, visit.km, visit.caretaker_words) == ("logged", 42, "all well")
    assert visit.records.count() == 2
    assert SpotTest.objects.get().taken_by == idris
    assert visit.findings.get().cause == "dirt"
    assert visit.parts.get().part_type.code == "wash_kit"


def test_a_log_sent_twice_from_the_phone_is_kept_once(send, visit):
    pieces = [a_piece(visit, "start"), a_step_piece(visit, "ask_caretaker")]
    first, again = send(pieces), send(pieces + pieces)
    assert [o["state"] for o in first] == ["kept", "kept"]
    assert [o["state"] for o in again] == ["kept"] * 4
    assert visit.records.count() == 1


def test_a_correction_waits_for_what_it_corrects(send, visit):
    first = a_step_piece(visit, "ask_caretaker", 5)
    second = a_step_piece(visit, "ask_caretaker", 9, replaces=first["key"], values={"words": "better"})
    assert send([second])[0]["state"] == "held"
    send([first])
    assert {p.state for p in FieldPiece.objects.all()} == {"kept"}
    assert services.current_records(visit)["ask_caretaker"].values["words"] == "better"


REFUSED = [  # change of a piece, code
    ({"kind": "song"}, "not_a_piece"),
    ({"payload": "text"}, "not_a_piece"),
    ({"at": "2026-03-04 10:00"}, "not_a_piece"),
    ({"at": "yesterday"}, "not_a_piece"),
    ({"key": "not a key"}, "no_key"),
    ({"visit": str(uuid.uuid4())}, "no_visit"),
]


@pytest.mark.parametrize(("change", "code"), REFUSED)
def test_a_piece_that_is_none_comes_back_with_a_sentence(change, code, send, visit):
    outcome = send([a_step_piece(visit, "ask_caretaker") | change])[0]
    assert (outcome["state"], outcome["code"]) == ("refused", code)
    assert outcome["sentence"]


def test_one_bad_piece_does_not_spoil_the_others(send, visit):
    bad = a_step_piece(visit, "ask_caretaker", values={"days_without_water": "many"})
    unknown = a_piece(visit, "step", step="dance", values={})
    odd = a_piece(visit, "part", part=["no"], quantity="many")
    good = a_step_piece(visit, "meter", 8, values={"meter_total_l": 1000})
    states = [o["state"] for o in send([bad, unknown, odd, good])]
    assert states == ["refused", "refused", "refused", "kept"]
    assert FieldPiece.objects.filter(state="refused").count() == 3  # kept as they came


def test_a_newer_apps_piece_is_kept_for_a_person(send, visit):
    assert send([a_step_piece(visit, "ask_caretaker") | {"format": 99}])[0]["state"] == "to_settle"


OFFICE = [("called_off", "called_off"), ("reassigned", "reassigned"), ("closed", "closed")]


def the_office(visit, what, nadia):
    if what == "called_off":
        services.cancel(visit=visit, why="flood", by=nadia)
    elif what == "reassigned":
        other = a_person(nadia.organisation, first_name="Sara", last_name="Lale")
        services.assign(visit=visit, technician=other, on=timezone.localdate(), by=nadia)
    else:
        Visit.objects.filter(pk=visit.pk).update(state="closed", arrived_at=timezone.now(), left_at=timezone.now())


def settle_all(visit, take, by):
    keys = list(visit.pieces.to_settle().values_list("key", flat=True))
    return services.settle(visit=visit, by=by, **{"take" if take else "leave": keys})


@pytest.mark.parametrize(("what", "code"), OFFICE)
@pytest.mark.parametrize("take", [True, False])
def test_what_the_office_changed_meanwhile_is_settled_by_a_person(what, code, take, send, visit, nadia, idris):
    the_office(visit, what, nadia)
    outcomes = send([a_piece(visit, "start"), a_step_piece(visit, "ask_caretaker")])
    assert {(o["state"], o["code"]) for o in outcomes} == {("to_settle", code)}
    assert not visit.records.exists()
    settle_all(visit, take, nadia)
    visit.refresh_from_db()
    assert visit.records.exists() is take
    assert {p.state for p in FieldPiece.objects.all()} == ({"taken"} if take else {"left_out"})
    if take and what != "closed":
        assert (visit.state, visit.technician) == ("under_way", idris)


def test_only_who_assigns_settles(send, visit, nadia, idris, otto):
    the_office(visit, "called_off", nadia)
    send([a_step_piece(visit, "ask_caretaker")])
    for person in (idris, otto):
        with pytest.raises(Exception, match="role|organisation"):
            settle_all(visit, True, person)


def test_a_visit_moved_to_another_day_is_no_conflict(send, visit, nadia, idris):
    services.assign(visit=visit, technician=idris, on=timezone.localdate() + timedelta(days=1), by=nadia)
    assert send([a_piece(visit, "start"), a_step_piece(visit, "ask_caretaker")])[1]["state"] == "kept"


def test_a_photo_comes_in_parts_in_any_order_and_goes_on_where_it_stopped(send, visit, api_of, idris):
    data, key = an_image(), uuid.uuid4()
    piece = a_piece(visit, "photo", 12, key, size=len(data), step="look", latitude_deg=3.1, longitude_deg=35.6)
    api = api_of(idris)
    last = (len(data) - 1) // 20_000 * 20_000
    here = send_photo(api, key, data, send.device, parts=[last, 0])
    assert send([piece])[0]["state"] == "held"
    assert api.get(f"/api/v1/field/photos/{key}/?total={len(data)}&device={send.device}").json()["here"] == here
    send_photo(api, key, data, send.device)
    photo = Photo.objects.get(key=key)
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.step, photo.latitude_deg) == ("look", 3.1)
    assert not PhotoChunk.objects.exists()
    assert FieldPiece.objects.get(key=key).state == "kept"
    assert send([piece])[0]["state"] == "kept"
    send_photo(api, key, data, send.device, parts=[0])
    assert not PhotoChunk.objects.exists()


def test_bytes_that_are_no_picture_come_back(send, visit, api_of, idris):
    data, key = b"not a picture" * 10, uuid.uuid4()
    send_photo(api_of(idris), key, data, send.device)
    assert send([a_piece(visit, "photo", 3, key, size=len(data))])[0]["code"] == "not_an_image"


CHUNKS = [  # query, body, status
    ("place=0&total=10", b"", 409),
    ("place=8&total=10", b"12345", 409),
    ("place=-1&total=10", b"1", 400),
    ("place=0", b"1", 400),
    ("place=0&total=999999999", b"1", 409),
]


@pytest.mark.parametrize(("query", "body", "status"), CHUNKS)
def test_parts_that_do_not_fit_are_refused(query, body, status, send, api_of, idris, organisation):
    url = f"/api/v1/field/photos/{uuid.uuid4()}/?device={send.device}&{query}"
    answer = api_of(idris).put(url, body, content_type="application/octet-stream")
    assert answer.status_code == status
    assert answer.json()["errors"][0]["sentence"]


def test_a_lost_phone_is_shut_out_and_let_in_again(send, visit, nadia, api_of, idris):
    send([a_piece(visit, "start")], waiting=7)
    device = FieldDevice.objects.get()
    assert (device.waiting, device.person) == (7, idris)
    services.shut_out(device=device, by=nadia)
    body = {"device": send.device, "pieces": [a_step_piece(visit, "ask_caretaker")]}
    for answer in (
        api_of(idris).post(PIECES, body, format="json"),
        api_of(idris).get(f"/api/v1/field/bundle/?device={send.device}"),
    ):
        assert answer.status_code == 409
        assert answer.json()["errors"][0]["code"] == "shut_out"
    services.let_in(device=device, by=nadia)
    assert send([a_step_piece(visit, "ask_caretaker")])[0]["state"] == "kept"


def test_strangers_and_managers_send_nothing(client, api_of, wanja, otto, visit, send):
    body = {"device": send.device, "pieces": [a_piece(visit, "start")]}
    assert client.post(PIECES, body, content_type="application/json").status_code in {401, 403}
    assert api_of(wanja).post(PIECES, body, format="json").status_code == 403
    assert send([a_piece(visit, "start")], by=otto)[0]["code"] == "no_visit"


def test_another_technicians_pieces_wait_for_a_person(send, visit):
    other = a_person(visit.organisation)
    assert send([a_piece(visit, "start")], by=other)[0]["code"] == "reassigned"


def test_a_step_that_came_back_is_mended_by_a_later_one(send, visit):
    bad = a_step_piece(visit, "ask_caretaker", values={"days_without_water": -3})
    assert send([a_piece(visit, "start"), bad])[1]["state"] == "refused"
    good = a_step_piece(visit, "ask_caretaker", 6, replaces=bad["key"])
    assert send([good])[0]["state"] == "kept"
    assert str(services.current_records(visit)["ask_caretaker"].key) == good["key"]


def test_a_correction_stands_even_if_the_clock_was_set_back_meanwhile(send, visit):
    first = a_step_piece(visit, "ask_caretaker", 60)
    better = a_step_piece(visit, "ask_caretaker", 10, replaces=first["key"], values={"words": "better"})
    send([a_piece(visit, "start"), better, first])
    assert str(services.current_records(visit)["ask_caretaker"].key) == better["key"]


def test_a_phone_that_begins_in_1970_loses_nothing(send, visit):
    pieces = [a_piece(visit, "start"), a_step_piece(visit, "spot_test")]
    for piece in pieces:
        piece["at"] = "1970-01-01T00:03:00+00:00"
    assert [o["state"] for o in send(pieces)] == ["kept", "kept"]
    visit.refresh_from_db()
    assert timezone.now() - visit.arrived_at < timedelta(minutes=1)


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


def test_the_bundle_holds_ten_visits_within_its_size(api_of, idris, organisation):
    services.set_up(organisation)
    for _ in range(10):
        an_assigned_visit(an_installation(organisation), idris)
    answer = api_of(idris).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}")
    content = answer.json()
    assert len(content["visits"]) == 10
    assert len(answer.content) < 600_000
    first = content["visits"][0]
    assert first["card"]["flow"]
    assert len(first["sun"]["noons"]) == 14
    assert content["procedures"][first["procedure"]]["steps"][0]["code"] == "arrive"
    assert content["cautions"]["DC"]["full"]
    again = api_of(idris).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}").json()
    assert again["hash"] == content["hash"]


def test_the_bundle_holds_ones_own_visits_only(api_of, idris, wanja, otto, visit):
    other = a_person(idris.organisation)
    for person, n in ((idris, 1), (other, 0), (otto, 0)):
        answer = api_of(person).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}")
        assert len(answer.json()["visits"]) == n
    assert api_of(wanja).get(f"/api/v1/field/bundle/?device={uuid.uuid4()}").status_code == 403
    assert api_of(idris).get("/api/v1/field/bundle/?device=nonsense").status_code == 400


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


def test_a_person_who_asks_far_too_often_is_told_when_to_come_back(idris, api_of, monkeypatch, visit):
    from fleet.visits.api import field

    monkeypatch.setattr(field.FieldRate, "most", 3)
    api, body = api_of(idris), {"device": str(uuid.uuid4()), "pieces": []}
    answers = [api.post(PIECES, body, format="json") for _ in range(8)]
    assert 200 in {a.status_code for a in answers}
    late = next(a for a in answers if a.status_code == 429)
    assert 1 <= int(late["Retry-After"]) <= 60
    assert late.json()["errors"][0]["sentence"]


def test_keeping_twenty_pieces_asks_the_database_as_often_as_keeping_one(
    visit, idris, django_assert_num_queries, django_capture_on_commit_callbacks
):
    from rest_framework.test import APIClient

    device, token = services.register(person=idris, key=uuid.uuid4())
    phone = APIClient()
    phone.credentials(HTTP_AUTHORIZATION=f"Telephone {token}")
    for many in (1, 20):
        pieces = [a_step_piece(visit, "ask_caretaker", n) for n in range(many)]
        body = {"device": str(device.key), "later": True, "waiting": 0, "pieces": pieces}
        with django_assert_num_queries(3):  # who sends, which visits, the pieces
            assert phone.post(PIECES, body, format="json").status_code == 200
    assert FieldPiece.objects.count() == 21
    address = f"/api/v1/field/photos/{uuid.uuid4()}/?device={device.key}&place=0&total=50000&later=1"
    with django_assert_num_queries(3):  # who sends, the part, what is here
        phone.put(address, b"x" * 20_000, content_type="application/octet-stream")


def test_where_many_wait_a_telephone_is_asked_to_come_back_and_loses_nothing(send, visit, api_of, idris):
    body = {"device": send.device, "pieces": [a_piece(visit, "start")]}
    busy = api_of(idris).post(PIECES, body, format="json", HTTP_X_QUEUED="95")
    assert (busy.status_code, busy.json()["errors"][0]["code"]) == (503, "busy")
    assert int(busy["Retry-After"]) == 4
    assert not FieldPiece.objects.exists()
    for few in ("3", "many"):
        assert api_of(idris).post(PIECES, body, format="json", HTTP_X_QUEUED=few).status_code == 200


def test_the_web_server_says_how_many_wait_and_nobody_else_does():
    from types import SimpleNamespace

    from deploy import web

    request = SimpleNamespace(headers=[("X-QUEUED", "900"), ("HOST", "127.0.0.1")])
    worker = SimpleNamespace(tpool=SimpleNamespace(_work_queue=SimpleNamespace(qsize=lambda: 7)))
    web.pre_request(worker, request)
    assert request.headers == [("HOST", "127.0.0.1"), ("X-QUEUED", "7")]
    web.pre_request(object(), request)
    assert request.headers[-1] == ("X-QUEUED", "0")
