"""Defaults by place, own tables, weather files: shapes, limits and refusals."""

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing import climate, sun
from sizing.checks import Refusal

DRY = np.array([5.6, 6.1, 6.7, 7.0, 6.7, 6.4, 6.0, 5.4, 5.8, 6.2, 5.9, 5.4])


# --- Default by place ----------------------------------------------------------------------------------------------
def test_a_default_says_where_it_comes_from_and_how_far_it_may_be_off():
    got = climate.default_climate(13.5, 2.1, 220)
    assert got.label == "default"
    assert "MERRA-2" in got.source
    assert "ITU-R" in got.air_source
    assert 0.1 < got.band < 0.3
    assert got.ghi_kwh_m2_day.shape == got.air_c.shape == (12,)
    assert got.day_ghi_kwh_m2_day.shape == (12, 9)


def test_the_kinds_of_day_have_the_months_mean_and_run_from_dull_to_bright():
    got = climate.default_climate(np.array([-20.0, 13.5, 30.0]), np.array([25.0, 2.1, 75.0]))
    np.testing.assert_allclose(got.day_ghi_kwh_m2_day.mean(axis=-1), got.ghi_kwh_m2_day, rtol=1e-3)
    assert (np.diff(got.day_ghi_kwh_m2_day, axis=-1) >= -1e-9).all()
    above = sun.extraterrestrial_kwh_m2_day(np.array([[-20.0], [13.5], [30.0]]), sun.AVERAGE_DAYS)
    assert (got.day_ghi_kwh_m2_day <= 0.85 * above[..., None] + 1e-9).all()
    assert (got.day_ghi_kwh_m2_day > 0).all()


def test_many_places_at_once_with_reasons_for_those_it_does_not_know():
    latitude = np.array([13.5, 95.0, -20.2, np.nan, 0.0])
    longitude = np.array([2.1, 2.1, 57.5, 10.0, -150.0])
    got = climate.default_climate(latitude, longitude, 300)
    assert list(np.isfinite(got.ghi_kwh_m2_day).all(axis=1)) == [True, False, False, False, False]
    why = got.reasons.as_array(5)
    assert why[0] == ""
    assert "latitude_deg = 95" in why[1]
    assert "twelve monthly values" in why[2]
    assert "twelve monthly values" in why[4]
    assert list(np.isnan(got.band)) == [False, True, True, True, True]
    alone = climate.default_climate(13.5, 2.1, 300)
    np.testing.assert_array_equal(got.day_ghi_kwh_m2_day[0], alone.day_ghi_kwh_m2_day)


@pytest.mark.parametrize(("latitude", "longitude"), [(21.3, -157.8), (-20.2, 57.5), (85.0, 20.0), (0.0, -150.0)])
def test_a_place_that_the_default_does_not_know_is_refused(latitude, longitude):
    with pytest.raises(Refusal, match="give twelve monthly values or a weather file"):
        climate.default_climate(latitude, longitude)


@pytest.mark.parametrize(("latitude", "longitude"), [(14.7, -17.4), (-4.05, 39.7), (-6.2, 39.3), (35.9, 14.5)])
def test_dakar_mombasa_zanzibar_and_malta_are_known(latitude, longitude):
    assert np.isfinite(climate.default_climate(latitude, longitude).ghi_kwh_m2_day).all()


@pytest.mark.parametrize(
    ("latitude", "longitude", "altitude", "argument"),
    [(95, 2, 0, "latitude_deg"), (10, 700, 0, "longitude_deg"), (10, 2, 22000, "altitude_m")],
)
def test_a_single_place_off_the_globe_is_refused(latitude, longitude, altitude, argument):
    with pytest.raises(Refusal) as refusal:
        climate.default_climate(latitude, longitude, altitude)
    assert refusal.value.argument == argument


