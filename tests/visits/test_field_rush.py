"""Many telephones at once: few questions to the database, and whoever asks too often is told when to come back."""

import uuid

from fleet.visits import services
from fleet.visits.models import FieldPiece
from tests.makers.field_pieces import PIECES, a_piece, a_step_piece


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
