"""Keeping the meter's figure."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from fleet.readings.models import MeterReading, Slip, Standing
from fleet.readings.services import keep_meter_reading, keep_meter_readings
from fleet.web.refusals import Refused
from tests.makers.readings import NOON, a_meter_reading, later
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def installation(organisation):
    return an_installation(organisation, meter_rollover_l=1_000_000)


def test_a_figure_without_its_hour_is_kept_at_the_sites_noon(installation, idris):
    reading = keep_meter_reading(installation=installation, total_l=5000, day=date(2024, 6, 3), by=idris)
    assert (reading.at, reading.hour_known) == (datetime(2024, 6, 3, 9, 0, tzinfo=UTC), False)


def test_a_counter_that_has_run_round_is_recognised(installation, idris):
    a_meter_reading(installation, total_l=990_000)
    reading = keep_meter_reading(installation=installation, total_l=12_000, at=later(days=7), by=idris)
    assert reading.rolled_over
    assert reading.standing == Standing.GOOD


def test_a_total_that_goes_backwards_is_kept_and_asked_about(installation, idris):
    a_meter_reading(installation, total_l=300_000)
    reading = keep_meter_reading(installation=installation, total_l=30_500, at=later(days=7), by=idris)
    assert reading.standing == Standing.IN_DOUBT
    slip = Slip.objects.get()
    assert (slip.kind, slip.found, slip.meter_reading) == ("backwards", 30_500, reading)
    assert slip.reason.replace("\u00a0", " ") == "The total was 300,000 L on 3 Jun 2024; 30,500 L is less."


@pytest.mark.parametrize("why", [{"new_meter": True}, {"as_written": True}])
def test_a_new_meter_or_a_second_look_is_believed(installation, idris, why):
    a_meter_reading(installation, total_l=300_000)
    reading = keep_meter_reading(installation=installation, total_l=10, at=later(days=7), by=idris, **why)
    assert reading.standing == Standing.GOOD
    assert not Slip.objects.exists()


def test_a_meter_of_unknown_round_is_asked_about_once(organisation, idris):
    installation = an_installation(organisation)
    a_meter_reading(installation, total_l=960_000)
    standings = [
        keep_meter_reading(installation=installation, total_l=total, at=later(days=day), by=idris).standing
        for day, total in ((7, 12_000), (14, 40_000), (21, 70_000))
    ]
    assert standings == [Standing.IN_DOUBT, Standing.GOOD, Standing.GOOD]
    assert Slip.objects.get().found == 12_000


def test_a_total_that_goes_backwards_from_the_doubted_one_is_asked_about_as_well(organisation, idris):
    installation = an_installation(organisation)
    a_meter_reading(installation, total_l=960_000)
    for day, total in ((7, 120_000), (14, 40_000)):
        reading = keep_meter_reading(installation=installation, total_l=total, at=later(days=day), by=idris)
    assert reading.standing == Standing.IN_DOUBT
    assert Slip.objects.count() == 2


def test_a_slip_upwards_that_waits_does_not_hide_one_downwards(organisation, idris):
    installation = an_installation(organisation)
    a_meter_reading(installation, total_l=300_000)
    a_meter_reading(installation, total_l=3_100_000, at=later(days=7), standing=Standing.IN_DOUBT)
    reading = keep_meter_reading(installation=installation, total_l=32_000, at=later(days=14), by=idris)
    assert reading.standing == Standing.IN_DOUBT


def test_the_same_figure_twice_is_one_and_another_for_the_moment_is_refused(installation, idris):
    first = keep_meter_reading(installation=installation, total_l=5000, at=NOON, by=idris)
    assert keep_meter_reading(installation=installation, total_l=5000, at=NOON, by=idris) == first
    with pytest.raises(Refused) as refusal:
        keep_meter_reading(installation=installation, total_l=6000, at=NOON, by=idris)
    assert (refusal.value.code, refusal.value.field) == ("already_there", "total_l")


def many(installation, totals, **options):
    count = len(totals)
    epoch = NOON.timestamp() + 7 * 86400 * np.arange(count)
    days = np.datetime64("2024-06-03") + 7 * np.arange(count)
    return keep_meter_readings(
        installations=[installation.pk] * count, epoch_s=epoch, days=days, totals=totals, **options
    )


def test_many_readings_twice_change_nothing_and_a_correction_stays(installation):
    assert many(installation, [1000, 2000, 30_000], tank_full=[1, 0, -1]).new == 3
    MeterReading.objects.filter(total_l=30_000).update(total_l=3000, standing=Standing.CORRECTED)
    again = many(installation, [1000, 2100, 30_000], tank_full=[1, 0, -1])
    assert (again.new, again.changed, again.same) == (0, 1, 2)
    assert list(MeterReading.objects.values_list("total_l", "tank_full_seen")) == [
        (1000, True),
        (2100, False),
        (3000, None),
    ]


def test_counters_that_have_run_round_are_recognised_among_many(installation):
    many(installation, [850_000, 990_000, 12_000, 45_000])
    assert went_round() == [False, False, True, False]


def test_a_figure_between_two_others_takes_over_the_new_round(installation):
    many(installation, [850_000, 990_000])
    a_meter_reading(installation, at=later(days=21), total_l=45_000, rolled_over=True)
    many(installation, [850_000, 990_000, 12_000])
    assert went_round() == [False, False, True, False]
    many(installation, [850_000, 990_000, 995_000])  # the line was corrected in the file
    assert went_round() == [False, False, False, True]


def test_among_many_no_round_is_seen_where_none_is_known_or_hardly_half_of_it_was_run(organisation, installation):
    unknown = an_installation(organisation)
    many(unknown, [990_000, 12_000])
    many(installation, [500_000, 12_000])
    assert not MeterReading.objects.filter(rolled_over=True).exists()


def went_round():
    return list(MeterReading.objects.order_by("at").values_list("rolled_over", flat=True))
