"""The pages of log-in, own account, colleagues and organisation."""

import pytest
from axes.models import AccessAttempt
from django.urls import reverse

from fleet.people import services
from fleet.people.models import Person, Token
from tests.makers.people import PASSWORD, a_person

ADMINISTRATORS_PAGES = ["people:list", "people:add", "people:organisation", "people:changes"]


@pytest.mark.parametrize("page", ADMINISTRATORS_PAGES)
def test_only_the_administrator_opens_the_pages_about_people(page, client_of, client, amara, nadia, idris, wanja, otto):
    address = reverse(page)
    assert client_of(amara).get(address).status_code == 200
    for person in (nadia, idris, wanja, otto):
        assert client_of(person).get(address).status_code == 403, person
    assert client.get(address).url.startswith("/people/log-in/")


def test_an_administrator_elsewhere_sees_none_of_our_people(client_of, idris, other_organisation):
    stranger = a_person(other_organisation, "administrator")
    page = client_of(stranger).get(reverse("people:list")).content.decode()
    assert "Idris" not in page
    for address in (reverse("people:person", args=[idris.pk]), reverse("people:new_password", args=[idris.pk])):
        assert client_of(stranger).get(address).status_code == 404
        assert client_of(stranger).post(address).status_code == 404
    idris.refresh_from_db()
    assert idris.check_password(PASSWORD)


def test_three_hundred_people_cost_as_many_queries_as_three(client_of, amara, django_assert_num_queries):
    client = client_of(amara)
    client.get(reverse("people:list"))
    with django_assert_num_queries(3):  # session, person with organisation, one page of people
        client.get(reverse("people:list"))
    Person.objects.bulk_create(
        Person(username=f"p{i}", first_name=f"P{i}", organisation=amara.organisation) for i in range(300)
    )
    with django_assert_num_queries(3):
        page = client.get(reverse("people:list"))
    assert page.content.decode().count('scope="row"') == 50


def test_people_are_found_by_a_part_of_their_name(client_of, amara, idris, nadia):
    page = client_of(amara).get(reverse("people:list"), {"q": "komb"}).content.decode()
    assert "Idris Kombe" in page and "Nadia Sefu" not in page
    page = client_of(amara).get(reverse("people:list"), {"role": "coordinator"}).content.decode()
    assert "Nadia Sefu" in page and "Idris Kombe" not in page


def test_the_list_of_people_can_be_taken_away_as_it_is_filtered(client_of, amara, idris):
    answer = client_of(amara).get(reverse("people:list"), {"format": "csv", "role": "technician"})
    lines = b"".join(answer.streaming_content).decode("utf-8-sig").splitlines()
    assert len(lines) == 2 and lines[1].startswith("idris,Idris,Kombe,technician")


def test_after_six_wrong_passwords_the_door_stays_shut_for_a_while(client, idris, settings):
    settings.AXES_FAILURE_LIMIT = 3
    for _i in range(2):
        answer = client.post("/people/log-in/", {"username": "idris", "password": "wrong"})
        assert answer.status_code == 422 and "do not fit together" in answer.content.decode()
    answer = client.post("/people/log-in/", {"username": "idris", "password": "wrong"})
    assert answer.status_code == 429 and "Please wait a little" in answer.content.decode()
    assert client.post("/people/log-in/", {"username": "idris", "password": PASSWORD}).status_code == 429
    AccessAttempt.objects.all().delete()
    assert client.post("/people/log-in/", {"username": "idris", "password": PASSWORD}).status_code == 302


def test_log_in_leads_on_to_the_page_that_was_asked_for_but_not_out_of_the_house(client, idris):
    words = {"username": "idris", "password": PASSWORD}
    assert client.post("/people/log-in/", words | {"next": "/people/me/"}).url == "/people/me/"
    client.post("/people/log-out/")
    assert client.post("/people/log-in/", words | {"next": "https://elsewhere.example/"}).url == "/"


def test_log_out_needs_a_press_not_a_link(client_of, idris):
    client = client_of(idris)
    assert client.get("/people/log-out/").status_code == 405
    client.post("/people/log-out/")
    assert client.get("/people/me/").status_code == 302


OWN = {
    "first_name": "Idris", "last_name": "Kombe", "phone": "+255 700 000 111", "email": "", "language": "fr",
    "flow_unit": "m3_h", "length_unit": "ft", "theme": "dark",
}  # fmt: skip


