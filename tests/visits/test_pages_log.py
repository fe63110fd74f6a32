"""Pages of the log: each step of a visit without JavaScript, refusals, and what was typed is still there."""

import io
from datetime import timedelta

import pytest
from django.utils import timezone
from PIL import Image

from fleet.visits import services
from fleet.visits.models import Visit
from tests.makers.visits import a_shortfall, a_visit_under_way, an_assigned_visit
from tests.visits.pages import address, said

TODAY = timezone.localdate()


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


def test_no_water_is_ticked_on_the_page_and_read_on_the_visits(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    step, browser = address("step", visit.key, "spot_test"), client_of(idris)
    readings = {"v-spot-sun_by": "reference_cell", "v-spot-irradiance_w_m2": "810", "v-spot-no_water": "yes",
                "seen": ["DC"]}  # fmt: skip
    answer = browser.post(step, readings)
    assert answer.status_code == 422 and "say how many minutes it was watched" in said(answer)
    assert 'name="v-spot-no_water" value="yes" checked' in said(answer)
    assert browser.post(step, readings | {"v-spot-watched_min": "20"}).status_code == 302
    test = visit.spot_tests.get().spot_test
    assert (test.no_water, test.watched_min) == (True, 20)
    page = said(browser.get(step))
    assert 'name="v-spot-no_water" value="yes" checked' in page and 'value="20"' in page


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
