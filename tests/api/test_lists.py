"""Every list by the API: for its own people only, paged by key, and as many questions for sixty rows as for three."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.generics import ListAPIView

from tests.makers.everything import one_of_each

ROOT = "/api/v1/"
FEW, MANY = 3, 60


def _patterns(patterns, before=""):
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _patterns(pattern.url_patterns, before + str(pattern.pattern))
        elif isinstance(pattern, URLPattern):
            yield before + str(pattern.pattern), pattern.callback


LISTS = sorted(
    path.removeprefix("api/v1/")
    for path, view in _patterns(get_resolver().url_patterns)
    if path.startswith("api/v1/") and issubclass(getattr(view, "cls", type(None)), ListAPIView)
)


def address(path, upload):
    return ROOT + path.replace("<uuid:pk>", str(upload.pk)).replace("<int:pk>", str(upload.by_id))


@pytest.fixture
def upload(organisation, amara, idris):
    """Three rows of each kind."""
    made = None
    for number in range(1, FEW + 1):
        made = one_of_each(organisation, amara, idris, number, made)
    return made


def test_all_lists_are_found():
    assert len(LISTS) >= 34 and {"day-records/", "evaluations/", "uploads/<uuid:pk>/faults/", "wells/"} <= set(LISTS)


def test_each_list_shows_its_own_people_what_is_theirs(upload, amara, otto, client, api_of):
    own, stranger = api_of(amara), api_of(otto)
    for path in LISTS:
        answer = own.get(address(path, upload))
        assert answer.status_code == 200, (path, answer.content[:300])
        assert len(answer.json()["results"]) >= FEW, path
        assert not {"count", "organisation"} & answer.json().keys(), path
        answer = stranger.get(address(path, upload))
        assert answer.status_code in {403, 404} or answer.json()["results"] == [], path
        assert client.get(address(path, upload)).status_code == 401, path


def test_each_list_is_paged_by_key_and_each_row_comes_once(upload, amara, api_of):
    api = api_of(amara)
    for path in LISTS:
        whole = api.get(address(path, upload)).json()["results"]
        pages = [api.get(address(path, upload), {"per_page": 2}).json()]
        while pages[-1]["next"]:
            pages.append(api.get(pages[-1]["next"]).json())
        assert [row for page in pages for row in page["results"]] == whole, path
        assert api.get(pages[-1]["previous"]).json()["results"] == pages[-2]["results"], path
        wrong = api.get(address(path, upload), {"after": "nonsense"})
        assert wrong.status_code == 400 and wrong.json()["errors"][0]["field"] == "after", path


def test_sixty_rows_cost_as_many_questions_as_three(upload, organisation, amara, idris, api_of):
    api = api_of(amara)

    def asked():
        found = {}
        for path in LISTS:
            with CaptureQueriesContext(connection) as questions:
                answer = api.get(address(path, upload), {"per_page": 100})
            found[path] = len(questions), len(answer.json()["results"])
        return found

    asked()  # what is asked once for all is out of the way
    few = asked()
    for number in range(FEW + 1, MANY + 1):
        one_of_each(organisation, amara, idris, number, upload)
    many = asked()
    more = {path: (few[path], many[path]) for path in LISTS if many[path][0] != few[path][0]}
    assert not more, more
    assert all(many[path][1] >= MANY for path in LISTS), many
    assert all(questions <= 8 for questions, _rows in many.values()), many
