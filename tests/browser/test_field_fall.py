"""Where the water is lost, on the telephone: what other steps measured counts, nothing is typed twice."""

import pytest

from fleet.readings.models import SpotTest
from fleet.visits import services
from tests.browser.checks import no_accessibility_faults, shot
from tests.browser.field import acknowledge, press_keep, until
from tests.browser.test_field_log import all_home
from tests.makers.readings import a_spot_test
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    visit = an_assigned_visit(an_installation(organisation), idris, kind="commissioning")
    a_spot_test(visit.installation, loop_ohm=2.2, kind="visit", flow_l_min=None, flow_by="none")
    return visit


def go(page, visit, code):
    page.evaluate("(to) => { location.hash = to }", f"#/visit/{visit.key}/step/{code}")
    until(page, "(to) => document.getElementById('app').dataset.screen === to", f"#/visit/{visit.key}/step/{code}")


def test_the_stages_are_drawn_from_what_the_whole_visit_measured(phone_of, visit, idris):
    spot = next(s["code"] for s in visit.procedure.steps if any(c["kind"] == "spot" for c in s["captures"]))
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    page.get_by_role("link", name=visit.site.code).click()
    page.get_by_role("button", name="I have arrived").click()
    page.locator("section.step").wait_for()

    go(page, visit, "loop_earth")
    acknowledge(page)
    page.get_by_label("Loop resistance of cable and motor").fill("5,1")
    press_keep(page)
    page.wait_for_timeout(300)
    go(page, visit, spot)
    acknowledge(page)
    page.get_by_label("reference cell").check()
    page.get_by_label("Irradiance in the modules' plane").fill("850")
    page.get_by_label("Static level below datum").fill("22")
    for n in range(3):
        page.get_by_label("Litres", exact=True).nth(n).fill("20")
        page.get_by_label("Seconds", exact=True).nth(n).fill("110")
    page.get_by_text("Read at the meter, instead or beside the bucket").click()
    page.get_by_label("Flow by the meter").fill("7,5")
    page.get_by_label("Array voltage").fill("49")
    page.get_by_label("Array current").fill("6.7")
    page.get_by_text("Measured at the box's output too").click()
    page.get_by_label("Voltage at the box's output").fill("40")
    page.get_by_label("Current at the box's output").fill("4,2")
    fall = page.locator(".answer").last
    fall.get_by_text("By the meter", exact=True).wait_for()
    words = fall.inner_text()
    for stage in ("Well", "Modules", "Cable", "Controller", "Pump and pipe", "Meter"):
        assert stage in words, stage
    assert "5.1 Ω, expected 2.2 Ω" in words
    assert "168 W" in words, "what left the box"
    no_accessibility_faults(page)
    fall.scroll_into_view_if_needed()
    shot(page, "field-fall")
    press_keep(page)
    page.get_by_role("button", name="Next", exact=True).wait_for()
    phone.offline(False)
    all_home(page)
    services.put_together(visit.pk)
    test = SpotTest.objects.exclude(kind="visit").get()
    assert (test.loop_ohm, test.output_voltage_v, test.output_current_a) == (5.1, 40, 4.2)
    assert (test.flow_by, round(test.flow_l_min, 2), test.meter_flow_l_min) == ("bucket", 10.91, 7.5)
    steps = visit.spot_tests.get().answer["waterfall"]
    assert {s["stage"] for s in steps["steps"]} == {"well", "array", "cable", "controller", "pump"}
    assert not steps["meter"]["agrees"]
