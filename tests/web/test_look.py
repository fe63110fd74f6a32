"""The menu by role, the pages that belong to no room, and what is shown when things fail."""

import pytest
from django.template import Context, Template
from django.urls import path

from fleet.web import navigation, quantities


@pytest.fixture
def menu(monkeypatch):
    """An empty menu for the test's own entries; the house's comes back afterwards."""
    monkeypatch.setattr(navigation, "_entries", {})
    monkeypatch.setattr(navigation, "_search", [])
    return navigation


def titles(person, at=""):
    return [str(link.title) for link in navigation.links(person, at)]


def test_each_role_sees_its_own_entries_and_strangers_none(menu, nadia, idris, amara, client):
    menu.entry("Account", "people:own", order=50)
    menu.entry("People", "people:list", deed="people", group="house")
    assert titles(amara) == ["Account", "People"]
    assert titles(idris) == ["Account"]
    assert titles(None) == []


def test_a_page_that_no_room_has_yet_is_left_out(menu, amara):
    menu.entry("Somewhere", "nowhere:page")
    assert titles(amara) == []
    assert navigation.first_address(amara) is None


def test_the_first_page_of_a_role_heads_its_menu(menu, idris, amara):
    menu.entry("Account", "people:own", order=1)
    menu.entry("Guide", "guide", order=2, first_for=("technician",))
    assert titles(idris) == ["Guide", "Account"]
    assert titles(amara) == ["Account", "Guide"]


def test_the_root_leads_to_ones_own_first_page(menu, client_of, idris, client):
    menu.entry("Account", "people:own", first_for=("technician",))
    assert client_of(idris).get("/").url == "/people/me/"
    assert client.get("/").url == "/people/log-in/?next=/"


def test_the_entry_under_which_a_page_lies_is_marked(menu, amara):
    menu.entry("People", "people:list", deed="people")
    menu.entry("Changes", "people:changes", deed="trail")
    marked = {str(k.title): k.current for k in navigation.links(amara, "/people/colleagues/7/")}
    assert marked == {"People": True, "Changes": False}


def test_an_unknown_group_is_refused(menu):
    with pytest.raises(ValueError, match="give one of work, fleet, house"):
        menu.entry("x", "y", group="misc")


def test_the_icon_and_the_manifest_are_served(client, db):
    assert client.get("/favicon.ico").url.endswith("mark.svg")
    found = client.get("/manifest.webmanifest").json()
    assert found["start_url"] == "/" and len(found["icons"]) == 3


def test_an_address_that_does_not_exist_is_answered_in_the_same_look(client_of, nadia):
    answer = client_of(nadia).get("/no/such/page/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()
    assert "Nadia Sefu" in answer.content.decode()


def test_a_page_of_another_role_says_whom_to_ask(client_of, nadia):
    answer = client_of(nadia).get("/people/colleagues/")
    assert answer.status_code == 403
    assert "Ask a coordinator or an administrator" in answer.content.decode()


def test_a_form_without_its_token_is_answered_calmly(client_of, nadia):
    answer = client_of(nadia, enforce_csrf_checks=True).post("/people/me/", {"first_name": "N"})
    assert answer.status_code == 403
    assert "what you typed is still there" in answer.content.decode()


def _broken(request):
    raise RuntimeError("on purpose")


urlpatterns = [path("broken/", _broken)]


@pytest.mark.urls(__name__)
def test_an_error_of_ours_is_answered_without_the_rest_of_the_house(client, db):
    client.raise_request_exception = False
    answer = client.get("/broken/")
    assert answer.status_code == 500
    assert "Something broke on our side" in answer.content.decode()


def test_every_page_carries_the_strict_policy(client, db):
    policy = client.get("/people/log-in/")["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "script-src 'self'" in policy and "unsafe" not in policy


SHOWN = [
    ("{% flow 14.25 %}", "14.2 L/min"), ("{% metres 31.449 %}", "31.4 m"), ("{{ 9999|litres }}", "9,999 L"),
    ("{{ 12345|litres }}", "12.3 m³"), ("{{ 1234567|litres }}", "1,235 m³"), ("{{ 0.256|percent }}", "26 %"),
    ("{{ nothing|litres }}", "–"), ("{% flow nothing %}", "–"), ("{{ minus|figure:1 }}", "−3.2"),
    ("{{ hardly|figure }}", "0"),
]  # fmt: skip


@pytest.mark.parametrize(("written", "shown"), SHOWN)
def test_quantities_carry_their_unit(written, shown):
    known = {"nothing": None, "minus": -3.2, "hardly": -0.01}
    assert Template("{% load quantities %}" + written).render(Context(known)).replace("\u00a0", " ") == shown


def test_quantities_are_shown_as_the_person_likes(nadia):
    nadia.flow_unit, nadia.length_unit = "m3_h", "ft"
    page = Template("{% load quantities %}{% flow 100 %} {% metres 30.48 %}").render(Context({"user": nadia}))
    assert page == "6.00\u00a0m³/h 100.0\u00a0ft"


def test_a_moment_is_shown_in_the_sites_own_time(settings):
    import datetime

    at = datetime.datetime(2026, 11, 3, 22, 5, tzinfo=datetime.UTC)
    page = Template('{% load quantities %}{% when at "Africa/Nairobi" %}').render(Context({"at": at}))
    assert page == '<time datetime="2026-11-03T22:05:00Z">4 Nov 2026, 01:05 EAT</time>'
    assert quantities.moment(at, "no/zone") == "3 Nov 2026, 22:05 UTC"


def test_a_state_is_told_by_word_and_shape():
    page = Template('{% load web %}{% badge "below expected" "bad" %}').render(Context())
    assert "below expected" in page and "<svg" in page and "badge-bad" in page


def test_what_people_type_cannot_become_markup():
    parts = '{% load web %}{% badge w "good" %}{% tile w w %}{% odds 0.5 label=w %}{% spark v label=w %}{% notice "info" title=w %}{{ w }}{% endnotice %}'  # noqa: E501
    page = Template(parts).render(Context({"w": "<b onclick=x>", "v": [1, 2]}))
    assert "<b " not in page


@pytest.mark.parametrize(("minutes", "words"), [(45, "45 min"), (180, "3 h"), (195, "3 h 15 min"), (None, "–")])
def test_a_time_on_the_road_is_read_in_hours_and_minutes(minutes, words):
    assert quantities.drive(minutes) == words
