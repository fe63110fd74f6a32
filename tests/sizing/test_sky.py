"""Limits, shapes, refusals and identities of the way from a day's irradiation to the tilted plane."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing import sky, sun
from sizing.checks import Refusal

latitudes = st.floats(-60, 60)
days = st.integers(1, 366)
brightness = st.floats(0.02, 0.8)
tilts = st.floats(0, 60)
azimuths = st.floats(0, 360)


def a_day(latitude, day, clearness):
    return clearness * sun.extraterrestrial_kwh_m2_day(latitude, day)


# --- The compiled pass keeps to the plain functions ---------------------------------------------------------------
@given(latitudes, days, brightness, tilts, azimuths, st.floats(0, 0.6))
def test_the_compiled_hours_are_those_of_the_plain_functions(latitude, day, clear, tilt, azimuth, ground):
    ghi_day = a_day(latitude, day, clear)
    declination = sun.declination_deg(day)
    sunset = sun.sunset_angle_deg(latitude, declination)
    got = sky.hours(latitude, day, ghi_day, tilt, azimuth, ground_reflectance=ground)
    share_all, share_sky = sky.hour_shares(sunset)
    ghi = 1000 * ghi_day * share_all
    dhi = np.minimum(1000 * ghi_day * sky.diffuse_share_day(clear, sunset) * share_sky, ghi)
    np.testing.assert_allclose(got.ghi_w_m2, ghi, atol=1e-6)
    np.testing.assert_allclose(got.dhi_w_m2, dhi, atol=1e-3 * max(ghi.max(), 1))  # clearness rounds at the branches
    middle = 15 * (sky.SOLAR_HOURS - 12)
    whole = np.abs(middle) < sunset - 8  # hours lit from end to end
    cos_z = sun.cos_zenith(latitude, declination, middle[whole])
    cos_i = sun.cos_incidence(latitude, declination, middle[whole], tilt, azimuth)
    extra = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(day)
    plane = sky.on_plane(ghi[whole], got.dhi_w_m2[whole], cos_z, cos_i, tilt, extra, ground_reflectance=ground)
    np.testing.assert_allclose(got.poa_w_m2[whole], plane.total_w_m2, rtol=1e-9, atol=1e-6)


@given(latitudes, days, brightness, tilts, azimuths)
def test_the_glass_takes_a_little_and_never_gives(latitude, day, clear, tilt, azimuth):
    got = sky.hours(latitude, day, a_day(latitude, day, clear), tilt, azimuth)
    assert (got.caught_w_m2 <= got.poa_w_m2 + 1e-9).all()
    assert (got.caught_w_m2 >= 0).all()
    alone = sky.caught_hours(latitude, day, a_day(latitude, day, clear), tilt, azimuth)
    np.testing.assert_allclose(alone, got.caught_w_m2, rtol=1e-12, atol=1e-9)


@given(latitudes, days, brightness)
def test_the_hours_add_up_to_the_day_and_a_level_plane_gets_it_all(latitude, day, clear):
    ghi_day = a_day(latitude, day, clear)
    got = sky.hours(latitude, day, ghi_day, 0, 180)
    assert got.ghi_w_m2.sum() / 1000 == pytest.approx(ghi_day, rel=1e-9)
    # Below one degree of sun the ratio of the planes is held, so a sliver of the first hour may be lost.
    assert got.poa_w_m2.sum() / 1000 == pytest.approx(ghi_day, rel=2e-3)
    assert (got.dhi_w_m2 <= got.ghi_w_m2 + 1e-9).all()


@given(latitudes, days, brightness, tilts)
def test_east_in_the_morning_is_west_in_the_afternoon(latitude, day, clear, tilt):
    east = sky.hours(latitude, day, a_day(latitude, day, clear), tilt, 90).poa_w_m2
    west = sky.hours(latitude, day, a_day(latitude, day, clear), tilt, 270).poa_w_m2
    np.testing.assert_allclose(east, west[::-1], rtol=1e-9, atol=1e-6)


@given(latitudes, days, tilts, azimuths, st.lists(brightness, min_size=2, max_size=2))
def test_a_brighter_day_is_brighter_on_level_ground_in_every_hour(latitude, day, tilt, azimuth, two):
    dull, bright = (sky.hours(latitude, day, a_day(latitude, day, k), tilt, azimuth) for k in sorted(two))
    assert (bright.ghi_w_m2 >= dull.ghi_w_m2 - 1e-9).all()


def test_no_sun_no_irradiance():
    for part in sky.hours(15, 100, 0.0, 15, 180):
        assert (part == 0).all()
    for part in sky.hours(85, 355, 0.0, 15, 180):  # polar night
        assert (part == 0).all()


def test_polar_day_has_sun_in_every_hour():
    got = sky.hours(80, 172, 6.0, 30, 180)
    assert (got.ghi_w_m2 > 0).all()
    assert got.ghi_w_m2.sum() / 1000 == pytest.approx(6.0)


# --- Shapes --------------------------------------------------------------------------------------------------------
def test_units_by_months_by_kinds_of_day_by_hours_in_one_call():
    latitude = np.array([-20.0, 5.0, 30.0])[:, None, None]
    azimuth = np.array([0.0, 180.0, 200.0])[:, None, None]
    month = sun.AVERAGE_DAYS[:, None]
    ghi = a_day(latitude, month, np.linspace(0.2, 0.75, 9))
    got = sky.hours(latitude, month, ghi, 15, azimuth)
    assert got.poa_w_m2.shape == (3, 12, 9, 24)
    alone = sky.hours(30.0, 344, ghi[2, 11, 4], 15, 200.0)
    for together, single in zip(got, alone, strict=True):
        np.testing.assert_allclose(together[2, 11, 4], single, rtol=1e-12)


def test_one_bad_unit_comes_back_missing_and_spoils_nothing():
    good = sky.hours([10.0, 20.0], 100, [5.0, 6.0], 15, 180)
    got = sky.hours([10.0, 95.0, np.nan, 20.0, 20.0], 100, [5.0, 5.0, 5.0, np.nan, 6.0], 15, 180)
    assert list(np.isnan(got.poa_w_m2).all(axis=1)) == [False, True, True, True, False]
    np.testing.assert_array_equal(got.poa_w_m2[[0, 4]], good.poa_w_m2)


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        ({"latitude_deg": 95}, "latitude_deg"),
        ({"tilt_deg": 200}, "tilt_deg"),
        ({"tilt_deg": -1}, "tilt_deg"),
        ({"day_of_year": 400}, "day_of_year"),
        ({"ghi_kwh_m2_day": -0.1}, "ghi_kwh_m2_day"),
        ({"ghi_kwh_m2_day": 5500}, "ghi_kwh_m2_day"),  # Wh given for kWh
        ({"azimuth_deg": np.inf}, "azimuth_deg"),
        ({"ground_reflectance": 20}, "ground_reflectance"),  # percent given for a share
        ({"ghi_kwh_m2_day": "much"}, "ghi_kwh_m2_day"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, argument):
    good = {"latitude_deg": 10, "day_of_year": 100, "ghi_kwh_m2_day": 5, "tilt_deg": 15, "azimuth_deg": 180}
    assert np.isfinite(sky.hours(**good).poa_w_m2).all()
    with pytest.raises(Refusal) as refusal:
        sky.hours(**good | change)
    assert refusal.value.argument == argument


# --- Skyline and shade -------------------------------------------------------------------------------------------
def test_no_hills_hide_nothing():
    flat = sky.ring([])
    assert sky.sky_share(flat) == 1
    assert (sky.open_hours(flat, 10.0, 100) == 1).all()


def test_a_ridge_in_the_east_takes_the_morning_only():
    ridge = sky.ring([(45, 0), (50, 40), (130, 40), (135, 0)])
    left = sky.open_hours(ridge, 10.0, 80)
    assert (left[6:8] == 0).all()  # the sun climbs 15 degrees an hour near the equator, 40 take until after half past 8
    assert 0 < left[8] < 1
    assert (left[9:] == 1).all()
    open_day, shaded = (
        sky.hours(10, 80, 6.0, 10, 180, beam_open=b, sky_share=s)
        for b, s in ((None, 1.0), (left, sky.sky_share(ridge)))
    )
    lost = 1 - shaded.poa_w_m2 / np.maximum(open_day.poa_w_m2, 1)
    assert lost[7] > 0.3
    assert 0 <= lost[12] < 0.1
    np.testing.assert_array_equal(shaded.ghi_w_m2, open_day.ghi_w_m2)  # the open ground elsewhere keeps its sun


def test_a_ring_of_hills_leaves_the_cosine_squared_of_the_sky():
    assert sky.sky_share(sky.ring([(0, 30)])) == pytest.approx(0.75)
    assert sky.sky_share(np.zeros((4, 72))).shape == (4,)


def test_a_skyline_goes_around_through_north():
    hill = sky.ring([(350, 20), (10, 20), (30, 0), (330, 0)])
    assert hill[0] == 20
    assert hill[72 // 2] == 0
    seen = sky.beam_open(hill, np.array([358.0, 2.0, 180.0, np.nan]), np.array([15.0, 25.0, 1.0, 10.0]))
    np.testing.assert_array_equal(seen, [0, 1, 1, np.nan])


def test_each_unit_has_its_own_skyline():
    rings = np.stack([sky.ring([]), sky.ring([(90, 80), (89, 80), (60, 0), (120, 0)])])[:, None, :]
    left = sky.open_hours(rings, np.array([[5.0], [5.0]]), sun.AVERAGE_DAYS)
    assert left.shape == (2, 12, 24)
    assert (left[0] == 1).all()
    assert left[1, 2, 8] == 0
    got = sky.hours(np.array([[5.0], [5.0]]), sun.AVERAGE_DAYS, 5.5, 10, 0, beam_open=left)
    assert (got.poa_w_m2[1] <= got.poa_w_m2[0] + 1e-9).all()


@pytest.mark.parametrize(
    ("pairs", "argument"),
    [
        ([(400, 10)], "skyline_bearing_deg"),
        ([(40, 95)], "skyline_height_deg"),
        ([(40, -5)], "skyline_height_deg"),
        ([(40, 5), (40, 6)], "skyline_bearing_deg"),
        ([(40, np.nan)], "skyline_deg"),
        ([40, 5], "skyline_deg"),
    ],
)
def test_a_skyline_that_cannot_be_is_refused(pairs, argument):
    with pytest.raises(Refusal) as refusal:
        sky.ring(pairs)
    assert refusal.value.argument == argument


def test_windows_of_shade_by_the_hour():
    left = sky.shade_windows([(7.5, 9, 0.8), (8, 9, 0.5)])
    np.testing.assert_allclose(left[[6, 7, 8, 9]], [1, 0.6, 0.1, 1])
    with pytest.raises(Refusal, match="later than shade_from_h"):
        sky.shade_windows([(9, 8, 0.5)])
    with pytest.raises(Refusal, match="shade_share_lost"):
        sky.shade_windows([(8, 9, 50)])


# --- Clear sky -----------------------------------------------------------------------------------------------------
def test_a_clear_noon_on_dry_ground_is_about_a_thousand_watts():
    got = sky.clear_sky("2026-03-20T10:15", 13.5, 22.0, altitude_m=300)
    assert 850 < got.ghi_w_m2 < 1100  # common practice: around 1000 W/m2 with the sun near overhead
    cos_zenith = np.cos(np.radians(sun.position("2026-03-20T10:15", 13.5, 22.0).zenith_deg))
    assert got.dhi_w_m2 + got.dni_w_m2 * cos_zenith == pytest.approx(got.ghi_w_m2, rel=0.01)


def test_clear_sky_for_many_places_and_moments_at_once():
    moments = np.datetime64("2026-03-20T00:15") + np.arange(24) * np.timedelta64(1, "h")
    got = sky.clear_sky(moments, np.array([[13.5], [-95.0], [-22.5]]), np.array([[2.1], [0.0], [17.1]]))
    assert got.ghi_w_m2.shape == (3, 24)
    assert np.isnan(got.ghi_w_m2[1]).all()
    assert (got.ghi_w_m2[0] >= 0).all()
    assert got.ghi_w_m2[0, 0] == 0  # night
    alone = sky.clear_sky(moments[12], -22.5, 17.1)
    assert alone.ghi_w_m2 == pytest.approx(got.ghi_w_m2[2, 12], rel=1e-9)


def test_more_haze_less_beam():
    clean, dusty = sky.ineichen(30, np.array([2.5, 6.0]), 300).dni_w_m2
    assert clean > dusty > 0
    assert sky.linke_turbidity(13.5, 2.1).shape == (12,)
    with pytest.raises(Refusal, match="linke_turbidity"):
        sky.ineichen(30, 20, 300)
