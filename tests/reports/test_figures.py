"""Every figure of the manager's report against days whose answer can be worked out by hand."""

from datetime import UTC, date, datetime

import pytest

from fleet.reports import services
from fleet.reports.models import InstallationMonth
from fleet.reports.services import Scope
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import an_installation

MARCH = date(2026, 3, 1)


@pytest.fixture
def march(organisation):
    return Scope(organisation, MARCH, MARCH)


def refreshed(**more):
    return services.refresh_months(first=MARCH, through=date(2026, 3, 31), **more)


def test_delivered_expected_and_need_are_sums_over_the_days_reported(organisation, march):
    installation = an_installation(organisation)
    judged_days(installation, MARCH, [(5000, 4500), (5000, 4000), (5000, None)])
    refreshed()
    whole = services.summary(march)
    assert whole["delivered_m3"] == pytest.approx(8.5)
    assert whole["expected_m3"] == pytest.approx(10.0)  # the third day was not reported
    assert whole["output_ratio"] == pytest.approx(0.85)
    assert whole["need_m3"] == pytest.approx(5.0 * 31)  # five cubic metres on each of 31 days it hung
    assert whole["need_ratio"] == pytest.approx(8.5 / 10)
    assert (whole["hung"], whole["reported"]) == (31, 2)


def test_a_full_tank_is_neither_down_nor_a_poor_output(organisation, march):
    installation = an_installation(organisation)
    judged_days(installation, MARCH, [(5000, 5000), (5000, 1000, True), (5000, 0, True)])
    refreshed()
    whole = services.summary(march)
    assert whole["output_ratio"] == pytest.approx(1.0)
    assert whole["idle"] == 2
    assert whole["availability"] == pytest.approx(1.0)


def test_down_disabled_and_idle_days_are_counted_apart(organisation, march):
    installation = an_installation(organisation)
    judged_days(installation, MARCH, [(5000, 5000), (5000, 200), (10, 0), (5000, 100, True)])
    refreshed()
    whole = services.summary(march)
    assert (whole["down"], whole["disabled"], whole["idle"]) == (1, 1, 1)
    assert whole["availability"] == pytest.approx(2 / 3)  # two up (one idle), one down; the sunless day is neither


def test_groups_are_ratios_of_sums_and_add_up_to_the_fleet(organisation, march):
    big, small = an_installation(organisation), an_installation(organisation)
    big.installer, small.installer = "Crew A", "Crew B"
    big.save(), small.save()
    judged_days(big, MARCH, [(10000, 9000)])
    judged_days(small, MARCH, [(1000, 100)])
    refreshed()
    rows = services.by_group(march, "installer")
    assert [(row["group"], round(row["output_ratio"], 3)) for row in rows] == [("Crew B", 0.1), ("Crew A", 0.9)]
    whole = services.summary(march)
    assert whole["output_ratio"] == pytest.approx(9100 / 11000)
    assert sum(row["delivered_m3"] for row in rows) == pytest.approx(whole["delivered_m3"])


def test_a_unit_that_hung_half_a_month_needs_half_a_month_of_water(organisation, march):
    installation = an_installation(organisation)
    installation.period = type(installation.period)(datetime(2026, 3, 17, 9, tzinfo=UTC), None)
    installation.save()
    refreshed()
    assert services.summary(march)["need_m3"] == pytest.approx(5.0 * 15)


def test_made_twice_the_months_are_the_same_rows(organisation, march):
    judged_days(an_installation(organisation), MARCH, [(5000, 4500)])
    assert refreshed() == 1
    before = InstallationMonth.objects.values_list("id", "measured_l").get()
    assert refreshed() == 1
    assert InstallationMonth.objects.values_list("id", "measured_l").get() == before


def test_an_empty_fleet_has_no_figures_rather_than_zeros(march):
    refreshed()
    whole = services.summary(march)
    assert whole["output_ratio"] is None and whole["availability"] is None
    assert services.by_month(march) == []


def test_another_organisations_water_is_not_counted(organisation, other_organisation, march):
    judged_days(an_installation(other_organisation), MARCH, [(5000, 4500)])
    refreshed()
    assert services.summary(march)["delivered_m3"] == 0


def test_time_to_restoration_keeps_its_parts_apart(organisation, march, idris):
    from fleet.visits.models import Visit

    installation = an_installation(organisation)
    short = a_shortfall(
        installation, state="closed", ending="repaired", since=date(2026, 3, 2), flagged_on=date(2026, 3, 6),
        closed_on=date(2026, 3, 12),
    )  # fmt: skip
    Visit.objects.create(
        organisation=organisation, site=installation.well.site, installation=installation, kind="repair",
        state="closed", technician=idris, planned_on=date(2026, 3, 11), shortfall=short,
        arrived_at=datetime(2026, 3, 11, 6, tzinfo=UTC), left_at=datetime(2026, 3, 11, 12, tzinfo=UTC),
    )  # fmt: skip
    found = services.restoration(march)
    assert found["cases"] == 1
    assert (found["detection_days"], found["waiting_days"], found["total_days"]) == (4, 5, 10)
    assert found["work_days"] == pytest.approx(0.25)
    assert found["first_visit_share"] == 1.0


def test_inspections_count_as_on_time_up_to_the_day_they_are_due(organisation, march, idris):
    from fleet.visits.models import Visit

    installation = an_installation(organisation)
    for arrived in (datetime(2026, 3, 10, 8, tzinfo=UTC), datetime(2026, 3, 14, 8, tzinfo=UTC), None):
        Visit.objects.create(
            organisation=organisation, site=installation.well.site, installation=installation, kind="inspection",
            state="closed" if arrived else "assigned", technician=idris, planned_on=date(2026, 3, 10),
            due_on=date(2026, 3, 10), arrived_at=arrived,
        )  # fmt: skip
    found = services.inspections(march)
    assert (found["due"], found["on_time"], found["late"], found["open"]) == (3, 1, 1, 1)
    assert found["share"] == pytest.approx(1 / 3)
