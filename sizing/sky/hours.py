"""A day's horizontal irradiation as 24 solar hours on a tilted array: the whole sky chain in one compiled pass.

The same steps as `split` and `plane`, which the tests hold it to; compiled because a fleet's baseline asks for 12
months x 9 kinds of day x 24 hours a unit. Geometry is worked out once for all days in a row that share it.
"""

from functools import lru_cache
from math import pi
from typing import NamedTuple

import numpy as np
from numba import njit

from sizing import sun
from sizing.checks import within
from sizing.sky.plane import LOW_SUN_COS, ground_incidence_deg, incidence_factor, sky_incidence_deg

__all__ = ["SOLAR_HOURS", "Hours", "caught_hours", "hours"]

SOLAR_HOURS = np.arange(24) + 0.5  # sundial time of the middle of each hour

_KNOTS = 1024  # of the glass factor over the cosine of incidence; straight lines between them are within 1e-4
_EDGE = np.radians(np.arange(-180, 181, 15.0))  # hour angles of the full hours, and halfway between them
_EDGE_SIN, _EDGE_COS = np.sin(_EDGE), np.cos(_EDGE)
_HALF_SIN, _HALF_COS = np.sin(_EDGE[:-1] + pi / 24), np.cos(_EDGE[:-1] + pi / 24)


class Hours(NamedTuple):
    """Mean over each solar hour, (..., 24), W/m2.

    ghi, dhi: global and diffuse on level open ground. poa: on the array's plane, as a clean sensor there reads it.
    caught: what of poa goes through the glass, as light from straight ahead would; this drives the cells.
    """

    ghi_w_m2: np.ndarray
    dhi_w_m2: np.ndarray
    poa_w_m2: np.ndarray
    caught_w_m2: np.ndarray


def hours(
    latitude_deg,
    day_of_year,
    ghi_kwh_m2_day,
    tilt_deg,
    azimuth_deg,
    *,
    ground_reflectance=0.2,
    sky_share=1.0,
    beam_open=None,
):
    """Hour by hour irradiance of days whose horizontal irradiation is known.

    Days, not months: a month's mean day put through as if it were a real one comes out far too hazy, and its tilted
    plane up to a fifth too low in a bright winter. Put the kinds of day through and average what comes out.

    Shapes: all arguments broadcast and the 24 solar hours come last. Units (n, 1, 1), days (12, 1), irradiation
    (n, 12, 9) give (n, 12, 9, 24). beam_open, if given, has the 24 hours as its own last axis: share of the direct
    light left by skyline and shade (`open_hours`, `shade_windows`); sky_share see there.
    The day's ghi adds up to its irradiation. NaN gives NaN hours. Solar, not clock, hours.
    Refuses (or returns NaN among many): latitude beyond the poles, tilt beyond 90, irradiation below 0 or above 15.
    Sources: Collares-Pereira & Rabl normalised, Liu & Jordan, Erbs daily, Hay & Davies, De Soto glass.
    """
    place = (latitude_deg, day_of_year, tilt_deg, azimuth_deg, ground_reflectance, sky_share, beam_open)
    return Hours(*_pass(ghi_kwh_m2_day, place, 4))


def caught_hours(
    latitude_deg,
    day_of_year,
    ghi_kwh_m2_day,
    tilt_deg,
    azimuth_deg,
    *,
    ground_reflectance=0.2,
    sky_share=1.0,
    beam_open=None,
):
    """Only `caught_w_m2` of `hours`, (..., 24): a third less writing where nothing else is wanted."""
    place = (latitude_deg, day_of_year, tilt_deg, azimuth_deg, ground_reflectance, sky_share, beam_open)
    return _pass(ghi_kwh_m2_day, place, 1)[0]


