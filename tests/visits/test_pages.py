"""Pages: each user's way through them without JavaScript, refusals, what was typed is still there, query counts."""

import io
import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from fleet.visits import services
from fleet.visits.models import Base, Call, Visit
from tests.makers.people import a_person
from tests.makers.registry import a_site, a_well, an_installation
from tests.makers.visits import a_call, a_shortfall, a_visit, a_visit_under_way, an_assigned_visit, record_all

TODAY = timezone.localdate()


@pytest.fixture
def installation(organisation):
    services.set_up(organisation)
    return an_installation(organisation)


def address(name, *args):
    return reverse(f"visits:{name}", args=args)


def said(response):
    return response.content.decode()


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


def test_idris_logs_a_visit_from_arrival_to_closing_without_scripts(client_of, idris, installation):
    visit = an_assigned_visit(installation, idris)
    browser = client_of(idris)
    assert browser.post(address("start", visit.key)).url == address("log", visit.key)
    assert browser.get(address("log", visit.key)).url == address("step", visit.key, "arrive")
    step = address("step", visit.key, "arrive")
    page = said(browser.get(step))
    assert "No lifting, height or live work alone" in page or "The base knows your route" in page
    answer = browser.post(step, {"v-right_site": "yes", "v-present": "Ekal & two women"})
    assert answer.status_code == 422
    assert "Read and acknowledge the caution" in said(answer)
    assert "Ekal &amp; two women" in said(answer)
    answer = browser.post(step, {"v-right_site": "yes", "v-present": "Ekal", "seen": ["ALONE", "STORM"]})
    assert answer.url == address("log", visit.key) + "?after=arrive"
    step = address("step", visit.key, "spot_test")
    readings = {
        "v-spot-sun_by": "reference_cell", "v-spot-irradiance_w_m2": "810", "v-spot-array_voltage_v": "51,5",
        "v-spot-0-litres": "20", "v-spot-0-seconds": "80", "v-spot-1-litres": "20", "v-spot-1-seconds": "79",
        "seen": ["DC"],
    }  # fmt: skip
    answer = browser.post(step, readings)
    assert answer.url.endswith("?kept=1")
    assert "badge" in said(browser.get(answer.url))
    assert visit.spot_tests.get().spot_test.array_voltage_v == 51.5
    answer = browser.post(address("step", visit.key, "cut_offs"), {"skip": "1", "skipped_why": ""})
    assert answer.status_code == 422
    browser.post(address("step", visit.key, "cut_offs"), {"skip": "1", "skipped_why": "ladder broken"})
    browser.post(address("leave", visit.key), {"km": "42", "caretaker_words": "all well", "not_done": "strings: cloud"})
    answer = browser.post(address("close", visit.key), {"outcome": "in_order"})
    assert answer.url == address("visit", visit.key)
    visit.refresh_from_db()
    assert (visit.state, visit.km, visit.closed_by) == ("closed", 42, idris)
    assert "ladder broken" in said(browser.get(address("visit", visit.key)))


def test_who_likes_feet_and_cubic_metres_types_and_reads_them_on_the_page(client_of, idris, installation):
    idris.length_unit, idris.flow_unit = "ft", "m3_h"
    idris.save()
    visit = a_visit_under_way(installation, idris)
    step, browser = address("step", visit.key, "spot_test"), client_of(idris)
    readings = {
        "v-spot-sun_by": "reference_cell", "v-spot-irradiance_w_m2": "810", "v-spot-static_level_m": "73,5 deep",
        "v-spot-flow_l_min": "0.9", "seen": ["DC"],
    }  # fmt: skip
    answer = browser.post(step, readings)
    assert answer.status_code == 422
    assert 'value="73,5 deep"' in said(answer)
    assert ">ft</span>" in said(answer)
    browser.post(step, readings | {"v-spot-static_level_m": "73,5"})
    test = visit.spot_tests.get().spot_test
    assert (round(test.static_level_m, 3), round(test.flow_l_min, 3)) == (22.403, 15)
    page = said(browser.get(step))
    assert 'value="73.5"' in page
    assert 'value="0.9"' in page


