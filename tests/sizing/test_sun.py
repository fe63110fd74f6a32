"""Limits, shapes and refusals of the sun's path."""

from datetime import date, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing import sun
from sizing.checks import Refusal

latitudes = st.floats(-65, 65)
days = st.integers(1, 366)


def test_a_column_of_places_against_a_row_of_days():
    grid = sun.extraterrestrial_kwh_m2_day(np.array([[-30.0], [0.0], [15.0]]), sun.AVERAGE_DAYS)
    assert grid.shape == (3, 12)
    assert grid[2, 5] == sun.extraterrestrial_kwh_m2_day(15.0, 162)


def test_one_bad_place_does_not_spoil_the_others():
    got = sun.extraterrestrial_kwh_m2_day([10.0, 95.0, np.nan, -10.0], 100)
    assert list(np.isnan(got)) == [False, True, True, False]


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: sun.extraterrestrial_kwh_m2_day(95, 100), "latitude_deg"),
        (lambda: sun.extraterrestrial_kwh_m2_day(10, 0), "day_of_year"),
        (lambda: sun.cos_incidence(10, 0, 0, 200, 180), "tilt_deg"),
        (lambda: sun.position("2026-01-01T10:00", 95, 10), "latitude_deg"),
        (lambda: sun.position("2026-01-01T10:00", 5, 1000), "longitude_deg"),
        (lambda: sun.position("1066-01-01T10:00", 5, 10), "when_utc"),
        (lambda: sun.position("teatime", 5, 10), "when_utc"),
        (lambda: sun.day_times("yesterday", 5, 10), "date"),
        (lambda: sun.day_times("2026-01-01", 5, np.inf), "longitude_deg"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, argument):
    with pytest.raises(Refusal) as refusal:
        call()
    assert refusal.value.argument == argument


def test_polar_night_is_dark_and_polar_day_has_no_sunset():
    assert sun.extraterrestrial_kwh_m2_day(80, 355) == 0
    assert sun.sunset_angle_deg(80, sun.declination_deg(172)) == 180
    times = sun.day_times("2026-06-21", 80, 15)
    assert np.isnat(times.sunrise_utc)
    assert np.isnat(times.sunset_utc)
    assert not np.isnat(times.noon_utc)


@given(latitudes, days)
def test_the_level_day_is_the_sum_of_its_moments(latitude, day):
    declination = sun.declination_deg(day)
    hours = (np.arange(1440) + 0.5) / 1440 * 360 - 180
    moments = np.clip(sun.cos_zenith(latitude, declination, hours), 0, None)
    added = moments.mean() * 0.024 * sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(day)
    assert sun.extraterrestrial_kwh_m2_day(latitude, day) == pytest.approx(added, rel=1e-3, abs=1e-4)


@given(latitudes, days, st.floats(-180, 180), st.floats(0, 360))
def test_a_level_plane_sees_the_sun_as_the_ground_does(latitude, day, hour, azimuth):
    declination = sun.declination_deg(day)
    level = sun.cos_incidence(latitude, declination, hour, 0, azimuth)
    assert level == pytest.approx(sun.cos_zenith(latitude, declination, hour), abs=1e-12)


@given(latitudes, days, st.floats(-180, 180), st.floats(0, 180), st.floats(0, 360))
def test_the_back_sees_what_the_front_does_not(latitude, day, hour, tilt, azimuth):
    declination = sun.declination_deg(day)
    front = sun.cos_incidence(latitude, declination, hour, tilt, azimuth)
    back = sun.cos_incidence(latitude, declination, hour, 180 - tilt, azimuth + 180)
    assert front == pytest.approx(-back, abs=1e-9)


@given(latitudes, days)
def test_morning_and_afternoon_mirror_each_other(latitude, day):
    declination = sun.declination_deg(day)
    east = sun.cos_incidence(latitude, declination, -40, 25, 90)
    west = sun.cos_incidence(latitude, declination, 40, 25, 270)
    assert east == pytest.approx(west, abs=1e-12)


