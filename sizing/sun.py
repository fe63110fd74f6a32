"""Where the sun stands, and what it sends to the top of the air.

Two grades. For the day's energy, the almanac's short form (no library to load, 0.2 degrees in declination); for clock
times and bearings that somebody will stand in the sun for, the NREL algorithm through pvlib (0.0003 degrees).
Bearings are clockwise from true north, hour angles positive after noon, times UTC as numpy datetime64 without zone.
"""

from datetime import UTC
from typing import NamedTuple

import numpy as np

from sizing.checks import Refusal, within

__all__ = [
    "AVERAGE_DAYS",
    "SOLAR_CONSTANT_W_M2",
    "DayTimes",
    "Position",
    "air_pressure_hpa",
    "cos_incidence",
    "cos_zenith",
    "day_times",
    "day_of_year",
    "daylight_hours",
    "declination_deg",
    "distance_factor",
    "equation_of_time_min",
    "extraterrestrial_kwh_m2_day",
    "level_irradiation_kwh_m2_day",
    "position",
    "solar_time_h",
    "sunset_angle_deg",
    "utc_moments",
]

# The value with which the diffuse correlations used here were built; today's best is 1361 (0.4 % less, within their
# scatter). Source: Duffie & Beckman, Solar Engineering of Thermal Processes, sec. 1.2.
SOLAR_CONSTANT_W_M2 = 1367.0

# Day of the year whose sun stands for its month, January to December. Source: Klein 1977, Solar Energy 19:325.
AVERAGE_DAYS = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])

_OBLIQUITY = np.radians(23.438)  # of the ecliptic, 2026
_NOON_OF_DAY_ZERO = 9495.88  # days since noon of 1 January 2000, mean of 2025..2028 (26 tropical years less 0.42)

# Earth's rotation against the clocks, s. IERS: 69 s through the 2020s; one second moves the sun by 1e-5 degrees.
_DELTA_T_S = 69.0
_YEAR_2000, _YEAR_2100 = np.datetime64("2000-01-01"), np.datetime64("2100-01-01")
_CHUNK = 50_000  # moments at once through the NREL algorithm, which keeps about 60 intermediate numbers for each


class Position(NamedTuple):
    """zenith_deg without refraction, apparent_zenith_deg with it, azimuth_deg clockwise from true north."""

    zenith_deg: np.ndarray
    apparent_zenith_deg: np.ndarray
    azimuth_deg: np.ndarray


class DayTimes(NamedTuple):
    """UTC moments, datetime64[ms]; sunrise and sunset are NaT where the sun does not rise or set."""

    sunrise_utc: np.ndarray
    noon_utc: np.ndarray
    sunset_utc: np.ndarray


class _Orbit(NamedTuple):
    """mean_longitude and ecliptic_longitude of the sun, radians; mean_anomaly of the earth, radians."""

    mean_longitude: np.ndarray
    ecliptic_longitude: np.ndarray
    mean_anomaly: np.ndarray


def _orbit(day_of_year):
    """The orbit at noon of a day whose year is not named: the mean of the leap years' cycle 2025..2028.

    Source: the low-precision sun of the Astronomical Almanac, section C (from memory, not looked up; checked against
    the NREL algorithm in the tests). Not naming the year costs up to 0.4 days, 0.15 degrees at the equinoxes.
    """
    since_2000 = within(day_of_year, 1, 366, "day_of_year") + _NOON_OF_DAY_ZERO
    anomaly = np.radians((357.528 + 0.9856003 * since_2000) % 360)
    mean = np.radians((280.460 + 0.9856474 * since_2000) % 360)
    return _Orbit(mean, mean + np.radians(1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly)), anomaly)


def declination_deg(day_of_year):
    """Latitude over which the sun stands at noon, degrees; within 0.2 of the almanac in any year. Shapes kept."""
    return np.degrees(np.arcsin(np.sin(_OBLIQUITY) * np.sin(_orbit(day_of_year).ecliptic_longitude)))


def distance_factor(day_of_year):
    """(Mean distance / distance to the sun) squared, 0.967..1.034, within 0.0005. Shapes kept."""
    anomaly = _orbit(day_of_year).mean_anomaly
    return (1.00014 - 0.01671 * np.cos(anomaly) - 0.00014 * np.cos(2 * anomaly)) ** -2


def equation_of_time_min(day_of_year):
    """Sundial minus even clock, minutes; within 0.3 in any year. Shapes kept."""
    orbit = _orbit(day_of_year)
    along_equator = np.arctan2(np.cos(_OBLIQUITY) * np.sin(orbit.ecliptic_longitude), np.cos(orbit.ecliptic_longitude))
    ahead = (orbit.mean_longitude - along_equator + np.pi) % (2 * np.pi) - np.pi
    return np.degrees(ahead) * 4


