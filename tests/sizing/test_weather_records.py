"""Hourly records of the open services become days; what is no record is refused by name."""

from datetime import date

import numpy as np
import pytest

from sizing import climate
from sizing.checks import Refusal
from tests.makers import weather

DAYS = [6.1, 2.4, 5.0, 0.8]
FIRST = date(2024, 3, 10)
WRITERS = [
    ("power_json", weather.power_json), ("pvgis_hourly", weather.pvgis_hourly), ("cams_csv", weather.cams_csv),
    ("nsrdb_csv", weather.nsrdb_csv),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "write"), WRITERS)
@pytest.mark.parametrize("longitude", [35.5, -70.2, 0.0])
def test_a_record_gives_the_days_of_its_own_meridian(kind, write, longitude):
    got = climate.read_daily_weather(write(DAYS, FIRST, longitude_deg=longitude).encode(), kind)
    assert (got.latitude_deg, got.longitude_deg) == (3.0, longitude)
    assert got.date.astype(str).tolist() == ["2024-03-10", "2024-03-11", "2024-03-12", "2024-03-13"]
    np.testing.assert_allclose(got.ghi_kwh_m2, DAYS, rtol=1e-3)
    assert got.left_out == 0


def test_an_hour_that_is_missing_spoils_its_day_only():
    got = climate.read_daily_weather(
        weather.power_json(DAYS, FIRST, gaps={"2024-03-11T09:00:00+00:00"}), "power_json"
    )
    assert got.date.astype(str).tolist() == ["2024-03-10", "2024-03-12", "2024-03-13"]
    assert got.left_out == 1
    np.testing.assert_allclose(got.air_c, 29.0)


@pytest.mark.parametrize(
    ("content", "kind", "argument", "said"),
    [
        ("not weather", "power_json", "content", "not readable as power_json"),
        ("", "pvgis_hourly", "content", "not readable"),
        ("a;b;c", "cams_csv", "content", "not readable"),
        ("x", "csv", "kind", "one of power_json"),
        (7, "power_json", "content", "bytes or text"),
        (weather.pvgis_hourly(DAYS, FIRST, slope=20), "pvgis_hourly", "content", "level ground"),
        (weather.cams_csv(DAYS, FIRST, step="0 year 0 month 1 day 0 h 0 min 0 s"), "cams_csv", "content", "hourly"),
        (weather.power_json(DAYS, FIRST, latitude_deg=95.0), "power_json", "latitude_deg", "95"),
        (weather.power_json([40.0], FIRST), "power_json", "content", "no day of it is whole"),
    ],
)
def test_what_is_no_record_of_a_place_is_refused_by_name(content, kind, argument, said):
    with pytest.raises(Refusal, match=said) as refusal:
        climate.read_daily_weather(content, kind)
    assert refusal.value.argument == argument