def test_the_same_place_by_two_names_of_its_longitude():
    west = climate.default_climate(33.4, -112.0)
    east = climate.default_climate(33.4, 248.0)
    np.testing.assert_allclose(west.ghi_kwh_m2_day, east.ghi_kwh_m2_day)


def test_a_step_of_a_kilometre_does_not_jump():
    here, there = climate.default_climate([13.499, 13.501], [2.1, 2.1]).ghi_kwh_m2_day
    np.testing.assert_allclose(here, there, rtol=1e-3)


# --- Own twelve values ---------------------------------------------------------------------------------------------
def test_own_values_replace_the_default_and_keep_its_kinds_of_day():
    got = climate.own_climate(13.5, 2.1, DRY, source="met office, 1991-2020")
    assert got.label == "own"
    assert got.source == "met office, 1991-2020"
    assert got.band < climate.default_climate(13.5, 2.1).band
    np.testing.assert_array_equal(got.ghi_kwh_m2_day, DRY)
    np.testing.assert_allclose(got.day_ghi_kwh_m2_day.mean(axis=-1), DRY, rtol=1e-12)


def test_own_values_work_where_the_default_knows_nothing():
    island = np.array([6.2, 5.9, 5.5, 4.9, 4.3, 3.9, 4.0, 4.5, 5.3, 6.0, 6.4, 6.4])
    got = climate.own_climate(-20.2, 57.5, island)
    np.testing.assert_allclose(got.day_ghi_kwh_m2_day.mean(axis=-1), island, rtol=1e-12)
    assert (np.diff(got.day_ghi_kwh_m2_day, axis=-1) > 0).all()


def test_own_air_is_used_as_it_is():
    air = np.linspace(22, 33, 12)
    got = climate.own_climate(13.5, 2.1, DRY, air)
    np.testing.assert_array_equal(got.air_c, air)
    assert got.air_band_k < climate.own_climate(13.5, 2.1, DRY).air_band_k


def test_own_kinds_of_day_take_the_place_of_the_surroundings():
    days = np.array(DRY)[:, None] * np.linspace(0.6, 1.4, 9) / np.linspace(0.6, 1.4, 9).mean()
    days = np.minimum(days, days.mean() * 1.6)
    got = climate.own_climate(13.5, 2.1, DRY, day_ghi_kwh_m2_day=days[:, ::-1])
    assert got.day_ghi_kwh_m2_day.mean(axis=-1) == pytest.approx(np.array(DRY))
    spread = got.day_ghi_kwh_m2_day[:, -1] / got.day_ghi_kwh_m2_day[:, 0]
    assert (np.diff(got.day_ghi_kwh_m2_day, axis=-1) >= 0).all() and (spread > 1.2).all()
    assert not np.allclose(got.day_ghi_kwh_m2_day, climate.own_climate(13.5, 2.1, DRY).day_ghi_kwh_m2_day, rtol=0.02)
    with pytest.raises(Refusal, match="12, 9|kinds of day"):
        climate.own_climate(13.5, 2.1, DRY, day_ghi_kwh_m2_day=days[:, :5])
    with pytest.raises(Refusal, match="none is missing"):
        climate.own_climate(13.5, 2.1, DRY, day_ghi_kwh_m2_day=np.full((12, 9), np.nan))


@pytest.mark.parametrize(
    ("ghi", "said"),
    [
        (DRY * 3.6, "MJ or Wh given"),
        (DRY * 1000, "MJ or Wh given"),
        (-DRY, "month 1"),
        (DRY[:11], "twelve values"),
        (np.where(np.arange(12) == 5, np.nan, DRY), "place 5"),
        (5.5, "twelve values"),
        (["much"] * 12, "not a number"),
    ],
)
def test_own_values_that_cannot_be_are_refused(ghi, said):
    with pytest.raises(Refusal, match=said) as refusal:
        climate.own_climate(13.5, 2.1, ghi)
    assert refusal.value.argument == "ghi_kwh_m2_day"


