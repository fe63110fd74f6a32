"""Solar noon by the clock, true and compass bearings, the sun's bearing now and as a table to take along."""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from sizing import sun
from sizing.checks import Refusal, within

__all__ = [
    "ClockRule",
    "Facing",
    "Noon",
    "Shadow",
    "SunNow",
    "SunTable",
    "clock_rule",
    "clock_rule_by_month",
    "compass_bearing_deg",
    "facing",
    "magnetic_declination_deg",
    "shadow",
    "solar_noon",
    "sun_now",
    "table_for_day",
    "table_for_days",
]

MODEL_YEARS = (2025.0, 2030.0)  # World Magnetic Model 2025; the next one is due in December 2029
# One sigma of the field's direction against the model, from local rock: about 0.4 degrees at these latitudes; a phone's
# compass beside a steel pole is far worse. Source: WMM2025 error model as shipped with the model (from memory).
DECLINATION_BAND_DEG = 0.4
# Common practice, no source: tilt as the latitude, never flatter than 10 degrees, so that rain washes the glass.
FLATTEST_DEG = 10.0
_TOO_STEEP_TO_SHOW = 10.0  # with the sun this near to overhead a shadow is too short to tell a direction


class Noon(NamedTuple):
    """The sun's highest moment: clock time with zone, UTC, offset of the zone that day, and whether summer time."""

    at: datetime
    at_utc: datetime
    utc_offset: timedelta
    summer_time: bool
    height_deg: float
    bearing_deg: float  # of the sun then: 0 or 180


class Facing(NamedTuple):
    """Where the array should look: bearing_deg true, compass_deg magnetic, usual tilt_deg.

    either_way: within the tropics' middle (5 degrees) a flat array gains hardly anything from looking either way.
    """

    bearing_deg: float
    compass_deg: float
    declination_deg: float
    declination_band_deg: float
    tilt_deg: float
    either_way: bool


class SunNow(NamedTuple):
    """bearing_deg true, compass_deg magnetic, height_deg above the horizon (below 0 at night)."""

    bearing_deg: float
    compass_deg: float
    height_deg: float


class SunTable(NamedTuple):
    """Rows in time order; at has the site's zone; arrays of one length. Only moments with the sun up."""

    at: list
    bearing_deg: np.ndarray
    compass_deg: np.ndarray
    height_deg: np.ndarray


class Shadow(NamedTuple):
    """A straight stick at solar noon: where its shadow points (true), its length per metre of stick.

    minutes_per_deg: how long the shadow takes for one degree around noon: being that late costs a degree.
    usable: False with the sun within 10 degrees of overhead; then use `pairs`: clock times (before, after) at which the
    shadow is equally long; halfway between its two directions lies the meridian.
    """

    at: datetime
    bearing_deg: float
    length_per_m: float
    minutes_per_deg: float
    usable: bool
    pairs: list


class ClockRule(NamedTuple):
    """What "face the sun at twelve by the clock, at one in summer time" does on a day.

    at: that moment; sun_bearing_deg where the array ends up looking; height_deg of the sun; error_deg against `facing`,
    -180..180, clockwise positive; minutes_off: that moment minus solar noon.
    """

    at: datetime
    sun_bearing_deg: float
    height_deg: float
    error_deg: float
    minutes_off: float


def solar_noon(day, latitude_deg, longitude_deg, zone):
    """Clock time of solar noon on a calendar day at a place, also under summer time (Noon). zone: IANA name."""
    day, zone = _day(day), _zone(zone)
    moment = _aware(sun.day_times(day, latitude_deg, longitude_deg).noon_utc)
    ahead = moment.astimezone(zone).date() - day  # islands whose calendar is a day before or behind their longitude's
    if ahead:
        moment = _aware(sun.day_times(day - ahead, latitude_deg, longitude_deg).noon_utc)
    stands = sun.position(moment, latitude_deg, longitude_deg)
    local = moment.astimezone(zone)
    return Noon(
        local,
        moment,
        local.utcoffset(),
        bool(local.dst()),
        90 - float(stands.zenith_deg),
        0.0 if np.cos(np.radians(stands.azimuth_deg)) > 0 else 180.0,
    )


def magnetic_declination_deg(latitude_deg, longitude_deg, altitude_m, decimal_year):
    """Where a compass points against true north, degrees, east positive. Shapes broadcast; NaN gives NaN.

    Source: World Magnetic Model 2025 (NOAA NCEI and British Geological Survey) through pygeomag; holds 2025.0 to
    2030.0. Refuses years outside. Some 80 microseconds a place.
    """
    lat = within(latitude_deg, -90, 90, "latitude_deg")
    lon = within(longitude_deg, -180, 360, "longitude_deg")
    altitude = within(altitude_m, -1000, 850000, "altitude_m")
    year = within(decimal_year, *MODEL_YEARS, "decimal_year")
    columns = np.broadcast_arrays(lat, lon, altitude, year)
    out = np.full(columns[0].shape, np.nan)
    model = _model()
    for place in np.ndindex(out.shape):
        a, b, c, d = (float(column[place]) for column in columns)
        if np.isfinite(a + b + c + d):
            out[place] = model.calculate(glat=a, glon=b, alt=c / 1000, time=d).d
    return out


def compass_bearing_deg(bearing_deg, declination_deg):
    """What a compass reads along a true bearing, 0..360. Shapes broadcast."""
    return np.mod(np.asarray(bearing_deg) - declination_deg, 360)