def _pass(ghi, place, kinds):
    latitude, day, tilt, azimuth, ground, sky, beam_open = place
    latitude = within(latitude, -90, 90, "latitude_deg")
    tilt = within(tilt, 0, 90, "tilt_deg")
    azimuth = within(azimuth, -720, 720, "azimuth_deg")
    ground = within(ground, 0, 1, "ground_reflectance")
    sky = within(sky, 0, 1, "sky_share")
    ghi = within(ghi, 0, 15, "ghi_kwh_m2_day")
    declination = sun.declination_deg(day)
    extra = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(day)
    through_sky = _factor(np.cos(np.radians(sky_incidence_deg(tilt))))
    through_ground = _factor(np.cos(np.radians(ground_incidence_deg(tilt))))
    lead = () if beam_open is None else np.shape(beam_open)[:-1]
    inputs = [latitude, declination, extra, tilt, azimuth, ground, sky, through_sky, through_ground]
    places = np.broadcast_shapes(*(np.shape(x) for x in inputs), lead)
    columns = np.stack([np.broadcast_to(x, places).ravel() for x in inputs])
    if beam_open is None:
        shade = np.ones((1, 24))
    else:
        shade = within(beam_open, 0, 1, "beam_open")
        shade = np.ascontiguousarray(np.broadcast_to(shade, (*places, 24)).reshape(-1, 24))
    shape = np.broadcast_shapes(places, ghi.shape)
    days = np.ascontiguousarray(np.broadcast_to(ghi, shape)).ravel()
    count = int(np.prod(places, dtype=np.int64))
    place_of = np.ascontiguousarray(np.broadcast_to(np.arange(count).reshape(places), shape)).ravel()
    out = np.empty((kinds, days.size, 24))
    _fill(columns, shade, days, place_of, _factor_table(), out)
    return tuple(part.reshape((*shape, 24)) for part in out)


@lru_cache(maxsize=1)
def _factor_table():
    cosines = np.linspace(0, 1, _KNOTS + 1)
    return incidence_factor(np.degrees(np.arccos(cosines)))


def _factor(cosine):
    return np.interp(cosine, np.linspace(0, 1, _KNOTS + 1), _factor_table())


@njit(cache=True, nogil=True, inline="always")
def _diffuse_share(k, winter):
    # As split.diffuse_share_day.
    if winter:
        if k < 0.715:
            return 1 + k * (-0.2727 + k * (2.4495 + k * (-11.9514 + k * 9.3879)))
        return 0.143
    if k < 0.722:
        return 1 + k * (0.2832 + k * (-2.5557 + k * 0.8448))
    return 0.175