def test_language_units_and_look_are_kept_in_the_account(client_of, idris):
    client = client_of(idris)
    assert client.post("/people/me/", OWN).status_code == 302
    idris.refresh_from_db()
    assert {name: getattr(idris, name) for name in OWN} == OWN
    page = client.get("/people/me/").content.decode()
    assert '<html lang="fr" data-theme="dark">' in page


def test_a_wrong_entry_comes_back_with_what_was_typed(client_of, idris):
    answer = client_of(idris).post("/people/me/", OWN | {"email": "not an address", "phone": "0" * 40})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "2 things need mending" in page and "not an address" in page and "0" * 40 in page
    idris.refresh_from_db()
    assert idris.phone == ""


def test_a_role_sent_along_is_not_taken(client_of, idris):
    client_of(idris).post("/people/me/", OWN | {"role": "administrator", "is_superuser": "1", "organisation": "9"})
    idris.refresh_from_db()
    assert idris.role == "technician" and not idris.is_superuser


def test_a_token_is_shown_once_works_and_can_be_revoked(client_of, client, nadia):
    mine = client_of(nadia)
    page = mine.post("/people/me/tokens/add/", {"name": "gateway"})
    key = page.content.decode().split('<code class="secret">')[1].split("<")[0]
    assert page["Cache-Control"].startswith("max-age=0")
    header = {"Authorization": f"Token {key}"}
    assert client.get("/api/v1/me/", headers=header).json()["username"] == "nadia"
    assert key not in mine.get("/people/me/").content.decode()
    token = Token.objects.get()
    assert key not in (token.hash, token.start, token.name)
    assert mine.get(f"/people/me/tokens/{token.pk}/revoke/").status_code == 200
    assert client.get("/api/v1/me/", headers=header).status_code == 200, "asking is not revoking"
    mine.post(f"/people/me/tokens/{token.pk}/revoke/")
    answer = client.get("/api/v1/me/", headers=header)
    assert answer.status_code == 401 and "revoked" in answer.json()["errors"][0]["sentence"]


def test_nobody_revokes_another_persons_token_but_the_administrator(client_of, nadia, idris, amara):
    token, _key = services.make_token(person=nadia, name="gateway")
    assert client_of(idris).post(f"/people/me/tokens/{token.pk}/revoke/").status_code == 404
    assert client_of(idris).post(
        reverse("people:revoke_colleagues_token", args=[nadia.pk, token.pk])
    ).status_code == 403  # fmt: skip
    assert Token.objects.valid().exists()
    client_of(amara).post(reverse("people:revoke_colleagues_token", args=[nadia.pk, token.pk]))
    assert not Token.objects.valid().exists()


def test_twenty_tokens_are_enough(client_of, nadia):
    for i in range(20):
        services.make_token(person=nadia, name=f"t{i}")
    answer = client_of(nadia).post("/people/me/tokens/add/", {"name": "one more"})
    assert answer.status_code == 422 and "Revoke one" in answer.content.decode()


def test_a_new_persons_password_is_shown_once_and_opens_the_door(client_of, client, amara):
    words = {"username": "zuri", "first_name": "Zuri", "last_name": "", "role": "technician", "language": ""}
    page = client_of(amara).post(reverse("people:add"), words).content.decode()
    password = page.split('<code class="secret">')[1].split("<")[0]
    assert client.post("/people/log-in/", {"username": "zuri", "password": password}).status_code == 302


def test_the_organisation_is_changed_by_its_administrator_only(client_of, amara, nadia, organisation):
    words = {"name": "Mbega Water Trust", "country": "tz", "need_l_person_day": "25"}
    assert client_of(nadia).post(reverse("people:organisation"), words).status_code == 403
    assert client_of(amara).post(reverse("people:organisation"), words).status_code == 302
    organisation.refresh_from_db()
    assert (organisation.country, organisation.need_l_person_day) == ("TZ", 25)


def test_the_administrator_reads_who_changed_what_of_their_own_people_only(client_of, amara, idris, otto):
    client_of(idris).post("/people/me/", OWN)
    client_of(otto).post("/people/me/", OWN | {"first_name": "Otto", "phone": "+49 1"})
    page = client_of(amara).get(reverse("people:changes")).content.decode()
    assert "+255 700 000 111" in page and "POST /people/me/" in page
    assert "+49 1" not in page
    assert PASSWORD not in page and "pbkdf2" not in page and "md5$" not in page
