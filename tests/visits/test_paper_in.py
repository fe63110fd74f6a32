"""A whole paper sheet is typed in on one page: what is right is kept, the rest comes back with all that was typed."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.readings.models import SpotTest
from fleet.visits import services
from fleet.web.quantities import zone_of
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

DAY = timezone.localdate() - timedelta(days=1)


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris, on=DAY)


@pytest.fixture
def address(visit):
    return reverse("visits:paper_in", args=[visit.key])


def a_sheet(**changes):
    """Arrival, three steps and leaving, as they stand on the page."""
    fills = {f"v-spot_test--spot-{n}-{part}": value for n in range(3) for part, value in
             (("litres", "20"), ("seconds", str(78 + n)))}  # fmt: skip
    return {
        "arrived": f"{DAY}T08:40", "read": "1",
        "v-arrive--right_site": "yes", "v-arrive--present": "Ekal", "at-arrive": "08:45",
        "v-ask_caretaker--words": "dry since Sunday", "v-ask_caretaker--days_without_water-0": "2",
        "v-ask_caretaker--since": "at_once",
        "v-spot_test--spot-sun_by": "reference_cell", "v-spot_test--spot-irradiance_w_m2": "820",
        "v-spot_test--spot-static_level_m": "22,4", "at-spot_test": "10:30", **fills,
        "why-cut_offs": "ladder broken",
        "left": f"{DAY}T11:20", "km": "38,5", "caretaker_words": "asante", "not_done": "the rest was for another day",
    } | changes  # fmt: skip


def local(at, visit):
    return timezone.localtime(at, zone_of(visit.site)).strftime("%Y-%m-%dT%H:%M")


def test_a_sheet_becomes_the_visit_s_record_with_the_paper_s_own_times(address, visit, nadia, client_of):
    browser = client_of(nadia)
    assert "Type in a paper sheet" in browser.get(reverse("visits:visit", args=[visit.key])).content.decode()
    assert browser.get(address).status_code == 200
    assert browser.post(address, a_sheet()).status_code == 302
    visit.refresh_from_db()
    records = services.current_records(visit)
    assert set(records) == {"arrive", "ask_caretaker", "spot_test", "cut_offs"}
    assert records["cut_offs"].skipped_why == "ladder broken"
    assert records["ask_caretaker"].values["words"] == "dry since Sunday"
    assert {r.by for r in records.values()} == {nadia}
    assert [local(records[code].at, visit)[11:] for code in ("arrive", "ask_caretaker", "spot_test")] == [
        "08:45", "08:46", "10:30",
    ]  # fmt: skip
    assert (visit.state, visit.km, visit.caretaker_words) == ("logged", 38.5, "asante")
    assert (local(visit.arrived_at, visit), local(visit.left_at, visit)) == (f"{DAY}T08:40", f"{DAY}T11:20")
    test = SpotTest.objects.get()
    assert (test.static_level_m, round(test.flow_l_min, 1)) == (22.4, 15.2)


def test_what_is_right_is_kept_and_the_rest_comes_back_as_it_was_typed(address, visit, nadia, client_of):
    browser = client_of(nadia)
    wrong = {"v-ask_caretaker--days_without_water-0": "two", "v-spot_test--spot-irradiance_w_m2": "much"}
    answer = browser.post(address, a_sheet(**wrong))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "“two” is no number" in page and "“much” is no number" in page
    assert 'value="two"' in page and "dry since Sunday" in page and 'value="much"' in page
    assert 'name="v-arrive--right_site"' not in page, "it is kept already"
    visit.refresh_from_db()
    assert set(services.current_records(visit)) == {"arrive", "cut_offs"}
    assert visit.left_at is None, "nobody leaves with a sheet half read"
    assert browser.post(address, a_sheet()).status_code == 302
    assert visit.records.count() == 4, "what was kept before is not kept twice"


REFUSED = [
    ({"arrived": ""}, "Say when they arrived"),
    ({"arrived": "five past nine"}, "cannot be read"),
    ({"arrived": f"{timezone.localdate() + timedelta(days=2)}T08:00"}, "has not come yet"),
    ({"read": ""}, "Read and acknowledge the caution first"),
    ({"at-arrive": "late"}, "cannot be read"),
    ({"left": "noon"}, "cannot be read"),
    ({"km": "far"}, "is no number"),
]


@pytest.mark.parametrize(("change", "sentence"), REFUSED)
def test_what_cannot_be_is_told_and_nothing_typed_is_lost(change, sentence, address, nadia, client_of):
    answer = client_of(nadia).post(address, a_sheet(**change))
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "asante" in answer.content.decode()


def test_feet_and_cubic_metres_an_hour_are_typed_as_they_stand_on_the_sheet(address, visit, nadia, client_of):
    nadia.length_unit, nadia.flow_unit = "ft", "m3_h"
    nadia.save()
    browser = client_of(nadia)
    assert "m³/h" in browser.get(address).content.decode()
    sheet = a_sheet(**{"v-spot_test--spot-static_level_m": "73.5", "v-spot_test--spot-flow_l_min": "0.9"})
    assert browser.post(address, sheet).status_code == 302
    test = SpotTest.objects.get()
    assert test.static_level_m == pytest.approx(73.5 * 0.3048)
    assert test.meter_flow_l_min == pytest.approx(15.0)


def test_strangers_managers_and_closed_visits_have_no_such_page(address, visit, idris, otto, wanja, nadia, client_of):
    assert client_of(idris).get(address).status_code == 200, "his own sheet"
    assert client_of(otto).get(address).status_code == 404
    assert client_of(wanja).get(address).status_code == 403
    services.cancel(visit=visit, why="moved away", by=nadia)
    assert client_of(nadia).get(address).status_code == 404


@pytest.mark.parametrize("kind", ["survey", "installation", "commissioning", "repair", "relocation", "retirement"])
def test_every_kind_of_sheet_can_be_typed(kind, idris, organisation, client_of):
    services.set_up(organisation)
    visit = an_assigned_visit(an_installation(organisation), idris, kind, on=DAY)
    address = reverse("visits:paper_in", args=[visit.key])
    browser = client_of(idris)
    assert browser.get(address).status_code == 200
    skipped = {f"why-{step['code']}": "only a trial" for step in visit.procedure.steps}
    assert browser.post(address, {"arrived": f"{DAY}T08:00", **skipped}).status_code == 302
    assert services.open_steps(visit) == []


def test_no_water_is_typed_in_from_the_sheet_with_the_minutes_watched(address, visit, nadia, client_of):
    fills = [f"v-spot_test--spot-{n}-{part}" for n in range(3) for part in ("litres", "seconds")]
    none_came = dict.fromkeys(fills, "") | {"v-spot_test--spot-no_water": "yes"}
    browser = client_of(nadia)
    answer = browser.post(address, a_sheet(**none_came))
    assert "say how many minutes it was watched" in answer.content.decode()
    assert 'name="v-spot_test--spot-no_water" value="yes" checked' in answer.content.decode()
    assert browser.post(address, a_sheet(**none_came) | {"v-spot_test--spot-watched_min": "20"}).status_code == 302
    test = SpotTest.objects.get()
    assert (test.no_water, test.watched_min, test.repeats) == (True, 20, [])
