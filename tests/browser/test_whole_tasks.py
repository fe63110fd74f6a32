"""Whole tasks from start to end in a real browser: a call, a slip, a repair, a move, the alarms, a colleague."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.output.models import Shortfall
from fleet.people.models import Person
from fleet.readings.models import MeterReading
from fleet.registry.models import Installation
from fleet.visits import services as visits
from fleet.visits.models import Call, Visit
from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large
from tests.makers.judged import a_shortfall
from tests.makers.readings import a_meter_reading, a_round, a_slip, an_exchange, days_of
from tests.makers.registry import a_unit, a_well, an_installation
from tests.makers.visits import SPOT_READINGS, a_visit_under_way, record_all

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = pytest.mark.parametrize("size", ["phone", "desk"])


def sound(page):
    page.evaluate("scrollTo(0, 0)")  # what is half under the top bar counts as too small to press
    no_accessibility_faults(page)
    targets_are_large(page)


@SIZES
def test_nadia_takes_a_call_and_makes_a_visit_of_it(size, page_of, server, nadia, organisation):
    visits.set_up(organisation)
    site = an_installation(organisation).well.site
    page = opens(page_of(nadia, size), server + "/attention/")
    page.get_by_role("link", name="New call").click()
    page.get_by_role("textbox", name="Site", exact=True).fill(site.village)
    page.get_by_label("Who rings").fill("Ekal")
    page.get_by_label("What they see, in their words").fill("Only a trickle since the storm")
    page.get_by_role("group", name="Was there a storm").get_by_label("yes").check()
    sound(page)
    page.get_by_role("button", name="Keep the call").click()
    page.get_by_text("Only a trickle since the storm").wait_for()
    sound(page)
    shot(page, f"call-{size}")
    page.get_by_role("button", name="Someone must drive").click()
    page.get_by_role("heading", name="Who goes, and when?").wait_for()
    made = Visit.objects.get()
    assert (made.site, made.call, made.state) == (site, Call.objects.get(), "proposed")
    sound(page)


@SIZES
def test_nadia_narrows_the_list_to_what_nobody_goes_to(size, page_of, server, nadia, idris, organisation):
    visits.set_up(organisation)
    going, waiting = (a_shortfall(an_installation(organisation), lost_l_day=n) for n in (800, 2400))
    planned = visits.propose_for_shortfall(shortfall=going, by=nadia)
    visits.assign(visit=planned, technician=idris, on=timezone.now().date() + timedelta(days=1), by=nadia)
    page = opens(page_of(nadia, size), server + "/attention/")
    page.locator("summary").filter(has_text="Choose").click()
    page.get_by_label("Visit").select_option(label="nobody goes yet")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("link", name=waiting.installation.well.site.name).wait_for()
    assert page.get_by_role("link", name=going.installation.well.site.name, exact=True).count() == 0
    sound(page)


@SIZES
def test_nadia_settles_a_slip_of_ten_in_one_click(size, page_of, server, nadia, organisation):
    slip = a_slip(a_meter_reading(an_installation(organisation), total_l=1_000_000, standing=1))
    page = opens(page_of(nadia, size), server + "/attention/")
    page.get_by_role("link", name="Figures to settle").first.click()
    page.get_by_text(slip.installation.unit.serial).wait_for()
    sound(page)
    page.get_by_role("button", name="As suggested").click()
    page.get_by_text("Nothing to settle").wait_for()
    assert MeterReading.objects.get().total_l == 100_000
    sound(page)


@SIZES
def test_nadia_reads_what_one_click_will_do_before_she_exchanges_two_readings(
    size, page_of, server, nadia, organisation
):
    one, other = an_exchange(an_installation(organisation), an_installation(organisation))
    a_round(an_installation(organisation))
    page = opens(page_of(nadia, size), server + "/readings/slips/")
    sound(page)
    shot(page, f"figures-to-settle-{size}")
    page.get_by_role("row").filter(has_text=f"Exchange with {other.installation.unit.serial}").get_by_role(
        "button", name="As suggested"
    ).click()
    page.get_by_text("remember that for this meter").wait_for()
    assert MeterReading.objects.get(pk=one.meter_reading_id).total_l == 98_765
    page.get_by_role("button", name="As suggested").click()
    page.get_by_text("Nothing to settle").wait_for()
    sound(page)


@SIZES
def test_missing_days_stand_above_a_units_readings(size, page_of, server, nadia, organisation):
    installation = an_installation(organisation, instrument_level="daily")
    for first, last in (("2024-06-01", 9), ("2024-06-22", 5)):
        days_of(installation, [3000] * last, first=first)
    page = opens(page_of(nadia, size), f"{server}/readings/installations/{installation.pk}/")
    page.get_by_text("12 days").wait_for()
    sound(page)
    shot(page, f"missing-days-{size}")


@SIZES
def test_idris_cannot_pass_a_caution_that_he_has_not_seen(size, page_of, server, idris, organisation):
    visits.set_up(organisation)
    visit = a_visit_under_way(an_installation(organisation), idris, "repair")
    step = next(s for s in visit.procedure.steps if "DC" in s["cautions"] and s["captures"])
    page = opens(page_of(idris, size, noisy=True), f"{server}/visits/{visit.key}/log/{step['code']}/")
    sound(page)
    page.evaluate("document.querySelectorAll('form').forEach(form => { form.noValidate = true; })")
    page.get_by_role("button", name="Keep").first.click()
    page.get_by_text("caution").first.wait_for()
    assert not visit.records.filter(step=step["code"]).exists()
    sound(page)


@SIZES
def test_idris_closes_a_repair_only_after_its_test_and_enters_the_new_pump(
    size, page_of, server, idris, organisation
):
    visits.set_up(organisation)
    hung = an_installation(organisation)
    visit = a_visit_under_way(hung, idris, "repair", shortfall=a_shortfall(hung))
    record_all(visit, skip={"after_test"})
    store = a_unit(organisation)
    page = opens(page_of(idris, size, noisy=True), f"{server}/visits/{visit.key}/")
    page.get_by_role("link", name="Add a finding").click()
    page.get_by_label("How does it show?").select_option("less_water")
    page.get_by_label("Why?").select_option("pump_worn")
    page.get_by_label("What was done?").select_option("replaced")
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("link", name="Add a part").click()
    page.get_by_label("Part", exact=True).select_option(label="pump or pump end")
    page.get_by_label("Serial out").fill(hung.unit.serial)
    page.get_by_label("Serial in").fill(store.serial)
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("link", name="Leave").click()
    page.get_by_label("What was not done").fill("the rest was in order")
    shot(page, f"leave-{size}")
    page.get_by_role("button", name="Leave").click()
    page.get_by_role("heading", name="Close the visit").wait_for()
    page.get_by_label("What came of the visit?").select_option("restored")
    page.get_by_role("button", name="Close the visit").click()
    page.get_by_text("Take the spot test again").first.wait_for()
    visit.refresh_from_db()
    assert visit.is_open
    visits.log_spot_test(visit=visit, readings=SPOT_READINGS, kind="after_work", by=idris)
    opens(page, server + reverse("visits:close", args=[visit.key]))
    page.get_by_role("link", name="Enter it in the register").click()
    page.get_by_role("heading", name="Another pump hangs here now").wait_for()
    sound(page)
    shot(page, f"enter-exchange-{size}")
    page.get_by_label("goes into store").check()
    page.get_by_label("Why").fill("worn after six years")
    page.get_by_role("button", name="Enter the exchange").click()
    page.get_by_role("heading", name="Close the visit").wait_for()
    page.get_by_label("What came of the visit?").select_option("restored")
    page.get_by_role("button", name="Close the visit").click()
    page.get_by_text("The visit is closed").wait_for()
    visit.refresh_from_db()
    assert (visit.state, visit.outcome) == ("closed", "restored")
    assert Installation.objects.hanging().get(well=hung.well).unit == store
    assert Shortfall.objects.get().ending == "repaired"
    sound(page)


@SIZES
def test_nadia_enters_a_move_with_the_new_sites_code(size, page_of, server, nadia, idris, organisation):
    visits.set_up(organisation)
    visit = a_visit_under_way(an_installation(organisation), idris, "relocation")
    well = a_well(organisation=organisation)
    page = opens(page_of(nadia, size, noisy=True), f"{server}/visits/{visit.key}/")
    page.get_by_role("link", name="Enter it in the register").click()
    page.get_by_label("Into which well").fill("nowhere")
    page.get_by_label("Why").fill("both villages agreed")
    page.get_by_role("button", name="Enter the move").click()
    page.get_by_text("no well of this site code").first.wait_for()
    assert page.get_by_label("Why").input_value() == "both villages agreed"  # nothing typed is lost
    sound(page)
    shot(page, f"enter-move-{size}")
    page.get_by_label("Into which well").fill(well.site.code)
    page.get_by_role("button", name="Enter the move").click()
    page.get_by_text("Entered. It hangs in").wait_for()
    assert Installation.objects.hanging().get(well=well).unit == visit.installation.unit


@SIZES
def test_wanja_sets_the_false_alarms_and_sees_what_they_cost(size, page_of, server, wanja, organisation):
    page = opens(page_of(wanja, size), server + reverse("output:alarms"))
    sound(page)
    shot(page, f"alarms-{size}")
    page.get_by_label("False alarms per hundred units a year").fill("5")
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("Kept").first.wait_for()
    organisation.refresh_from_db()
    assert organisation.false_alarms_per_100_unit_years == 5
    sound(page)


@SIZES
def test_amara_adds_a_technician_who_can_log_in_with_the_first_password(size, page_of, server, amara):
    page = opens(page_of(amara, size), server + "/people/colleagues/add/")
    page.get_by_label("Log-in name").fill("selma")
    page.get_by_label("First name").fill("Selma")
    page.get_by_label("Last name").fill("Bakari")
    page.get_by_role("group", name="Role").get_by_label("technician").check()
    sound(page)
    page.get_by_role("button", name="Keep").or_(page.get_by_role("button", name="Add")).first.click()
    page.get_by_text("Selma").first.wait_for()
    sound(page)
    assert Person.objects.get(username="selma").role == "technician"


def test_otto_of_another_organisation_finds_nothing_of_it(page_of, server, otto, organisation):
    hung = an_installation(organisation)
    a_shortfall(hung)
    page = page_of(otto, "desk", noisy=True)
    opens(page, server + "/attention/")
    page.get_by_text("Nothing falls short").wait_for()
    for name, key in (("desk:unit", hung.unit_id), ("registry:site", hung.well.site.code)):
        assert page.goto(server + reverse(name, args=[key])).status == 404
    opens(page, f"{server}{reverse('registry:find')}?q={hung.unit.serial}")
    assert hung.well.site.name not in page.content()
