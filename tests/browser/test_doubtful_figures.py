"""Doubtful figures in a real browser: a noon's slip and a spot test's are settled in a click, a wrong clock is told."""

import pytest

from fleet.output import services as output
from fleet.readings.models import DayRecord, SpotTest
from fleet.readings.services import keep_spot_test
from tests.browser.checks import no_accessibility_faults, opens, targets_are_large
from tests.makers.readings import NOON
from tests.makers.registry import a_site, a_well, an_installation
from tests.output.test_spot_slips import sound
from tests.readings.test_logger_clock import keep as keep_by_a_wrong_clock
from tests.readings.test_noons_in_doubt import keep as keep_noons
from tests.readings.test_noons_in_doubt import record

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = pytest.mark.parametrize("size", ["phone", "desk"])


@SIZES
def test_nadia_settles_a_noon_and_a_spot_test_in_a_click_each(size, page_of, server, nadia, organisation):
    one = an_installation(organisation)
    keep_noons(one, noon_voltage_v={6: 5.14})
    test, _new = keep_spot_test(installation=one, at=NOON, kind="visit", **sound(one, static_level_m=220.0))
    output.look_at_tests([one.pk])
    page = opens(page_of(nadia, size), f"{server}/output/installations/{one.pk}/spot/{test.pk}/")
    no_accessibility_faults(page)
    page.get_by_role("link", name="Settle it").click()
    no_accessibility_faults(page)
    targets_are_large(page)
    for left in (2, 1):
        buttons = page.get_by_role("button", name="As suggested")
        assert buttons.count() == left
        buttons.first.click()
        page.wait_for_load_state()
    assert record(6).noon_voltage_v == 51.4
    assert SpotTest.objects.get().static_level_m == 22
    no_accessibility_faults(page)
    page.get_by_role("button", name="Take back").click()  # the last click alone is offered here
    page.get_by_text("taken back. It stands as before and waits again.").wait_for()
    no_accessibility_faults(page)
    targets_are_large(page)
    assert page.get_by_role("button", name="As suggested").count() == 1


@SIZES
def test_the_readings_say_that_the_loggers_clock_is_wrong(size, page_of, server, nadia, organisation):
    one = an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=40.0)),
                          instrument_level="logger")  # fmt: skip
    keep_by_a_wrong_clock(one, 3)
    page = opens(page_of(nadia, size), f"{server}/readings/installations/{one.pk}/?kind=days&month=2024-06")
    page.get_by_text("about 3 h ahead").wait_for()
    no_accessibility_faults(page)
    assert DayRecord.objects.filter(installation=one, volume_l__gt=0).count() == 5
