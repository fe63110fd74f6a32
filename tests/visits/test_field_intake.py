"""What telephones send: kept once, held, refused, settled by a person; photos in parts; lost phones."""

import hashlib
import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.readings.models import SpotTest
from fleet.visits import services
from fleet.visits.models import FieldDevice, FieldPiece, Photo, PhotoChunk, Visit
from tests.makers.field_pieces import PIECES, a_piece, a_step_piece, an_image, send_photo
from tests.makers.people import a_person
from tests.makers.visits import SPOT_READINGS


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