@njit(cache=True, nogil=True, fastmath={"contract", "reassoc", "nsz", "arcp"})
def _fill(columns, shade, days, place_of, table, out):
    share_all, share_sky = np.zeros(24), np.zeros(24)  # the hour's part of the day's global and diffuse
    per_beam, glass, per_extra = np.zeros(24), np.zeros(24), np.zeros(24)  # planes' ratio; glass; 1 / (extra cos z)
    first, last = 0, 0
    above_day, winter, from_ground, view = 0.0, False, 0.0, 0.0
    glass_sky, glass_ground, sky_open = 1.0, 1.0, 1.0
    known = False
    before = -1
    knots = table.size - 1
    for i in range(days.size):
        g = place_of[i]
        if g != before:
            before = g
            lat, dec = columns[0, g] * pi / 180, columns[1, g] * pi / 180
            extra, tilt, azimuth = columns[2, g], columns[3, g] * pi / 180, columns[4, g] * pi / 180
            reflectance, sky_open = columns[5, g], columns[6, g]
            glass_sky, glass_ground = columns[7, g], columns[8, g]
            known = not np.isnan(lat + dec + extra + tilt + azimuth + reflectance + sky_open)
            if known:
                sin_lat, cos_lat, sin_dec, cos_dec = np.sin(lat), np.cos(lat), np.sin(dec), np.cos(dec)
                # As sun.cos_incidence, gathered by cos and sin of the hour angle.
                north, east, up = np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)
                steady = sin_dec * (north * cos_lat + up * sin_lat)
                with_cos = cos_dec * (up * cos_lat - north * sin_lat)
                with_sin = -cos_dec * east
                ws = np.arccos(min(max(-np.tan(lat) * np.tan(dec), -1.0), 1.0))
                cos_ws, sin_ws = np.cos(ws), np.sin(ws)
                winter = ws <= 81.4 * pi / 180
                above_day = 0.024 / pi * extra * (cos_lat * cos_dec * sin_ws + ws * sin_lat * sin_dec)
                bend = np.sin(ws - pi / 3)
                a, b = 0.409 + 0.5016 * bend, 0.6609 - 0.4767 * bend
                whole_plain = 2 * (sin_ws - ws * cos_ws)
                whole = a * whole_plain + b * (ws - sin_ws * cos_ws)
                view, from_ground = (1 + up) / 2, reflectance * (1 - up) / 2
                sunlit = ws > 1e-4
                first, last = 24, 0
                if sunlit:
                    first = max(int(np.floor((pi - ws) * 12 / pi)), 0)
                    last = 24 - first
                plain_0 = -(sin_ws - ws * cos_ws)
                curved_0 = -(ws - sin_ws * cos_ws) / 2
                for h in range(first, last):
                    # At the two ends of the day only the lit part of the hour counts.
                    start, end = _EDGE[h], _EDGE[h + 1]
                    cos_w, sin_w, s, c = _HALF_COS[h], _HALF_SIN[h], _EDGE_SIN[h + 1], _EDGE_COS[h + 1]
                    if h == first or h == last - 1:
                        start, end = max(start, -ws), min(end, ws)
                        cos_w, sin_w = np.cos((start + end) / 2), np.sin((start + end) / 2)
                        s, c = np.sin(end), np.cos(end)
                    plain_1 = s - end * cos_ws
                    curved_1 = (end + s * c) / 2 - s * cos_ws
                    share_sky[h] = (plain_1 - plain_0) / whole_plain
                    share_all[h] = (a * (plain_1 - plain_0) + b * (curved_1 - curved_0)) / whole
                    plain_0, curved_0 = plain_1, curved_1
                    cz = max(sin_lat * sin_dec + cos_lat * cos_dec * cos_w, LOW_SUN_COS)
                    ci = max(steady + with_cos * cos_w + with_sin * sin_w, 0.0)
                    per_beam[h] = ci / cz * shade[g if shade.shape[0] > 1 else 0, h]
                    # Mean over the clock hour, so the sun's own strength counts for the lit part only.
                    lit = max((end - start) * 12 / pi, 1e-6)
                    per_extra[h] = 1 / (extra * cz * lit)
                    place = min(ci, 1.0) * knots
                    k = min(int(place), knots - 1)
                    glass[h] = table[k] + (table[k + 1] - table[k]) * (place - k)
        kwh = days[i]
        if not known or np.isnan(kwh):
            out[:, i, :] = np.nan
            continue
        out[:, i, :first] = 0.0
        out[:, i, last:] = 0.0
        if above_day <= 0:
            out[:, i, :] = 0.0
            continue
        diffuse = _diffuse_share(kwh / above_day, winter)
        watts, watts_sky = kwh * 1000, kwh * 1000 * diffuse
        if out.shape[0] == 1:
            for h in range(first, last):
                ghi = watts * share_all[h]
                dhi = min(watts_sky * share_sky[h], ghi)
                beam = ghi - dhi
                clear = min(beam * per_extra[h], 1.0)
                straight = (beam + dhi * clear) * per_beam[h]
                even = dhi * (1 - clear) * (view * sky_open * glass_sky)
                out[0, i, h] = straight * glass[h] + even + ghi * (from_ground * glass_ground)
            continue
        for h in range(first, last):
            ghi = watts * share_all[h]
            dhi = min(watts_sky * share_sky[h], ghi)
            beam = ghi - dhi
            clear = min(beam * per_extra[h], 1.0)  # how much of the light comes straight: 0 dull, 1 no air at all
            straight = (beam + dhi * clear) * per_beam[h]
            even = dhi * (1 - clear) * view * sky_open
            reflected = ghi * from_ground
            out[0, i, h] = ghi
            out[1, i, h] = dhi
            out[2, i, h] = straight + even + reflected
            out[3, i, h] = straight * glass[h] + even * glass_sky + reflected * glass_ground