def solar_time_h(clock_h, longitude_deg, zone_meridian_deg, equation_min):
    """Sundial hour from a clock hour; shapes broadcast; not wrapped at midnight. The four minutes a degree law."""
    longitude = within(longitude_deg, -180, 360, "longitude_deg")
    return clock_h + (4 * (longitude - zone_meridian_deg) + equation_min) / 60


def sunset_angle_deg(latitude_deg, declination_deg):
    """Hour angle of sunset on level ground, degrees: 0 in polar night, 180 in polar day. Shapes broadcast."""
    lat = np.radians(within(latitude_deg, -90, 90, "latitude_deg"))
    dec = np.radians(within(declination_deg, -24, 24, "declination_deg"))
    # At the poles the tangent is huge and finite, so the clip gives the right half year.
    return np.degrees(np.arccos(np.clip(-np.tan(lat) * np.tan(dec), -1, 1)))


def daylight_hours(latitude_deg, declination_deg):
    """Hours from sunrise to sunset by geometry alone. Shapes broadcast. Source: FAO-56, equation 34."""
    return sunset_angle_deg(latitude_deg, declination_deg) * 2 / 15


def level_irradiation_kwh_m2_day(
    latitude_deg, declination_deg, distance_factor, solar_constant_w_m2=SOLAR_CONSTANT_W_M2
):
    """Sun's energy on a level square metre above the air, kWh/m2 a day, for a given declination and distance.

    Shapes broadcast. Polar night gives 0. Source: Duffie & Beckman, sec. 1.10; FAO-56, equation 21.
    """
    lat = np.radians(within(latitude_deg, -90, 90, "latitude_deg"))
    dec = np.radians(declination_deg)
    ws = np.radians(sunset_angle_deg(latitude_deg, declination_deg))
    level = np.cos(lat) * np.cos(dec) * np.sin(ws) + ws * np.sin(lat) * np.sin(dec)
    return np.maximum(0.024 / np.pi * solar_constant_w_m2 * distance_factor * level, 0.0)


def extraterrestrial_kwh_m2_day(latitude_deg, day_of_year):
    """Sun's energy on a level square metre above the air, kWh/m2 a day.

    Shapes: arguments broadcast; latitudes (n, 1) and days (12,) give (n, 12). NaN gives NaN; polar night gives 0.
    Refuses: latitude beyond the poles, a day outside 1..366.
    """
    return level_irradiation_kwh_m2_day(latitude_deg, declination_deg(day_of_year), distance_factor(day_of_year))


def cos_zenith(latitude_deg, declination_deg, hour_angle_deg):
    """Cosine of the angle between sun and zenith; below 0 at night. Shapes broadcast."""
    lat = np.radians(within(latitude_deg, -90, 90, "latitude_deg"))
    dec, hour = np.radians(declination_deg), np.radians(hour_angle_deg)
    return np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour)


def cos_incidence(latitude_deg, declination_deg, hour_angle_deg, tilt_deg, azimuth_deg):
    """Cosine of the angle between sun and the plane's normal; below 0 with the sun behind it. Shapes broadcast.

    Source: the scalar product of two directions, as Duffie & Beckman, equation 1.6.2.
    """
    lat = np.radians(within(latitude_deg, -90, 90, "latitude_deg"))
    tilt = np.radians(within(tilt_deg, 0, 180, "tilt_deg"))
    azimuth = np.radians(within(azimuth_deg, -720, 720, "azimuth_deg"))
    dec, hour = np.radians(declination_deg), np.radians(hour_angle_deg)
    east = -np.cos(dec) * np.sin(hour)
    north = np.sin(dec) * np.cos(lat) - np.cos(dec) * np.sin(lat) * np.cos(hour)
    up = np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour)
    return east * np.sin(tilt) * np.sin(azimuth) + north * np.sin(tilt) * np.cos(azimuth) + up * np.cos(tilt)


def air_pressure_hpa(altitude_m):
    """Usual air pressure at an altitude, hPa, air at 20 C at sea level. Shapes kept. Source: FAO-56, equation 7."""
    return 1013 * ((293 - 0.0065 * within(altitude_m, -500, 9000, "altitude_m")) / 293) ** 5.26


