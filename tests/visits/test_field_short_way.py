"""Telephones go past what pages need; whoever is none goes the long way; both are answered by the same views."""

import uuid

import pytest
from django.test import Client
from django.utils import translation
from rest_framework.test import APIClient

from fleet.visits import services
from fleet.visits.models import FieldPiece
from fleet.visits.services import field_intake
from tests.makers.field_pieces import PIECES, a_piece
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


@pytest.fixture
def telephone(idris):
    device, token = services.register(person=idris, key=uuid.uuid4())
    phone = APIClient()
    phone.credentials(HTTP_AUTHORIZATION=f"Telephone {token}")
    phone.device = device
    return phone


def body(visit, device):
    return {"device": str(device.key), "later": True, "pieces": [a_piece(visit, "start")]}


def test_a_telephone_sends_without_a_session_and_in_its_own_person_s_words(telephone, visit, idris, monkeypatch):
    monkeypatch.setattr(field_intake, "_", lambda text: f"{translation.get_language()}: {text}")
    idris.language, before = "fr", translation.get_language()
    idris.save()
    broken = body(visit, telephone.device)
    broken["pieces"][0]["visit"] = str(uuid.uuid4())
    answer = telephone.post(PIECES, broken, format="json")
    assert answer.status_code == 200
    assert answer.json()["outcomes"][0]["sentence"].startswith("fr: This visit is not known")
    assert translation.get_language() == before
    assert not answer.cookies
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert int(answer["Content-Length"]) == len(answer.content)


def test_a_key_that_nobody_has_and_one_that_was_shut_out_are_refused(telephone, visit, nadia):
    stranger = APIClient()
    stranger.credentials(HTTP_AUTHORIZATION="Telephone rmf_nobody")
    refused = stranger.post(PIECES, body(visit, telephone.device), format="json")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (401, "unknown_device")
    stranger.credentials(HTTP_AUTHORIZATION="Telephone ")
    assert stranger.post(PIECES, body(visit, telephone.device), format="json").status_code == 401
    services.shut_out(device=telephone.device, by=nadia)
    refused = telephone.post(PIECES, body(visit, telephone.device), format="json")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (401, "shut_out")
    assert not FieldPiece.objects.exists()


def test_a_name_that_is_not_this_server_s_is_refused_on_the_short_way_too(telephone, visit, settings):
    settings.ALLOWED_HOSTS = ["testserver"]
    sent = body(visit, telephone.device)
    assert telephone.post(PIECES, sent, format="json", HTTP_HOST="elsewhere.example").status_code == 400
    assert telephone.post(PIECES, sent, format="json").status_code == 200


def test_a_person_s_browser_goes_the_long_way_with_its_form_s_token(visit, idris, telephone):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(idris, backend="fleet.people.backends.PersonBackend")
    answer = browser.post(PIECES, body(visit, telephone.device), content_type="application/json")
    assert answer.status_code == 403
    assert "Content-Security-Policy" in answer
    assert not FieldPiece.objects.exists()


def test_other_addresses_of_a_telephone_are_found_as_before(telephone):
    assert telephone.get("/api/v1/field/pieces/more/").status_code == 404
    assert telephone.get("/api/v1/field/photos/none/").status_code == 404
    assert telephone.get(PIECES).status_code == 405
    assert telephone.get(f"/api/v1/field/bundle/?device={telephone.device.key}").status_code == 200