def facing(day, latitude_deg, longitude_deg, *, altitude_m=0.0):
    """Bearing towards the equator, true and by compass on that day, and the usual tilt (Facing)."""
    day = _day(day)
    latitude = float(within(latitude_deg, -90, 90, "latitude_deg"))
    bearing = 180.0 if latitude >= 0 else 0.0
    off = float(magnetic_declination_deg(latitude, longitude_deg, altitude_m, _decimal_year(day)))
    return Facing(
        bearing,
        float(compass_bearing_deg(bearing, off)),
        off,
        DECLINATION_BAND_DEG,
        max(FLATTEST_DEG, float(round(abs(latitude)))),
        abs(latitude) < 5,
    )


def sun_now(when_utc, latitude_deg, longitude_deg, *, altitude_m=0.0):
    """The sun's bearing at a UTC moment, for turning a frame by the sun itself (SunNow)."""
    moment = _aware(np.asarray(sun.utc_moments(when_utc))[()])
    table = _positions([moment], latitude_deg, longitude_deg, altitude_m)
    return SunNow(*(float(column[0]) for column in table[1:]))


def table_for_day(day, latitude_deg, longitude_deg, zone, *, altitude_m=0.0, every_min=30):
    """The sun's bearings at full clock steps of one day (SunTable), to keep on a phone without signal."""
    return table_for_days(day, 1, latitude_deg, longitude_deg, zone, altitude_m=altitude_m, every_min=every_min)


def table_for_days(day, days, latitude_deg, longitude_deg, zone, *, altitude_m=0.0, every_min=60):
    """As `table_for_day` for that many days from `day` on: a fortnight of hours is some 170 rows."""
    day, zone = _day(day), _zone(zone)
    count, step = int(within(days, 1, 62, "days")), int(within(every_min, 5, 240, "every_min"))
    moments = []
    for shift in range(count):
        # Steps of the wall clock; walked in UTC, so that a change of summer time neither doubles nor skips one.
        start = datetime.combine(day + timedelta(days=shift), time(), zone).astimezone(UTC)
        end = datetime.combine(day + timedelta(days=shift + 1), time(), zone).astimezone(UTC)
        moments += [start + timedelta(minutes=m) for m in range(0, int((end - start).total_seconds() // 60), step)]
    at, bearing, compass, height = _positions(moments, latitude_deg, longitude_deg, altitude_m)
    up = height > 0
    return SunTable(
        [moment.astimezone(zone) for moment, seen in zip(at, up, strict=True) if seen],
        bearing[up],
        compass[up],
        height[up],
    )


def shadow(day, latitude_deg, longitude_deg, zone):
    """Numbers for finding true north-south with a stick on that day (Shadow)."""
    noon = solar_noon(day, latitude_deg, longitude_deg, zone)
    around = [noon.at_utc + timedelta(minutes=m) for m in (-1, 1)]
    stands = sun.position(around, latitude_deg, longitude_deg)
    turned = abs((float(np.diff(stands.azimuth_deg)[0]) + 180) % 360 - 180)
    overhead = 90 - noon.height_deg
    zone = _zone(zone)
    pairs = [
        tuple((noon.at_utc + timedelta(minutes=side * apart)).astimezone(zone) for side in (-1, 1))
        for apart in (60, 90, 120)
    ]
    return Shadow(
        noon.at,
        (noon.bearing_deg + 180) % 360,
        float(np.tan(np.radians(overhead))) if overhead < 90 else float("inf"),
        2 / turned if turned > 0 else float("inf"),
        overhead >= _TOO_STEEP_TO_SHOW,
        pairs,
    )


def clock_rule(day, latitude_deg, longitude_deg, zone):
    """Where "face the sun at twelve by the clock, at one in summer time" makes the array look that day (ClockRule)."""
    day = _day(day)
    noon = solar_noon(day, latitude_deg, longitude_deg, zone)
    at = datetime.combine(day, time(13 if noon.summer_time else 12), noon.at.tzinfo)
    stands = sun.position(at.astimezone(UTC), latitude_deg, longitude_deg)
    wanted = 180.0 if float(latitude_deg) >= 0 else 0.0
    error = (float(stands.azimuth_deg) - wanted + 180) % 360 - 180
    minutes = (at - noon.at).total_seconds() / 60
    return ClockRule(at, float(stands.azimuth_deg), 90 - float(stands.zenith_deg), error, minutes)


def clock_rule_by_month(year, latitude_deg, longitude_deg, zone):
    """`clock_rule` on the 15th of each month of a year: twelve ClockRule. An array set that day stays so."""
    year = int(within(year, 2000, 2099, "year"))
    return [clock_rule(date(year, month, 15), latitude_deg, longitude_deg, zone) for month in range(1, 13)]


def _positions(moments, latitude, longitude, altitude):
    stands = sun.position(moments, latitude, longitude, altitude_m=altitude)
    declination = magnetic_declination_deg(latitude, longitude, altitude, _decimal_year(moments[0].date()))
    return moments, stands.azimuth_deg, compass_bearing_deg(stands.azimuth_deg, declination), 90 - stands.zenith_deg


@lru_cache(maxsize=1)
def _model():
    from pygeomag import GeoMag

    return GeoMag(coefficients_file="wmm/WMM_2025.COF")


def _decimal_year(day):
    start = date(day.year, 1, 1)
    return day.year + (day - start).days / ((date(day.year + 1, 1, 1) - start).days)


def _aware(moment):
    return moment.astype("datetime64[us]").astype(object).replace(tzinfo=UTC)


def _day(day):
    try:
        return np.datetime64(day, "D").astype(object)
    except (TypeError, ValueError):
        raise Refusal("day", day, because="a calendar day such as 2026-03-21 is needed") from None


def _zone(name):
    if isinstance(name, ZoneInfo):
        return name
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, TypeError, OSError):
        raise Refusal("zone", name, because="an IANA zone such as Africa/Nairobi is needed") from None
