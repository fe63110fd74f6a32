"""What the office or a colleague did meanwhile is settled by a person who sees both sides, piece by piece."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import FieldPiece, Photo
from fleet.web.refusals import Refused
from tests.makers.field_pieces import a_piece, a_step_piece, an_image, send_photo
from tests.makers.people import a_person


def typed_at_the_desk(visit, nadia, **values):
    """Nadia types in a sheet that came on paper."""
    services.start(visit=visit, by=nadia, at=timezone.now() - timedelta(hours=1))
    record, _said = services.record_step(
        visit=visit, step="ask_caretaker", by=nadia, whole=False, cautions_seen=["ALONE", "STORM"],
        values={"words": "from the sheet", "days_without_water": 2} | values,
    )  # fmt: skip
    return record


@pytest.fixture
def both(visit, nadia, send):
    """Nadia typed the step in; then Idris's telephone brings its own record of it and of another step."""
    record = typed_at_the_desk(visit, nadia)
    piece = a_step_piece(visit, "ask_caretaker", 5, values={"words": "from the well", "days_without_water": "3"})
    states = [o["state"] for o in send([a_piece(visit, "start"), piece, a_step_piece(visit, "meter", 9)])]
    assert states == ["kept", "to_settle", "kept"]
    return record, FieldPiece.objects.get(key=piece["key"])


def test_a_step_that_somebody_else_recorded_too_overwrites_nothing(both, visit):
    record, piece = both
    assert piece.code == "recorded_by_another"
    assert "Nadia Sefu" in piece.sentence
    assert services.current_records(visit)["ask_caretaker"] == record


@pytest.mark.parametrize("take", [True, False])
def test_the_person_s_choice_stands_and_the_other_stays_readable(take, both, visit, nadia):
    record, piece = both
    services.settle(visit=visit, by=nadia, **{"take" if take else "leave": [piece.key]})
    piece.refresh_from_db()
    stands = services.current_records(visit)["ask_caretaker"]
    assert (piece.state, piece.settled_by) == ("taken" if take else "left_out", nadia)
    assert stands.values["words"] == ("from the well" if take else "from the sheet")
    assert visit.records.filter(pk=record.pk).exists()
    if take:
        assert stands.replaces == record


def test_the_same_person_s_later_record_is_no_conflict(visit, send):
    first, second = a_step_piece(visit, "ask_caretaker", 5), a_step_piece(visit, "ask_caretaker", 9)
    assert [o["state"] for o in send([a_piece(visit, "start"), first, second])] == ["kept"] * 3


def test_a_correction_of_the_very_record_that_the_desk_wrote_is_no_conflict(visit, nadia, send):
    record = typed_at_the_desk(visit, nadia)
    better = a_step_piece(visit, "ask_caretaker", 59, replaces=str(record.key), values={"words": "better"})
    assert send([better])[0]["state"] == "kept"


def test_a_correction_of_what_the_desk_corrected_meanwhile_is_looked_at(visit, nadia, send):
    first = a_step_piece(visit, "ask_caretaker", 5)
    send([a_piece(visit, "start"), first])
    typed_at_the_desk(visit, nadia)
    again = a_step_piece(visit, "ask_caretaker", 100, replaces=first["key"], values={"words": "again"})
    assert send([again])[0]["code"] == "recorded_by_another"


def test_other_words_at_leaving_than_the_desk_s_are_looked_at(visit, nadia, send):
    typed_at_the_desk(visit, nadia)
    services.leave(visit=visit, by=nadia, km=40, caretaker_words="thanks")
    assert send([a_piece(visit, "leave", 50, km=44)])[0]["code"] == "recorded_by_another"
    assert send([a_piece(visit, "leave", 51, km=40, not_done="the tank")])[0]["state"] == "kept"
    visit.refresh_from_db()
    assert (visit.km, visit.caretaker_words) == (40, "thanks")


