"""A moment in the calendar of the site."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from fleet.readings.zones import local, moments, yesterday

CASES = [  # zone, moment UTC, local day, seconds since it began
    ("Africa/Nairobi", datetime(2024, 6, 1, 20, 59, 59), date(2024, 6, 1), 86399),
    ("Africa/Nairobi", datetime(2024, 6, 1, 21, 0), date(2024, 6, 2), 0),
    ("Asia/Kolkata", datetime(2024, 6, 1, 18, 30), date(2024, 6, 2), 0),
    ("America/Phoenix", datetime(2024, 6, 2, 6, 59), date(2024, 6, 1), 86340),
    # The clock goes forward at 02:00 there: the day has 23 hours, seconds are those that passed.
    ("Europe/Madrid", datetime(2024, 3, 31, 21, 59), date(2024, 3, 31), 22 * 3600 + 59 * 60),
]


@pytest.mark.parametrize(("zone", "moment", "day", "second"), CASES)
def test_local_day_and_second_and_back(zone, moment, day, second):
    epoch = moment.replace(tzinfo=UTC).timestamp()
    days, seconds = local([epoch], [0], [zone])
    assert (days[0].item(), int(seconds[0])) == (day, second)
    assert moments(days, seconds, [0], [zone])[0] == epoch


def test_many_zones_in_one_call():
    zones = [case[0] for case in CASES]
    epochs = [case[1].replace(tzinfo=UTC).timestamp() for case in CASES]
    days, seconds = local(epochs, np.arange(len(CASES)), zones)
    assert days.tolist() == [case[2] for case in CASES]
    assert seconds.tolist() == [case[3] for case in CASES]


def test_yesterday_has_ended_where_the_site_is():
    now = datetime(2024, 6, 1, 22, 0, tzinfo=UTC)
    assert yesterday("Africa/Nairobi", now) == date(2024, 6, 1)
    assert yesterday("America/Phoenix", now) == date(2024, 5, 31)
