"""However a call fails, it fails in one shape: code, field and sentence; and too many calls are told to wait."""

import pytest
from django.core.cache import cache
from rest_framework.throttling import UserRateThrottle

from fleet.people.services import make_token
from tests.makers.registry import an_installation

ROOT = "/api/v1/"


@pytest.mark.parametrize("verb", ["get", "post", "put", "delete"])
@pytest.mark.parametrize("path", ["nowhere/", "units/-5/", "units/one/", "units/1/dance/"])
def test_an_address_that_is_none_is_refused_in_the_same_shape(verb, path, nadia, api_of, client):
    for asker in (api_of(nadia), client):
        answer = getattr(asker, verb)(ROOT + path)
        (error,) = answer.json()["errors"]
        assert answer.status_code == 404 and error["code"] == "no_such_address" and "guide" in error["sentence"]


def test_a_lost_stroke_is_put_there_for_readers_and_told_to_writers(nadia, api_of):
    answer = api_of(nadia).get(f"{ROOT}sites?code=a")
    assert answer.status_code == 302 and answer["Location"] == f"{ROOT}sites/?code=a"
    answer = api_of(nadia).post(f"{ROOT}sites", {}, format="json")
    assert answer.status_code == 404 and "end in /" in answer.json()["errors"][0]["sentence"]


def test_a_verb_that_an_address_does_not_know_is_refused(nadia, api_of):
    answer = api_of(nadia).delete(f"{ROOT}sites/")
    assert answer.status_code == 405 and answer.json()["errors"][0]["code"] == "method_not_allowed"


def test_a_session_needs_its_token_against_forgery_and_a_programs_key_does_not(nadia, organisation, client_of, client):
    unit = an_installation(organisation).unit
    body = '{"batch": "B"}'
    browser = client_of(nadia, enforce_csrf_checks=True)
    answer = browser.patch(f"{ROOT}units/{unit.pk}/", body, content_type="application/json")
    assert answer.status_code == 403 and "CSRF" in answer.json()["errors"][0]["sentence"]
    _token, key = make_token(person=nadia, name="t")
    headers = {"Authorization": f"Token {key}"}
    answer = client.patch(f"{ROOT}units/{unit.pk}/", body, content_type="application/json", headers=headers)
    assert answer.status_code == 200


def test_too_many_calls_are_told_to_wait(nadia, idris, api_of, monkeypatch):
    cache.clear()
    monkeypatch.setattr(UserRateThrottle, "THROTTLE_RATES", {"user": "3/hour"})
    statuses = [api_of(nadia).get(f"{ROOT}me/").status_code for _n in range(4)]
    assert statuses == [200, 200, 200, 429]
    answer = api_of(nadia).get(f"{ROOT}me/")
    assert answer.json()["errors"][0]["code"] == "throttled" and int(answer["Retry-After"]) > 0
    assert api_of(idris).get(f"{ROOT}me/").status_code == 200  # each person has a measure of their own
    cache.clear()


def test_who_belongs_nowhere_sees_nothing(nadia, organisation, api_of):
    an_installation(organisation)
    nadia.organisation = None
    nadia.save()
    for name in ("sites/", "units/", "day-records/", "attention/", "visits/"):
        answer = api_of(nadia).get(ROOT + name)
        assert answer.status_code == 403 and answer.json()["errors"][0]["sentence"]
