"""Readings for tests."""

from datetime import UTC, datetime, timedelta

import numpy as np

from fleet.readings.models import MeterReading, Slip, SpotTest
from fleet.readings.services import keep_days
from tests.makers.registry import an_installation

NOON = datetime(2024, 6, 3, 9, 30, tzinfo=UTC)


def a_spot_test(installation=None, **changes):
    known = {
        "installation": installation or an_installation(),
        "kind": SpotTest.Kind.COMMISSIONING,
        "at": NOON,
        "sun_by": SpotTest.SunBy.CELL,
        "irradiance_w_m2": 850,
        "air_c": 30,
        "array_voltage_v": 52,
        "array_current_a": 6.5,
        "flow_l_min": 14.0,
        "static_level_m": 22.0,
    }
    return SpotTest.objects.create(**known | changes)


def a_meter_reading(installation=None, **changes):
    known = {"installation": installation or an_installation(), "at": NOON, "total_l": 100_000}
    return MeterReading.objects.create(**known | changes)


def days_of(installation, volumes, first="2024-06-01", **columns):
    """Daily volumes from the day `first` on, one after another; NaN leaves a day out."""
    volumes = np.asarray(volumes, dtype=float)
    days = np.datetime64(first) + np.arange(len(volumes))
    return keep_days(
        installations=np.full(len(volumes), installation.pk), days=days, columns={"volume_l": volumes} | columns
    )


def a_slip(reading=None, **changes):
    """A meter figure ten times too large, in doubt, with the figure that would fit."""
    reading = reading or a_meter_reading(total_l=1_000_000, standing=1)
    known = {
        "installation": reading.installation,
        "subject": Slip.Subject.METER,
        "meter_reading": reading,
        "at": reading.at,
        "field": "total_l",
        "found": reading.total_l,
        "suggested": reading.total_l / 10,
        "kind": Slip.Kind.SLIP_OF_TEN,
        "why": "A tenth of it fits the weeks around.",
    }
    return Slip.objects.create(**known | changes)


def an_exchange(one, other, totals=(412_345, 98_765)):
    """Two units' readings of one day, exchanged, with their slips: what stands at `one` was read at `other`."""
    found, meant = totals
    slips = []
    for installation, partner, total, fits, minutes in ((one, other, found, meant, 0), (other, one, meant, found, 50)):
        reading = a_meter_reading(installation, total_l=total, standing=1, at=later(minutes=minutes))
        slips.append(
            a_slip(reading, kind=Slip.Kind.SWAPPED_READINGS, other=partner, suggested=fits, why="",
                   facts={"due_l": 84_123.4, "days": 28.0})
        )  # fmt: skip
    return slips


def a_round(installation, totals=(960_000, 12_000), round_l=1_000_000):
    """A meter read every week that started again, with the slip of the first total that is less than before."""
    readings = [
        a_meter_reading(installation, at=later(days=7 * n), total_l=total, standing=int(n > 0))
        for n, total in enumerate(totals)
    ]
    return a_slip(readings[1], kind=Slip.Kind.ROLLOVER, suggested=round_l, why="", facts={"due_l": 52_000, "days": 7.0})


def later(**span):
    return NOON + timedelta(**span)