def day_of_year(date):
    """1..366 from dates (anything numpy reads as datetime64). Shapes kept."""
    day = _dates(date)
    return (day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1


def position(when_utc, latitude_deg, longitude_deg, *, altitude_m=0.0, pressure_hpa=None, air_c=12.0):
    """Sun's place in the sky at UTC moments (datetime64, or datetimes in UTC).

    Shapes broadcast: moments (24,) and places (n, 1) give (n, 24). NaT or NaN gives NaN.
    pressure_hpa bends the apparent zenith; without it the usual pressure at that altitude. Years 2000..2100.
    Source: Reda & Andreas, NREL/TP-560-34302, through pvlib; 0.0003 degrees.
    Raises: Refusal for moments outside those years and for a single place off the globe.
    """
    from pvlib import spa  # slow to import; only who asks for the sun's place pays

    lat = within(latitude_deg, -90, 90, "latitude_deg")
    lon = within(longitude_deg, -180, 360, "longitude_deg")
    altitude = within(altitude_m, -500, 9000, "altitude_m")
    if pressure_hpa is None:
        pressure_hpa = air_pressure_hpa(altitude)
    when = utc_moments(when_utc)
    seconds = np.where(np.isnat(when), np.nan, when.astype(np.int64) / 1e6)
    *parts, air = np.broadcast_arrays(seconds, lat, lon, altitude, pressure_hpa, air_c)
    shape = air.shape
    flat = [np.ravel(p).astype(np.float64) for p in (*parts, air)]
    out = np.empty((3, flat[0].size))
    for start in range(0, flat[0].size, _CHUNK):
        at = slice(start, start + _CHUNK)
        time, la, lo, al, pr, ac = (f[at] for f in flat)
        with np.errstate(invalid="ignore"):  # a NaN moment runs through its integer steps
            apparent, zenith, _, _, azimuth, _ = spa.solar_position_numpy(
                time, la, lo, al, pr, ac, _DELTA_T_S, 0.5667, 1
            )
        out[:, at] = zenith, apparent, azimuth
    return Position(*out.reshape((3, *shape)))


def day_times(date, latitude_deg, longitude_deg):
    """Sunrise, solar noon and sunset of the local calendar day, as UTC moments (datetime64[ms]).

    `date` is the day at the place itself; far east or west its noon may carry another date in UTC.
    Sunrise and sunset: upper edge of the sun on a level horizon, mean refraction (-0.8333 degrees).
    Shapes broadcast. NaT where the sun does not rise or set that day, or where a place is not known.
    Source: Reda & Andreas, NREL/TP-560-34302, appendix A.2, through pvlib; 1 s.
    """
    from pvlib import spa

    lat = within(latitude_deg, -90, 90, "latitude_deg")
    lon = within(longitude_deg, -180, 360, "longitude_deg")
    lon = np.where(lon > 180, lon - 360, lon)
    days = _dates(date).astype("datetime64[s]").astype(np.int64)
    days, lat, lon = np.broadcast_arrays(days, lat, lon)
    shape = days.shape
    days, lat, lon = days.ravel(), lat.ravel(), lon.ravel()
    unknown = np.isnan(lat) | np.isnan(lon)
    lat, lon = np.where(unknown, 0.0, lat), np.where(unknown, 0.0, lon)
    mean_noon = days + 43200 - lon * 240
    best = np.full((3, days.size), np.nan)
    for shift in (-86400, 0, 86400):  # the noon that belongs to this date may be counted with a UTC day beside it
        with np.errstate(invalid="ignore", divide="ignore"):
            noon, rise, down = spa.transit_sunrise_sunset((days + shift).astype(np.float64), lat, lon, _DELTA_T_S, 1)
        ours = np.abs(noon - mean_noon) < 43200
        best = np.where(ours, [rise, noon, down], best)
    best[:, unknown] = np.nan
    missing = np.isnan(best)
    moments = np.round(np.where(missing, 0, best) * 1000).astype(np.int64).astype("datetime64[ms]")
    moments[missing] = np.datetime64("NaT")
    rise, noon, down = moments.reshape((3, *shape))
    return DayTimes(rise, noon, down)


def _dates(date):
    try:
        return np.asarray(date, dtype="datetime64[D]")
    except (TypeError, ValueError):
        raise Refusal("date", date, because="a calendar day such as 2026-03-21 is needed") from None


def utc_moments(when_utc):
    """Moments as datetime64[us] in UTC. datetimes with a zone are brought to UTC; without one they are taken as UTC.

    Refuses what is no moment, and years outside 2000..2099.
    """
    when = np.asarray(when_utc)
    try:
        if when.dtype == object:
            when = np.array([_plain(m) for m in when.ravel()], dtype="datetime64[us]").reshape(when.shape)
        when = when.astype("datetime64[us]")
    except (TypeError, ValueError):
        raise Refusal("when_utc", when_utc, because="moments such as 2026-03-21T10:00 in UTC are needed") from None
    if np.any(~np.isnat(when) & ((when < _YEAR_2000) | (when >= _YEAR_2100))):
        raise Refusal("when_utc", when_utc, because="a moment in the years 2000 to 2099 is needed")
    return when


def _plain(moment):
    if getattr(moment, "tzinfo", None) is not None:
        return moment.astimezone(UTC).replace(tzinfo=None)
    return moment
