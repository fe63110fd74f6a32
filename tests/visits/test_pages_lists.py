"""Lists of visits, calls and findings: narrowed, taken away, with no more queries for being long; the day on a page."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import Base
from tests.makers.people import a_person
from tests.makers.registry import an_installation
from tests.makers.visits import a_call, a_visit, a_visit_under_way, an_assigned_visit, record_all
from tests.visits.pages import address, said

TODAY = timezone.localdate()


def test_the_day_stands_on_one_page_and_on_paper(client_of, nadia, idris, organisation, installation):
    Base.objects.create(organisation=organisation, name="Workshop", latitude_deg=3.0, longitude_deg=35.0)
    visits = [an_assigned_visit(installation, idris), an_assigned_visit(an_installation(organisation), idris, "repair")]
    trip = visits[0].trip
    for person in (nadia, idris):
        page = said(client_of(person).get(address("trip", trip.pk)))
        assert all(v.site.code in page for v in visits)
    assert client_of(idris).get(address("my_day")).url == address("trip", trip.pk)
    assert client_of(nadia).post(address("plan_order", trip.pk)).status_code == 302
    assert client_of(idris).post(address("plan_order", trip.pk)).status_code == 403
    assert client_of(a_person(organisation)).get(address("trip", trip.pk)).status_code == 404
    for sheet in (address("trip_sheet", trip.pk), address("sheet", visits[1].key)):
        answer = client_of(idris).get(sheet)
        assert answer.content.startswith(b"%PDF")
    answer = client_of(idris).post(address("trip", trip.pk), {"km": "120", "notes": "road washed out"})
    trip.refresh_from_db()
    assert trip.km == 120


def test_filters_narrow_the_list(client_of, nadia, idris, organisation, installation):
    late = a_visit(installation, due_on=TODAY - timedelta(days=3))
    mine = an_assigned_visit(an_installation(organisation), idris, "repair")
    browser = client_of(nadia)

    def found(**chosen):
        page = said(browser.get(address("list"), chosen))
        return {v for v in (late, mine) if str(v.key) in page}

    assert found() == {late, mine}
    assert found(state="overdue") == {late}
    assert found(kind="repair") == {mine}
    assert found(technician=idris.pk) == {mine}
    assert found(q=late.site.name) == {late}
    assert found(state="closed") == set()


def queries_of(browser, place):
    with CaptureQueriesContext(connection) as asked:
        browser.get(place)
    return len(asked)


def test_a_long_list_costs_as_many_queries_as_a_short_one(client_of, nadia, idris, installation, organisation):
    an_assigned_visit(installation, idris)
    browser = client_of(nadia)
    browser.get(address("list"))
    few = queries_of(browser, address("list"))
    for _ in range(12):
        an_assigned_visit(an_installation(organisation), idris)
    assert queries_of(browser, address("list")) == few
    assert few <= 12


def test_a_visit_page_costs_as_many_queries_after_forty_records(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    browser = client_of(idris)
    browser.get(address("visit", visit.key))
    few = queries_of(browser, address("visit", visit.key))
    record_all(visit)
    record_all(visit)
    assert queries_of(browser, address("visit", visit.key)) <= few + 2


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("name", ["list", "calls", "findings"])
def test_each_list_can_be_taken_away(name, form, client_of, nadia, otto, idris, installation):
    visit = a_visit_under_way(installation, idris, "repair")
    services.add_finding(visit=visit, by=idris, failure_mode="less_water", cause="dirt", action="cleaned")
    a_call(visit.site)
    answer = client_of(nadia).get(address(name), {"format": form, "show": "all"})
    assert answer.status_code == 200
    content = b"".join(answer.streaming_content)
    if form == "csv":
        assert visit.site.code in content.decode()
        theirs = b"".join(client_of(otto).get(address(name), {"format": form}).streaming_content)
        assert visit.site.code not in theirs.decode()


def test_places_of_visits_leave_as_geojson(client_of, nadia, installation):
    visit = a_visit(installation)
    answer = client_of(nadia).get(address("list"), {"format": "geojson"})
    places = json.loads(b"".join(answer.streaming_content))["features"]
    assert places[0]["geometry"]["coordinates"] == pytest.approx([visit.site.longitude_deg, visit.site.latitude_deg])


def test_findings_are_listed_and_narrowed(client_of, wanja, otto, idris, installation):
    visit = a_visit_under_way(installation, idris, "repair")
    services.add_finding(visit=visit, by=idris, failure_mode="less_water", cause="dirt", action="cleaned")
    browser = client_of(wanja)
    assert "dirt on the modules" in said(browser.get(address("findings"), {"cause": "dirt"}))
    assert str(visit.key) not in said(browser.get(address("findings"), {"cause": "theft"}))
    assert str(visit.key) not in said(client_of(otto).get(address("findings")))
