"""Samples finer than daily."""

import numpy as np
import pytest

from fleet.readings.models import DayRecord, DaySeries
from fleet.readings.services import keep_series
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
DAY = np.datetime64("2024-06-01")


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def keep(installation, seconds, **columns):
    count = len(seconds)
    return keep_series(
        installations=np.full(count, installation.pk), days=np.full(count, DAY), seconds=seconds, columns=columns
    )


def test_a_day_in_two_pieces_is_one_row_in_time_order(installation):
    keep(installation, [36000, 36900], flow_l_min=[10.0, 12.0])
    kept = keep(installation, [35100, 36900], flow_l_min=[9.0, 13.0], voltage_v=[50.0, np.nan])
    row = DaySeries.objects.get(installation=installation)
    assert kept.changed == 1
    assert row.second == [35100, 36000, 36900]
    assert row.flow_l_min == [9.0, 10.0, 13.0]
    assert row.voltage_v == [50.0, None, None]


def test_the_same_samples_twice_change_nothing(installation):
    assert keep(installation, [36000, 36900], flow_l_min=[10.0, 12.0]).new == 1
    assert keep(installation, [36900, 36000], flow_l_min=[12.0, 10.0]).same == 1


def test_a_channel_that_does_not_come_keeps_its_samples_at_their_seconds(installation):
    keep(installation, [100, 300], current_a=[1.0, 3.0])
    keep(installation, [200], flow_l_min=[7.0])
    row = DaySeries.objects.get(installation=installation)
    assert (row.second, row.current_a, row.flow_l_min) == ([100, 200, 300], [1.0, None, 3.0], [None, 7.0, None])


def test_the_day_is_added_up_from_its_samples(installation):
    seconds = np.arange(6 * 3600, 18 * 3600 + 1, 900)
    sun = 1000 * np.sin(np.pi * (seconds - 6 * 3600) / (12 * 3600))
    keep(installation, seconds, flow_l_min=np.full(len(seconds), 10.0), irradiance_w_m2=sun, voltage_v=sun * 0 + 52)
    record = DayRecord.objects.get(installation=installation)
    assert record.volume_l == pytest.approx(12 * 60 * 10)
    assert record.irradiation_kwh_m2 == pytest.approx(12 * 2 / np.pi, rel=2e-3)  # mean of a half sine is 2/pi
    assert record.noon_irradiance_w_m2 == pytest.approx(1000, rel=1e-3)
    assert record.noon_voltage_v == 52
    assert record.derived


def test_a_long_silence_is_not_bridged(installation):
    by_day = np.arange(6 * 3600, 18 * 3600 + 1, 600)
    keep(installation, [0, 600, *by_day], flow_l_min=np.full(len(by_day) + 2, 6.0))
    # Ten minutes, the day, and of the silence the half hour that a missing sample or two may leave.
    assert DayRecord.objects.get(installation=installation).volume_l == pytest.approx(6.0 * (10 + 12 * 60 + 30))


def test_more_samples_than_are_kept_at_once_go_in_portions_and_each_day_stays_its_own(installation, monkeypatch):
    days = np.repeat(DAY + np.arange(6), 4)
    seconds = np.tile([36000, 36900, 37800, 38700], 6)
    flow = np.repeat([10.0, 20.0, 30.0, 40.0, 50.0, 60.0], 4)

    def volumes():
        return list(DayRecord.objects.order_by("day").values_list("volume_l", flat=True))

    def bring():
        return keep_series(
            installations=np.full(len(days), installation.pk), days=days, seconds=seconds, columns={"flow_l_min": flow}
        )

    monkeypatch.setattr("fleet.readings.services.series.SAMPLES_AT_ONCE", 9)  # two days and a piece
    assert bring().new == 6
    assert volumes() == pytest.approx([45 * litres for litres in (10, 20, 30, 40, 50, 60)])
    assert [row.second for row in DaySeries.objects.order_by("day")] == [[36000, 36900, 37800, 38700]] * 6
    assert bring().same == 6