def test_one_part_is_taken_over_one_left_out_one_goes_on_waiting(visit, nadia, idris, send):
    services.cancel(visit=visit, why="flood", by=nadia)
    pieces = [a_step_piece(visit, code, n) for n, code in enumerate(["ask_caretaker", "meter", "look"], 3)]
    assert {o["state"] for o in send(pieces)} == {"to_settle"}
    one, two, three = (FieldPiece.objects.get(key=p["key"]) for p in pieces)
    services.settle(visit=visit, take=[one.key], leave=[two.key], by=nadia)
    for piece, state in ((one, "taken"), (two, "left_out"), (three, "to_settle")):
        piece.refresh_from_db()
        assert piece.state == state
    visit.refresh_from_db()
    assert (visit.state, visit.technician) == ("under_way", idris)
    assert set(services.current_records(visit)) == {"ask_caretaker"}


REFUSALS = [  # take, leave, code; names of pieces
    (["one"], ["one"], "both"),
    ([], [], "nothing_chosen"),
    (["nobody's"], [], "settled_meanwhile"),
]


@pytest.mark.parametrize(("take", "leave", "code"), REFUSALS, ids=[r[2] for r in REFUSALS])
def test_a_choice_that_cannot_be_is_refused_and_nothing_changes(take, leave, code, both, visit, nadia):
    keys = {"one": both[1].key, "nobody's": uuid.uuid4()}
    with pytest.raises(Refused) as refusal:
        services.settle(visit=visit, take=[keys[k] for k in take], leave=[keys[k] for k in leave], by=nadia)
    assert refusal.value.code == code
    both[1].refresh_from_db()
    assert both[1].state == "to_settle"


def test_what_is_settled_already_is_not_settled_again(both, visit, nadia):
    services.settle(visit=visit, leave=[both[1].key], by=nadia)
    with pytest.raises(Refused) as refusal:
        services.settle(visit=visit, take=[both[1].key], by=nadia)
    assert refusal.value.code == "nothing_to_settle"


def test_a_photo_taken_over_before_its_bytes_are_here_joins_when_they_come(
    visit, nadia, idris, send, api_of
):
    services.cancel(visit=visit, why="flood", by=nadia)
    data, key = an_image(size=(300, 200)), uuid.uuid4()
    send([a_piece(visit, "photo", 3, key, size=len(data), step="look")])
    services.settle(visit=visit, take=[key], by=nadia)
    assert not Photo.objects.exists()
    send_photo(api_of(idris), key, data, send.device)
    assert Photo.objects.get().key == key
    assert FieldPiece.objects.get(key=key).state == "taken"


def test_the_page_shows_both_values_photos_and_times_and_settles_one(
    both, visit, nadia, idris, send, api_of, client_of
):
    _record, piece = both
    data, key = an_image(size=(300, 200)), uuid.uuid4()
    services.keep_photo(visit=visit, data=an_image(2, (300, 200)), by=nadia, step="ask_caretaker")
    send([a_piece(visit, "photo", 6, key, size=len(data), step="ask_caretaker")])
    send_photo(api_of(idris), key, data, send.device)
    address = f"/visits/{visit.key}/settle/"
    page = client_of(nadia).get(address).content.decode()
    for words in ("from the well", "from the sheet", "differs", "Nadia Sefu", "Idris Kombe"):
        assert words in page, words
    assert page.count("/visits/photos/") >= 4
    client_of(nadia).post(address, {f"piece-{piece.key}": "take"})
    assert services.current_records(visit)["ask_caretaker"].values["words"] == "from the well"
    assert client_of(idris).get(address).status_code == 403


