"""Each user's main task in a real browser, phone and desk: the list that sends somebody, the day, the report."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from fleet.reports import services as reports
from fleet.visits import services as visits
from fleet.visits.models import Visit
from tests.browser.checks import no_accessibility_faults, opens, targets_are_large
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = pytest.mark.parametrize("size", ["phone", "desk"])


@SIZES
def test_nadia_sends_idris_to_the_sites_she_ticks(size, page_of, server, nadia, idris, organisation):
    visits.set_up(organisation)
    for litres in (800, 2400):
        a_shortfall(an_installation(organisation), lost_l_day=litres)
    page = opens(page_of(nadia, size), server + "/")
    assert page.url.endswith("/attention/")  # her first page is her own work
    no_accessibility_faults(page)
    targets_are_large(page)
    for tick in page.get_by_role("checkbox").all():
        tick.check()
    page.get_by_label("Technician").select_option(label=str(idris))
    page.get_by_label("Day").fill((timezone.now() + timedelta(days=1)).strftime("%Y-%m-%d"))
    page.get_by_role("button", name="Plan the visits").click()
    page.get_by_text("2 visits planned").wait_for()
    assert Visit.objects.filter(technician=idris, state="assigned").count() == 2
    no_accessibility_faults(page)


@SIZES
def test_idris_opens_his_day_and_begins_the_first_visit(size, page_of, server, nadia, idris, organisation):
    visits.set_up(organisation)
    shortfall = a_shortfall(an_installation(organisation))
    visit = visits.propose_for_shortfall(shortfall=shortfall, by=nadia)
    # tomorrow as the well has it: there it may be a day later than in Greenwich
    there = ZoneInfo(shortfall.installation.well.site.zone)
    tomorrow = timezone.now().astimezone(there).date() + timedelta(days=1)
    visits.assign(visit=visit, technician=idris, on=tomorrow, by=nadia)
    page = opens(page_of(idris, size), server + "/")
    page.get_by_role("link", name=f"{tomorrow:%a}").first.click()
    page.get_by_role("heading", name=shortfall.installation.well.site.name).wait_for()
    no_accessibility_faults(page)
    targets_are_large(page)
    page.get_by_role("link", name="Begin the visit").click()
    page.get_by_role("heading", level=1).wait_for()
    no_accessibility_faults(page)


@SIZES
def test_wanja_reads_the_months_and_takes_paper_and_workbook_along(size, page_of, server, wanja, organisation):
    judged_days(an_installation(organisation), date(2026, 3, 1), [(5000, 4500)] * 20)
    reports.refresh_months(first=date(2026, 3, 1), through=date(2026, 3, 31))
    page = opens(page_of(wanja, size), server + "/reports/?first=2026-03&last=2026-03")
    page.get_by_text("90 %").first.wait_for()
    no_accessibility_faults(page)
    targets_are_large(page)
    for name, ending in (("Print (PDF)", ".pdf"), ("Workbook", ".xlsx")):
        with page.expect_download() as waiting:
            page.get_by_role("link", name=name).click()
        assert waiting.value.suggested_filename.endswith(ending)