def test_own_values_of_many_sites_with_one_bad_among_good():
    table = np.stack([DRY, DRY * 3.6, DRY])
    got = climate.own_climate(np.array([13.5, 13.5, 12.4]), np.array([2.1, 2.1, -1.5]), table)
    assert list(np.isnan(got.day_ghi_kwh_m2_day).all(axis=(1, 2))) == [False, True, False]
    assert "MJ or Wh given" in got.reasons.as_array(3)[1]


@given(st.floats(0.2, 0.8), st.floats(-35, 35))
def test_kinds_of_day_keep_the_mean_and_the_brightest_possible_day(clearness, latitude):
    ghi = clearness * sun.extraterrestrial_kwh_m2_day(latitude, sun.AVERAGE_DAYS)
    got = climate.own_climate(latitude, 57.5, ghi)
    np.testing.assert_allclose(got.day_ghi_kwh_m2_day.mean(axis=-1), ghi, rtol=1e-9)
    assert (got.day_ghi_kwh_m2_day.max(axis=-1) <= 0.8501 * ghi / clearness).all()
    assert (got.day_ghi_kwh_m2_day >= 0).all()


@given(st.lists(st.floats(0, 9), min_size=2, max_size=60))
def test_grouping_days_keeps_their_mean_and_their_order(days):
    got = climate.day_kinds(days)
    assert got.mean() == pytest.approx(np.mean(days), abs=1e-9)
    assert (np.diff(got) >= -1e-9).all()
    assert got.max() <= max(days) + 1e-9


def test_nine_days_are_their_own_kinds():
    np.testing.assert_allclose(climate.day_kinds([9, 1, 2, 3, 4, 5, 6, 7, 8]), np.arange(1, 10))
    with pytest.raises(Refusal, match="two days"):
        climate.day_kinds([5.0])
    with pytest.raises(Refusal, match="place 1"):
        climate.day_kinds([5.0, np.nan])


# --- Air -----------------------------------------------------------------------------------------------------------
def test_air_is_warmest_in_the_summer_of_its_hemisphere_and_cooler_on_high_ground():
    north, _ = climate.default_air_c(30, 300)
    south, _ = climate.default_air_c(-30, 300)
    assert north.argmax() == 6
    assert south.argmax() == 0
    high, _ = climate.default_air_c(30, 2300)
    np.testing.assert_allclose(north - high, 9.3)


def test_an_altitude_not_known_widens_the_band():
    known, narrow = climate.default_air_c(10, 300)
    guessed, wide = climate.default_air_c(10, np.nan)
    np.testing.assert_array_equal(known, guessed)
    assert wide > narrow
    months, band = climate.default_air_c(np.array([10.0, 50.0]), np.array([300.0, 300.0]))
    assert months.shape == (2, 12)
    assert band[1] > band[0]


def test_the_hours_of_air_have_the_days_mean_and_are_warmest_at_three():
    hour = np.arange(24) + 0.5
    air = climate.air_by_hour_c(25.0, 0.6, hour)
    assert air.mean() == pytest.approx(25.0)
    assert hour[air.argmax()] in (14.5, 15.5)
    assert air.max() - air.min() == pytest.approx(14, abs=0.5)  # (0.6 / 0.16)2
    assert np.ptp(climate.air_by_hour_c(25.0, 0.1, hour)) < 5


# --- Irradiation from sunshine or temperatures -----------------------------------------------------------------------
def test_no_sunshine_leaves_a_quarter_and_a_full_day_three():
    above = sun.extraterrestrial_kwh_m2_day(13.5, 105)
    assert climate.ghi_from_sunshine_kwh_m2_day(13.5, 105, 0) == pytest.approx(0.25 * above)
    assert climate.ghi_from_sunshine_kwh_m2_day(13.5, 105, 12.5) == pytest.approx(0.75 * above)
    assert np.isnan(climate.ghi_from_sunshine_kwh_m2_day(13.5, 105, 14.0))
    with pytest.raises(Refusal, match="sunshine_h"):
        climate.ghi_from_sunshine_kwh_m2_day(13.5, 105, 48)


