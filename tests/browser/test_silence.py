"""The silent units at the desk and on a phone: their list, and their state on the unit's page."""

from datetime import timedelta

import pytest
from django.utils import timezone

from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large
from tests.makers.judged import a_shortfall
from tests.makers.readings import a_meter_reading
from tests.makers.registry import an_installation


@pytest.fixture
def quiet(organisation):
    """One heard of long ago, one never, one that falls short besides."""
    made = [an_installation(organisation) for _ in range(3)]
    a_meter_reading(made[0], at=timezone.now() - timedelta(days=120))
    a_meter_reading(made[2], at=timezone.now() - timedelta(days=95))
    a_shortfall(made[2])
    return made


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_nadia_goes_from_the_count_to_the_list_to_the_unit(page_of, server, nadia, quiet, size):
    page = page_of(nadia, size)
    opens(page, server + "/attention/")
    no_accessibility_faults(page)
    shot(page, f"attention-with-silent-{size}")
    page.get_by_role("link", name="Silent units").click()
    page.get_by_role("heading", name="Silent units").wait_for()
    assert page.locator("tbody tr").count() == 3
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, f"silent-{size}")
    page.get_by_role("link", name=quiet[0].well.site.name, exact=True).click()
    page.get_by_role("heading", name=quiet[0].unit.serial).wait_for()
    assert "silent since" in page.locator(".page-title").inner_text()
    no_accessibility_faults(page)
    shot(page, f"silent-unit-{size}")


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_causes_said_and_found_fit_the_page_of_the_one_setting(page_of, server, wanja, size):
    page = page_of(wanja, size)
    opens(page, server + "/output/alarms/")
    page.get_by_role("heading", name="Causes said, and causes found").wait_for()
    no_accessibility_faults(page)
    shot(page, f"said-and-found-{size}")