def test_pictures_that_wait_are_shown_to_who_settles_only(visit, nadia, idris, otto, send, api_of, client_of):
    services.cancel(visit=visit, why="flood", by=nadia)
    data, key = an_image(size=(300, 200)), uuid.uuid4()
    send([a_piece(visit, "photo", 3, key, size=len(data), step="look")])
    address = f"/visits/pieces/{key}.jpg"
    assert client_of(nadia).get(address).status_code == 404  # still on its way
    send_photo(api_of(idris), key, data, send.device)
    assert client_of(nadia).get(address).content == data
    assert client_of(otto).get(address).status_code == 404
    assert client_of(idris).get(address).status_code == 403


def test_all_of_a_colleague_s_telephone_is_settled_by_one_button(visit, nadia, idris, send, client_of):
    sara = a_person(visit.organisation, first_name="Sara", last_name="Lale")
    services.assign(visit=visit, technician=sara, on=timezone.localdate(), by=nadia)
    send([a_piece(visit, "start"), a_step_piece(visit, "ask_caretaker")])
    address = f"/visits/{visit.key}/settle/"
    assert "gives the visit back to Idris Kombe" in client_of(nadia).get(address).content.decode()
    client_of(nadia).post(address, {"take_all": idris.pk})
    visit.refresh_from_db()
    assert (visit.technician, visit.records.count()) == (idris, 1)


def moved_to(visit, days, nadia, idris):
    day = timezone.localdate() + timedelta(days=days)
    services.assign(visit=visit, technician=idris, on=day, by=nadia)
    return day


def test_a_log_of_a_visit_that_the_office_moved_is_kept_whole_and_both_days_are_shown(
    visit, send, nadia, idris, client
):
    packed, day = visit.planned_on, moved_to(visit, 3, nadia, idris)
    arrived, step = send([a_piece(visit, "start", day=packed.isoformat()), a_step_piece(visit, "ask_caretaker")])
    assert (arrived["state"], arrived["code"], step["state"]) == ("kept", "moved_meanwhile", "kept")
    visit.refresh_from_db()
    assert (visit.state, visit.planned_on) == ("under_way", day), "the office's day is not overwritten"
    client.force_login(nadia, backend="fleet.people.backends.PersonBackend")
    assert str(visit.site.code) in client.get("/visits/telephones/").content.decode()
    page = client.get(f"/visits/{visit.key}/settle/").content.decode()
    assert "Moved to another day" in page
    client.post(f"/visits/{visit.key}/settle/", {"move": "done"})
    assert not FieldPiece.objects.moved_meanwhile().exists()
    assert "Moved to another day" not in client.get(f"/visits/{visit.key}/settle/").content.decode()
    with pytest.raises(Refused, match="Nothing waits"):
        services.settle_move(visit=visit, by=nadia, again=True)


def test_what_a_moved_visit_was_moved_for_can_be_planned_again(visit, send, nadia, idris):
    packed, day = visit.planned_on, moved_to(visit, 3, nadia, idris)
    send([a_piece(visit, "start", day=packed.isoformat())])
    with pytest.raises(Refused, match="role"):
        services.settle_move(visit=visit, by=idris, again=True)
    new = services.settle_move(visit=visit, by=nadia, again=True)
    assert new.pk != visit.pk
    assert (new.kind, new.site, new.technician, new.planned_on) == (visit.kind, visit.site, idris, day)


def test_a_visit_moved_there_and_back_and_one_packed_anew_raise_no_question(visit, send, nadia, idris):
    packed = visit.planned_on
    moved_to(visit, 3, nadia, idris)
    services.assign(visit=visit, technician=idris, on=packed, by=nadia)
    back, = send([a_piece(visit, "start", day=packed.isoformat())])
    visit.refresh_from_db()
    anew, = send([a_piece(visit, "start", minutes=2, day="2020-01-01") | {"version": visit.version}])
    assert [back["code"], anew["code"]] == ["", ""]


def test_a_version_that_does_not_tell_its_day_is_noticed_by_its_number(visit, send, nadia, idris):
    moved_to(visit, 3, nadia, idris)
    arrived, = send([a_piece(visit, "start")])
    assert arrived["code"] == "moved_meanwhile"
