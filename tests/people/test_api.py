"""People by the API: the same visibility as the pages."""

import pytest

from tests.makers.people import a_person


def test_everyone_asks_who_they_are(api_of, idris):
    found = api_of(idris).get("/api/v1/me/").json()
    assert (found["username"], found["role"], found["organisation"]) == ("idris", "technician", "Mbega Water Trust")
    assert found["may"] == ["log", "own_day", "read_fleet", "take_calls"]


def test_a_stranger_is_told_to_sign_in(client, db):
    answer = client.get("/api/v1/me/")
    assert answer.status_code in (401, 403)
    assert answer.json()["errors"][0]["code"] == "not_authenticated"


def test_the_administrator_lists_colleagues_and_nobody_else_does(api_of, amara, nadia, idris, wanja, otto):
    found = api_of(amara).get("/api/v1/people/").json()
    assert {row["username"] for row in found["results"]} == {"amara", "nadia", "idris", "wanja"}
    assert "count" not in found
    assert not {"password", "is_superuser", "groups"} & found["results"][0].keys()
    for person in (nadia, idris, wanja, otto):
        answer = api_of(person).get("/api/v1/people/")
        assert answer.status_code == 403 and "administrator" in answer.json()["errors"][0]["sentence"]


def test_one_colleague_is_found_and_a_stranger_is_not(api_of, amara, idris, otto):
    assert api_of(amara).get(f"/api/v1/people/{idris.pk}/").json()["username"] == "idris"
    assert api_of(amara).get(f"/api/v1/people/{otto.pk}/").status_code == 404


def test_the_list_goes_on_by_key_and_back(api_of, amara):
    for _i in range(5):
        a_person(amara.organisation)
    api, pages = api_of(amara), []
    page = api.get("/api/v1/people/", {"per_page": 2}).json()
    while True:
        pages.append(page)
        if not page["next"]:
            break
        page = api.get(page["next"]).json()
    seen = [row["id"] for page in pages for row in page["results"]]
    assert len(seen) == len(set(seen)) == 6 and len(pages) == 3
    assert api.get(pages[2]["previous"]).json()["results"] == pages[1]["results"]
    assert pages[0]["previous"] is None


WRONG = [({"per_page": "0"}, "per_page"), ({"per_page": "1001"}, "per_page"), ({"per_page": "ten"}, "per_page"),
         ({"per_page": "²"}, "per_page"), ({"per_page": "9" * 400}, "per_page"), ({"after": "nonsense"}, "after"),
         ({"before": "WyJhIl0"}, "before")]  # fmt: skip


@pytest.mark.parametrize(("asked", "field"), WRONG)
def test_a_wrong_page_is_refused_with_a_sentence(api_of, amara, asked, field):
    answer = api_of(amara).get("/api/v1/people/", asked)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field and answer.json()["errors"][0]["sentence"]


def test_nonsense_in_the_header_is_refused_with_a_sentence(client, db):
    for header in ("Token", "Token a b", "Token \xff", "Token rm_unknown"):
        answer = client.get("/api/v1/me/", headers={"Authorization": header})
        assert answer.status_code == 401
        assert answer.json()["errors"][0]["sentence"]
