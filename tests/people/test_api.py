"""People by the API: the same visibility as the pages."""

import pytest

from fleet.people.models import Person
from fleet.people.services import make_token
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


# -- what is changed ---------------------------------------------------------------------------------------------------

ROOT = "/api/v1/"
SELMA = {"username": "selma", "first_name": "Selma", "role": "technician", "language": "sw"}


def code_of(answer):
    return answer.json()["errors"][0]["code"]


def test_a_key_is_shown_once_and_opens_until_it_is_revoked(client_of, client, idris):
    browser = client_of(idris)
    made = browser.post(f"{ROOT}me/tokens/", {"name": "gateway"}, "application/json")
    assert made.status_code == 201
    headers = {"Authorization": f"Token {made.json()['key']}"}
    assert client.get(f"{ROOT}me/", headers=headers).json()["username"] == "idris"
    (listed,) = browser.get(f"{ROOT}me/tokens/").json()["results"]
    assert listed["name"] == "gateway" and "key" not in listed
    assert browser.delete(f"{ROOT}me/tokens/{listed['id']}/").status_code == 204
    assert client.get(f"{ROOT}me/", headers=headers).status_code == 401


def test_one_key_does_not_make_another(client, idris):
    _token, key = make_token(person=idris, name="gateway")
    answer = client.post(f"{ROOT}me/tokens/", {"name": "a second"}, "application/json",
                         headers={"Authorization": f"Token {key}"})  # fmt: skip
    assert answer.status_code == 403 and "Log in" in answer.json()["errors"][0]["sentence"]
    assert idris.tokens.count() == 1


def test_a_key_without_a_purpose_is_refused(client_of, idris):
    for name in ("", "  ", "x" * 81):
        answer = client_of(idris).post(f"{ROOT}me/tokens/", {"name": name}, "application/json")
        assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "name"


def test_the_administrator_adds_a_colleague_who_can_log_in(api_of, amara, client):
    made = api_of(amara).post(f"{ROOT}people/", SELMA, format="json")
    assert made.status_code == 201 and made.json()["role"] == "technician"
    selma = Person.objects.get(username="selma")
    assert selma.organisation == amara.organisation and selma.check_password(made.json()["first_password"])
    assert "first_password" not in api_of(amara).get(f"{ROOT}people/{selma.pk}/").json()
    again = api_of(amara).post(f"{ROOT}people/", SELMA, format="json")
    assert again.status_code == 409 and again.json()["errors"][0]["field"] == "username"
    wrong = api_of(amara).post(f"{ROOT}people/", SELMA | {"username": "b", "role": "king"}, format="json")
    assert wrong.status_code == 400 and wrong.json()["errors"][0]["field"] == "role"


def test_a_colleague_is_changed_and_shut_out_and_only_what_is_said_changes(api_of, amara, idris):
    _token, key = make_token(person=idris, name="gateway")
    api = api_of(amara)
    assert api.patch(f"{ROOT}people/{idris.pk}/", {"phone": "+254 700 000001"}, format="json").status_code == 200
    assert api.patch(f"{ROOT}people/{idris.pk}/", {"is_active": False}, format="json").json()["is_active"] is False
    idris.refresh_from_db()
    assert (idris.phone, idris.first_name, idris.role) == ("+254 700 000001", "Idris", "technician")
    assert not idris.tokens.valid().exists()


def test_the_last_administrator_stays_and_nobody_shuts_themselves_out(api_of, amara):
    api = api_of(amara)
    answer = api.patch(f"{ROOT}people/{amara.pk}/", {"role": "manager"}, format="json")
    assert answer.status_code == 409 and code_of(answer) == "last_administrator"
    answer = api.patch(f"{ROOT}people/{amara.pk}/", {"is_active": False}, format="json")
    assert answer.status_code == 409 and code_of(answer) == "own_account"


def test_a_lost_password_is_given_anew_and_a_colleagues_key_revoked(api_of, amara, idris):
    token, _key = make_token(person=idris, name="gateway")
    api = api_of(amara)
    answer = api.post(f"{ROOT}people/{idris.pk}/password/")
    idris.refresh_from_db()
    assert answer.status_code == 201 and idris.check_password(answer.json()["first_password"])
    assert [row["id"] for row in api.get(f"{ROOT}people/{idris.pk}/tokens/").json()["results"]] == [token.pk]
    assert api.delete(f"{ROOT}people/{amara.pk}/tokens/{token.pk}/").status_code == 404
    assert api.delete(f"{ROOT}people/{idris.pk}/tokens/{token.pk}/").status_code == 204
    assert not idris.tokens.valid().exists()


def test_nobody_else_and_nobody_of_another_organisation_changes_people(api_of, nadia, idris, wanja, other_organisation):
    stranger = a_person(other_organisation, "administrator")
    for person in (nadia, idris, wanja, stranger):
        api = api_of(person)
        refused = {403} if person is not stranger else {404}
        assert api.patch(f"{ROOT}people/{wanja.pk}/", {"role": "manager"}, format="json").status_code in refused
        assert api.post(f"{ROOT}people/{wanja.pk}/password/").status_code in refused
        assert api.get(f"{ROOT}people/{wanja.pk}/tokens/").status_code in refused
        if person is not stranger:
            assert api.post(f"{ROOT}people/", SELMA, format="json").status_code == 403
            assert api.patch(f"{ROOT}organisation/", {"name": "Ours"}, format="json").status_code == 403
    assert not Person.objects.filter(username="selma").exists()


def test_everyone_changes_what_is_their_own(api_of, idris):
    answer = api_of(idris).patch(f"{ROOT}me/", {"language": "fr", "flow_unit": "m3_h"}, format="json")
    assert answer.status_code == 200 and answer.json()["flow_unit"] == "m3_h"
    idris.refresh_from_db()
    assert (idris.language, idris.first_name) == ("fr", "Idris")
    answer = api_of(idris).patch(f"{ROOT}me/", {"role": "administrator", "language": "xx"}, format="json")
    idris.refresh_from_db()
    assert answer.status_code == 400 and idris.role == "technician"


def test_the_organisations_name_and_need_are_changed(api_of, amara):
    answer = api_of(amara).patch(f"{ROOT}organisation/", {"need_l_person_day": 25}, format="json")
    assert answer.json()["need_l_person_day"] == 25 and answer.json()["name"] == amara.organisation.name
    for wrong in ({"need_l_person_day": -3}, {"need_l_person_day": "NaN"}, {"name": ""}):
        answer = api_of(amara).patch(f"{ROOT}organisation/", wrong, format="json")
        assert answer.status_code == 400 and answer.json()["errors"][0]["field"] in wrong
