"""Pages by which a coordinator sends someone: choosing, assigning, calls, and visits for a shortfall."""

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import Call, Visit
from tests.makers.people import a_person
from tests.makers.registry import a_site, a_well, an_installation
from tests.makers.visits import a_shortfall, a_visit, an_assigned_visit
from tests.visits.pages import address, said

TODAY = timezone.localdate()


def test_the_coordinator_finds_picks_and_assigns_several_visits(client_of, nadia, idris, organisation, installation):
    visits = [a_visit(installation), a_visit(an_installation(organisation))]
    browser = client_of(nadia)
    page = browser.get(address("list"))
    for visit in visits:
        assert str(visit.key) in said(page)
    page = browser.get(address("assign_many"), {"visit": [v.key for v in visits]})
    assert "2 visits" in said(page)
    answer = browser.post(
        address("assign_many"), {"visit": [v.key for v in visits], "technician": idris.pk, "on": TODAY.isoformat()}
    )
    assert answer.status_code == 302
    assert Visit.objects.of_day(idris, TODAY).count() == 2


def test_assigning_suggests_what_is_near_and_takes_it_along(client_of, nadia, idris, organisation):
    here = an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.0, longitude_deg=35.0)))
    near = an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=35.0)))
    far = an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=9.0, longitude_deg=39.0)))
    visit, close_by, far_off = a_visit(here), a_visit(near), a_visit(far)
    page = said(client_of(nadia).get(address("assign", visit.key)))
    assert str(close_by.key) in page
    assert str(far_off.key) not in page
    data = {"technician": idris.pk, "on": TODAY.isoformat(), "version": 1, "also": [str(close_by.key)]}
    assert client_of(nadia).post(address("assign", visit.key), data).status_code == 302
    assert Visit.objects.of_day(idris, TODAY).count() == 2


def test_an_assignment_that_was_overtaken_says_so_and_keeps_what_was_chosen(client_of, nadia, idris, installation):
    visit = a_visit(installation)
    services.assign(visit=visit, technician=idris, on=TODAY, by=nadia)
    other = a_person(idris.organisation)
    answer = client_of(nadia).post(
        address("assign", visit.key), {"technician": other.pk, "on": TODAY.isoformat(), "version": 1}
    )
    assert answer.status_code == 422
    assert "while you looked" in said(answer)
    assert f'value="{other.pk}" selected' in said(answer)


def test_a_call_is_taken_asked_and_becomes_a_visit(client_of, nadia, installation):
    browser = client_of(nadia)
    site = installation.well.site
    answer = browser.post(
        address("take_call"), {"site": site.code, "words": "water stopped", "ask_storm": "yes", "ask_since": "Monday"}
    )
    call = Call.objects.get()
    assert answer.url == address("call", call.pk)
    assert call.answers == {"storm": "yes", "since": "Monday"}
    page = said(browser.get(answer.url))
    assert "Lightning" in page
    answer = browser.post(address("settle_call", call.pk), {"how": "visit"})
    visit = Visit.objects.get()
    assert answer.url == address("assign", visit.key)
    assert "controller" in said(browser.get(address("visit", visit.key)))


def test_a_site_that_is_not_clear_is_asked_for_again(client_of, nadia, organisation):
    a_site(organisation, name="Red well", code="R-1")
    a_site(organisation, name="Red well east", code="R-2")
    answer = client_of(nadia).post(address("take_call"), {"site": "red well", "words": "no water since Monday"})
    assert answer.status_code == 422
    assert "Several sites fit" in said(answer)
    assert "no water since Monday" in said(answer)


def test_who_sends_someone_to_a_shortfall_gets_a_visit_for_that_shortfall(client_of, nadia, installation):
    short = a_shortfall(installation)
    browser = client_of(nadia)
    asked = f"{address('propose')}?shortfall={short.pk}"
    start = browser.get(asked).context["form"].initial
    assert (start["site"], start["kind"]) == (installation.well.site.code, "repair")
    assert "900 litres a day" in start["why"]
    browser.post(asked, {"site": start["site"], "kind": "repair", "why": "Go and look", "due_on": TODAY})
    visit = Visit.objects.get()
    assert (visit.shortfall, visit.installation, visit.why) == (short, installation, "Go and look")
    again = browser.get(asked)
    assert (again.status_code, again.url) == (302, address("assign", visit.key))


def test_a_visit_proposed_for_another_site_is_not_tied_to_the_shortfall(client_of, nadia, organisation, installation):
    short, other = a_shortfall(installation), an_installation(organisation)
    browser = client_of(nadia)
    browser.post(f"{address('propose')}?shortfall={short.pk}", {"site": other.well.site.code, "kind": "repair"})
    visit = Visit.objects.get()
    assert (visit.installation, visit.shortfall) == (other, None)


@pytest.mark.parametrize("key", ["", "x", "0", "9" * 30, "²"])
def test_a_shortfall_that_is_not_there_leaves_the_form_empty(client_of, nadia, installation, key):
    page = client_of(nadia).get(address("propose"), {"shortfall": key})
    assert (page.status_code, page.context["form"].initial["site"]) == (200, "")


def test_the_visit_for_a_shortfall_says_what_to_check_first_with_its_cautions(client_of, idris, installation):
    short = a_shortfall(installation, checks=["string_currents"])
    visit = an_assigned_visit(installation, idris, shortfall=short)
    page = said(client_of(idris).get(address("visit", visit.key)))
    assert "Measure each string" in page and "cannot be switched off" in page
    assert reverse("output:shortfall", args=[short.pk]) in page