@pytest.mark.parametrize("longitude", [-179.9, -120.0, 0.0, 36.8, 120.0, 179.9])
def test_noon_belongs_to_the_date_asked_for_all_around_the_globe(longitude):
    noon = sun.day_times("2026-11-03", 10.0, longitude).noon_utc
    local_sun_clock = noon + np.timedelta64(round(longitude * 240), "s")
    assert local_sun_clock.astype("datetime64[D]") == np.datetime64("2026-11-03")
    times = sun.day_times("2026-11-03", 10.0, longitude)
    assert times.sunrise_utc < times.noon_utc < times.sunset_utc
    assert times.sunset_utc - times.sunrise_utc < np.timedelta64(13, "h")


def test_at_solar_noon_the_sun_stands_in_the_meridian():
    noon = sun.day_times("2026-03-01", np.array([-20.0, 20.0]), np.array([30.0, 30.0])).noon_utc
    bearing = sun.position(noon, np.array([-20.0, 20.0]), 30.0).azimuth_deg
    assert (bearing[0] + 180) % 360 - 180 == pytest.approx(0, abs=0.02)  # south of the sun it stands north
    assert bearing[1] == pytest.approx(180, abs=0.02)


def test_a_moment_with_a_zone_is_the_same_moment_in_utc():
    local = datetime(2026, 3, 1, 13, 0, tzinfo=timezone(timedelta(hours=3)))
    plain = sun.position(np.datetime64("2026-03-01T10:00"), -1.3, 36.8)
    assert sun.position(local, -1.3, 36.8) == plain
    assert sun.position([local], -1.3, 36.8).azimuth_deg[0] == plain.azimuth_deg


def test_places_in_a_column_and_moments_in_a_row():
    moments = np.datetime64("2026-03-01T06:00") + np.arange(5) * np.timedelta64(1, "h")
    places = np.array([[-1.3], [95.0], [13.5]])
    got = sun.position(moments, places, 36.8)
    assert got.zenith_deg.shape == (3, 5)
    assert np.isnan(got.zenith_deg[1]).all()
    assert got.zenith_deg[2, 3] == pytest.approx(float(sun.position(moments[3], 13.5, 36.8).zenith_deg), abs=1e-9)


def test_a_moment_not_known_gives_nothing_and_spoils_nothing():
    moments = np.array(["2026-03-01T06:00", "NaT"], dtype="datetime64[s]")
    got = sun.position(moments, -1.3, 36.8)
    assert list(np.isnan(got.zenith_deg)) == [False, True]
    times = sun.day_times("2026-03-01", [np.nan, 5.0], 36.8)
    assert list(np.isnat(times.noon_utc)) == [True, False]


def test_the_day_of_the_year_counts_leap_days():
    assert sun.day_of_year(date(2026, 3, 1)) == 60
    assert list(sun.day_of_year(["2028-03-01", "2028-12-31"])) == [61, 366]


def test_the_short_form_keeps_to_the_almanac_through_a_whole_cycle_of_leap_years():
    # Computed: NREL algorithm through pvlib at every noon of four years; the limits are the docstrings'.
    dates = np.arange("2025-01-01", "2029-01-01", 3, dtype="datetime64[D]")
    times = sun.day_times(dates, 0.0, 0.0).noon_utc
    stands = sun.position(times, 0.0, 0.0)
    north_of_us = np.cos(np.radians(stands.azimuth_deg))
    declination = np.sign(north_of_us) * stands.zenith_deg
    day = sun.day_of_year(dates)
    assert np.abs(sun.declination_deg(day) - declination).max() < 0.2
    equation = 720 - (times - dates) / np.timedelta64(1, "ms") / 60000
    assert np.abs(sun.equation_of_time_min(day) - equation).max() < 0.3
