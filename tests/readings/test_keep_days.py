"""Daily records in bulk."""

from datetime import date

import numpy as np
import pytest

from fleet.readings.models import Arrival, DayRecord
from fleet.readings.services import keep_days
from tests.makers.readings import days_of
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
NAN = np.nan


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def volumes(installation):
    return [r.volume_l for r in DayRecord.objects.of(installation).order_by("day")]


def test_the_same_rows_twice_change_nothing(installation):
    first = days_of(installation, [3000, 3100, 2900])
    again = days_of(installation, [3000, 3100, 2900])
    assert (first.new, first.changed, first.same) == (3, 0, 0)
    assert (again.new, again.changed, again.same) == (0, 0, 3)
    assert volumes(installation) == [3000, 3100, 2900]


def test_months_are_made_as_records_arrive_across_the_turn_of_a_year(installation):
    kept = days_of(installation, np.arange(1.0, 71.0), first="2031-11-20")
    assert kept.new == 70
    assert len(volumes(installation)) == 70


def test_figures_of_one_day_that_come_apart_are_put_together(installation):
    days_of(installation, [3000])
    keep_days(
        installations=[installation.pk],
        days=np.array(["2024-06-01"], dtype="datetime64[D]"),
        columns={"noon_voltage_v": [51.0], "tank_full_seen": [1]},
    )
    record = DayRecord.objects.get(installation=installation)
    assert (record.volume_l, record.noon_voltage_v, record.tank_full_seen) == (3000, 51.0, True)


def test_in_one_intake_the_later_line_counts_and_gaps_leave_what_stands(installation):
    kept = keep_days(
        installations=[installation.pk] * 3,
        days=np.array(["2024-06-01"] * 3, dtype="datetime64[D]"),
        columns={"volume_l": [3000, 3200, NAN], "irradiation_kwh_m2": [NAN, NAN, 6.1]},
    )
    record = DayRecord.objects.get(installation=installation)
    assert kept.new == 1
    assert (record.volume_l, record.irradiation_kwh_m2) == (3200, 6.1)


@pytest.mark.parametrize("standing", [2, 3])
def test_what_a_person_settled_stays_and_what_is_in_doubt_gives_way(installation, standing):
    days_of(installation, [30_000, 31_000])
    DayRecord.objects.filter(installation=installation, day="2024-06-01").update(volume_l=3000, standing=standing)
    DayRecord.objects.filter(installation=installation, day="2024-06-02").update(standing=1)
    again = days_of(installation, [30_000, 3100])
    assert volumes(installation) == [3000, 3100]
    assert (again.changed, again.same) == (1, 1)
    assert list(DayRecord.objects.of(installation).order_by("day").values_list("standing", flat=True)) == [standing, 0]


def test_the_earliest_day_with_something_new_is_noted(installation):
    other = an_installation(installation.organisation)
    days_of(installation, [1, 2, 3])
    Arrival.objects.all().delete()
    days_of(installation, [1, 2, 4])
    days_of(other, [5], first="2024-05-01")
    assert dict(Arrival.objects.values_list("installation_id", "first_day")) == {
        installation.pk: date(2024, 6, 3),
        other.pk: date(2024, 5, 1),
    }


def test_negative_water_is_refused_by_the_database(installation):
    from django.db import IntegrityError

    with pytest.raises(IntegrityError):
        days_of(installation, [-1])


def test_a_reported_figure_outranks_one_worked_out_of_a_series(installation):
    day = np.array(["2024-06-01"], dtype="datetime64[D]")
    keep_days(installations=[installation.pk], days=day, columns={"volume_l": [2800]}, derived=True)
    keep_days(installations=[installation.pk], days=day, columns={"volume_l": [2850]}, derived=True)
    assert volumes(installation) == [2850]
    days_of(installation, [3000])
    keep_days(installations=[installation.pk], days=day, columns={"volume_l": [2700]}, derived=True)
    assert volumes(installation) == [3000]