def test_a_wrong_figure_is_shown_where_it_was_typed(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    step = address("step", visit.key, "ask_caretaker")
    typed = {"v-words": "fine", "v-days_without_water-0": "two", "v-since": "nothing", "seen": ["ALONE", "STORM"]}
    answer = client_of(idris).post(step, typed)
    assert answer.status_code == 422
    assert "is no number" in said(answer)
    assert 'value="two"' in said(answer)
    assert ">fine</textarea>" in said(answer)


def test_findings_and_parts_have_their_pages(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris, "repair", shortfall=a_shortfall(installation))
    browser = client_of(idris)
    answer = browser.post(
        address("add_finding", visit.key),
        {"failure_mode": "less_water", "cause": "pump_worn", "action": "replaced", "confirmed": "on"},
    )
    assert answer.status_code == 302
    assert browser.post(address("add_finding", visit.key), {"failure_mode": "less_water"}).status_code == 422
    part = installation.organisation.part_types.get(code="pump")
    answer = browser.post(
        address("use_part", visit.key), {"part_type": part.pk, "quantity": "1", "serial_out": "A", "was_aboard": "on"}
    )
    assert answer.status_code == 302
    page = said(browser.get(address("visit", visit.key)))
    assert "worn pump" in page
    finding = visit.findings.get()
    browser.post(address("take_back_finding", visit.key, finding.pk), {"why": "wrong well"})
    assert "wrong well" in said(browser.get(address("visit", visit.key)))


def test_closing_a_repair_without_an_after_test_is_refused_on_the_page(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris, "repair", shortfall=a_shortfall(installation))
    services.leave(visit=visit, by=idris, not_done="the rest")
    browser = client_of(idris)
    answer = browser.post(address("close", visit.key), {"outcome": "restored", "shortfall": "closes"})
    assert answer.status_code == 422
    assert "only with an after-test" in said(answer)
    answer = browser.post(address("close", visit.key), {"outcome": "part_awaited", "not_done": "controller ordered"})
    assert answer.status_code == 302
    assert Visit.objects.get(follows=visit).state == "proposed"


def an_image(form="JPEG", size=(2400, 1200)):
    out = io.BytesIO()
    Image.new("RGB", size, (120, 90, 60)).save(out, form)
    return out.getvalue()


def test_a_photo_is_kept_smaller_and_shown_to_our_own_only(client_of, idris, otto, installation):
    visit = a_visit_under_way(installation, idris)
    photo = services.keep_photo(visit=visit, data=an_image("PNG"), by=idris, step="look")
    answer = client_of(idris).get(address("photo", photo.key))
    picture = Image.open(io.BytesIO(b"".join(answer.streaming_content)))
    assert (picture.format, picture.size) == ("JPEG", (1600, 800))
    assert client_of(otto).get(address("photo", photo.key)).status_code == 404


def test_a_file_that_is_no_picture_is_refused_and_the_typed_words_stay(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    file = io.BytesIO(b"<html>not a picture</html>")
    file.name = "photo.jpg"
    answer = client_of(idris).post(
        address("step", visit.key, "ask_caretaker"),
        {"v-words": "they say it drips", "seen": ["ALONE", "STORM"], "photo": file},
    )
    assert answer.status_code == 422
    assert "not a picture" in said(answer)
    assert "they say it drips" in said(answer)


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


def test_an_administrator_changes_a_procedure_on_the_page(client_of, amara, nadia, organisation):
    procedure = services.procedure_for(organisation, "retirement")
    page = client_of(amara).get(address("change_procedure", procedure.pk))
    assert page.status_code == 200
    data = {"title": "Retirement", "new-title": "Call the bank", "new-place": "1.5"}
    for i, step in enumerate(procedure.steps):
        data |= {f"s{i}-title": step["title"], f"s{i}-text": step["text"], f"s{i}-place": i + 1, f"s{i}-needed": "1"}
        data[f"s{i}-cautions"] = step["cautions"]
    data["s3-gone"] = "1"
    answer = client_of(amara).post(address("change_procedure", procedure.pk), data)
    assert answer.status_code == 302
    steps = services.procedure_for(organisation, "retirement").steps
    assert [s["title"] for s in steps[:2]] == ["Decision", "Call the bank"]
    assert len(steps) == len(procedure.steps)
    assert client_of(nadia).post(address("change_procedure", procedure.pk), data).status_code == 403
    assert client_of(nadia).get(address("procedure", procedure.pk)).status_code == 200


def test_rules_have_their_page(client_of, amara, nadia, organisation):
    assert client_of(amara).get(address("rules")).status_code == 200
    known = {"name": "Yearly", "basis": "months", "amount": "12", "active": "on"}
    assert client_of(amara).post(address("add_rule"), known).status_code == 302
    assert client_of(amara).post(address("add_rule"), known | {"amount": "-1"}).status_code == 422
    assert client_of(nadia).get(address("add_rule")).status_code == 403


PAGES = ["list", "propose", "calls", "take_call", "trips", "procedures", "rules", "bases"]
OPEN_TO = {  # page -> roles that may open it
    "list": {"nadia", "idris", "wanja", "amara"}, "propose": {"nadia", "amara"},
    "calls": {"nadia", "idris", "wanja", "amara"},
    "take_call": {"nadia", "idris", "amara"}, "trips": {"nadia", "idris", "wanja", "amara"},
    "procedures": {"nadia", "idris", "wanja", "amara"}, "rules": {"nadia", "idris", "wanja", "amara"},
    "bases": {"nadia", "amara"},
}  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("who", ["nadia", "idris", "wanja", "amara"])
def test_each_page_opens_for_whom_it_is(page, who, request, client_of):
    answer = client_of(request.getfixturevalue(who)).get(address(page))
    assert answer.status_code == (200 if who in OPEN_TO[page] else 403)


def test_a_stranger_is_asked_to_log_in(client, organisation):
    for page in PAGES:
        assert client.get(address(page)).status_code == 302


def test_otto_finds_nothing_of_ours(client_of, otto, idris, installation):
    visit = an_assigned_visit(installation, idris)
    call = a_call(installation.well.site)
    browser = client_of(otto)
    assert str(visit.key) not in said(browser.get(address("list")))
    for place in (
        address("visit", visit.key), address("assign", visit.key), address("log", visit.key), address("call", call.pk),
        address("trip", visit.trip_id), address("sheet", visit.key), address("procedure", visit.procedure_id),
    ):  # fmt: skip
        assert browser.get(place).status_code == 404, place


def test_another_technician_reads_the_visit_but_not_its_log(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    browser = client_of(a_person(idris.organisation))
    assert browser.get(address("visit", visit.key)).status_code == 200
    assert browser.get(address("step", visit.key, "arrive")).status_code == 404


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


def test_nadia_types_in_a_paper_sheet_with_its_own_times(client_of, nadia, idris, installation):
    visit = an_assigned_visit(installation, idris, on=TODAY - timedelta(days=1))
    browser = client_of(nadia)
    assert "Type in a paper sheet" in said(browser.get(address("visit", visit.key)))
    yesterday = (TODAY - timedelta(days=1)).isoformat()
    browser.post(address("start", visit.key), {"paper_at": f"{yesterday}T08:40"})
    visit.refresh_from_db()
    assert visit.arrived_at.isoformat().startswith(f"{yesterday}T05:40")  # Nairobi is three hours ahead of UTC
    step = address("step", visit.key, "ask_caretaker")
    assert f'value="{yesterday}T08:41"' in said(browser.get(step))
    typed = {"v-words": "dry since Sunday", "v-days_without_water-0": "2", "v-since": "at_once",
             "seen": ["ALONE", "STORM"], "paper_at": f"{yesterday}T09:05"}  # fmt: skip
    assert browser.post(step, typed | {"paper_at": "five past nine"}).status_code == 422
    assert browser.post(step, typed).status_code == 302
    record = visit.records.get()
    assert (record.by, record.at.isoformat()[:16]) == (nadia, f"{yesterday}T06:05")


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


@pytest.mark.parametrize("kind", ["survey", "installation", "commissioning", "relocation", "retirement"])
def test_every_kind_of_visit_can_be_logged_to_its_end_on_the_pages(kind, client_of, nadia, idris, installation):
    visit = a_visit_under_way(installation, idris, kind)
    browser = client_of(idris)
    for step in visit.procedure.steps:
        assert browser.get(address("step", visit.key, step["code"])).status_code == 200, step["code"]
        browser.post(address("step", visit.key, step["code"]), {"skip": "1", "skipped_why": "only a trial"})
    browser.post(address("leave", visit.key), {})
    assert browser.get(address("close", visit.key)).status_code == 200
    outcome = {"survey": "fits", "relocation": "moved", "retirement": "retired"}.get(kind, "in_order")
    assert browser.post(address("close", visit.key), {"outcome": outcome}).status_code == 302
    assert browser.get(address("visit", visit.key)).status_code == 200
    assert browser.get(address("sheet", visit.key)).content.startswith(b"%PDF")


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