def test_twelve_months_of_sunshine_make_an_own_climate():
    hours = np.array([8.5, 8.9, 8.6, 8.2, 8.5, 8.4, 7.3, 6.6, 7.8, 8.9, 9.2, 8.6])
    ghi = climate.ghi_from_sunshine_kwh_m2_day(13.5, sun.AVERAGE_DAYS, hours)
    got = climate.own_climate(13.5, 2.1, ghi, source="hours of sunshine, met office")
    assert 5 < got.ghi_kwh_m2_day.mean() < 6.5


def test_a_coldest_above_the_warmest_gives_nothing_and_spoils_nothing():
    got = climate.ghi_from_temperatures_kwh_m2_day(13.5, 105, np.array([38.0, 20.0]), np.array([24.0, 25.0]))
    assert np.isfinite(got[0])
    assert np.isnan(got[1])
    assert climate.ghi_from_temperatures_kwh_m2_day(13.5, 105, 38, 24, coast=True) > got[0]


# --- Weather files: written here, of an invented place ------------------------------------------------------------
LATITUDE, LONGITUDE, ALTITUDE, ZONE = 12.5, -1.5, 310, 0


def invented_year():
    """Local hours of a year (start of hour), GHI and air: bright and dull days in turn."""
    start = np.datetime64("2023-01-01T00:00") + np.arange(8760) * np.timedelta64(1, "h")
    day = np.arange(8760) // 24
    hour = np.arange(8760) % 24 + 0.5
    ghi = np.round(np.clip(np.sin((hour - 6) * np.pi / 12), 0, None) * np.where(day % 2, 900, 500))
    air = np.round(28 + 5 * np.cos((hour - 15) * np.pi / 12), 1)
    return start, ghi, air


def expected_month(bright, dull):
    _, ghi, _ = invented_year()
    days = ghi.reshape(365, 24).sum(axis=1) / 1000
    return bright * days[1] + dull * days[0]


def epw(ghi_scale=1.0, hours=8760):
    start, ghi, air = invented_year()
    out = io.StringIO()
    out.write(f"LOCATION,Wendpanga,-,XYZ,invented,000000,{LATITUDE},{LONGITUDE},{ZONE},{ALTITUDE}\n")
    out.write("head\n" * 7)
    for moment, g, a in list(zip(start, ghi, air, strict=True))[:hours]:
        stamp = moment.astype(object)
        row = [stamp.year, stamp.month, stamp.day, stamp.hour + 1, 0, "?", a, 10, 40, 97000, 0, 0, 400, g * ghi_scale]
        out.write(",".join(map(str, row + [0] * 21)) + "\n")
    return out.getvalue()


def tmy3():
    start, ghi, air = invented_year()
    out = io.StringIO()
    out.write(f'000001,"WENDPANGA",XX,{ZONE},{LATITUDE},{LONGITUDE},{ALTITUDE}\n')
    out.write("Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),Dry-bulb (C)\n")
    for moment, g, a in zip(start, ghi, air, strict=True):
        stamp = moment.astype(object)
        out.write(f"{stamp:%m/%d/%Y},{stamp.hour + 1:02d}:00,{g},{a}\n")
    return out.getvalue()


def nsrdb_csv():
    start, ghi, air = invented_year()
    out = io.StringIO()
    out.write("Source,Location ID,Latitude,Longitude,Time Zone,Elevation,Local Time Zone\n")
    out.write(f"invented,1,{LATITUDE},{LONGITUDE},{ZONE},{ALTITUDE},{ZONE}\n")
    out.write("Year,Month,Day,Hour,Minute,GHI,Temperature\n")
    for moment, g, a in zip(start, ghi, air, strict=True):
        stamp = moment.astype(object)
        out.write(f"{stamp.year},{stamp.month},{stamp.day},{stamp.hour},30,{g},{a}\n")
    return out.getvalue()


def pvgis_csv():
    start, ghi, air = invented_year()
    out = io.StringIO()
    out.write(f"Latitude (decimal degrees): {LATITUDE}\nLongitude (decimal degrees): {LONGITUDE}\n")
    out.write(f"Elevation (m): {ALTITUDE}\nmonth,year\n")
    out.write("".join(f"{m},2015\n" for m in range(1, 13)))
    out.write("time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP\n")
    for moment, g, a in zip(start, ghi, air, strict=True):
        out.write(f"{moment.astype(object):%Y%m%d:%H%M},{a},40,{g},0,0,400,2,180,97000\n")
    return out.getvalue()


@pytest.mark.parametrize(
    ("kind", "write"), [("epw", epw), ("tmy3", tmy3), ("nsrdb_csv", nsrdb_csv), ("pvgis_csv", pvgis_csv)]
)
def test_a_weather_file_gives_its_days_and_months(kind, write):
    got = climate.read_weather_file(write().encode(), kind, source="invented station")
    assert (got.latitude_deg, got.longitude_deg, got.altitude_m) == (LATITUDE, LONGITUDE, ALTITUDE)
    assert got.date.size + got.left_out in (365, 366)
    assert got.left_out <= 1
    assert got.climate.label == "file"
    assert got.climate.source == got.climate.air_source == "invented station"
    np.testing.assert_allclose(got.climate.ghi_kwh_m2_day, expected_month(0.5, 0.5), rtol=0.02)
    # Four ninths of the days are dull, one is half and half, four are bright.
    kinds = got.climate.day_ghi_kwh_m2_day[5]
    np.testing.assert_allclose(kinds[:4], expected_month(0, 1), rtol=1e-6)
    np.testing.assert_allclose(kinds[5:], expected_month(1, 0), rtol=1e-6)
    np.testing.assert_allclose(got.climate.air_c, 28, atol=0.1)


def test_days_with_missing_hours_are_left_out_and_counted():
    text = epw().splitlines(keepends=True)
    spoilt = [line for i, line in enumerate(text) if i not in (8 + 24 * 3 + 12, 8 + 24 * 200 + 9)]
    got = climate.read_weather_file("".join(spoilt), "epw")
    assert got.left_out == 2
    assert np.datetime64("2023-01-04") not in got.date


def test_hours_marked_as_missing_spoil_their_day_only():
    text = epw().replace("2023,5,17,12,0,?", "2023,5,17,12,0,?", 1).splitlines(keepends=True)
    row = 8 + 24 * 136 + 12
    cells = text[row].split(",")
    cells[13] = "9999"
    text[row] = ",".join(cells)
    assert climate.read_weather_file("".join(text), "epw").left_out == 1


@pytest.mark.parametrize(
    ("content", "kind", "argument", "said"),
    [
        ("not a weather file at all", "epw", "content", "not readable as epw"),
        ("", "tmy3", "content", "not readable as tmy3"),
        (b"\x00\xff\xfe" * 50, "pvgis_csv", "content", "not readable"),
        ("https://example.org/file.epw", "epw", "content", "not readable"),
        ("x", "parquet", "kind", "one of epw"),
        (12, "epw", "content", "bytes or text"),
    ],
)
def test_a_file_that_is_none_is_refused_with_its_kind(content, kind, argument, said):
    with pytest.raises(Refusal, match=said) as refusal:
        climate.read_weather_file(content, kind)
    assert refusal.value.argument == argument


def test_half_a_year_is_refused_by_month():
    with pytest.raises(Refusal, match="month 7"):
        climate.read_weather_file(epw(hours=24 * 185), "epw")


def test_a_file_in_another_unit_has_no_possible_day():
    with pytest.raises(Refusal, match="month 1"):
        climate.read_weather_file(epw(ghi_scale=1.75), "epw")
