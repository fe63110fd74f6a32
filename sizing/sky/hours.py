"""A day's horizontal irradiation as 24 solar hours on a tilted array: the whole sky chain in one compiled pass.

The model is that of `light`, which the chain uses too, so that every page and the nightly baseline see the same sun.
Geometry is worked out once for all days in a row that share it.
"""

from typing import NamedTuple

import numpy as np

from sizing import compiled, sun
from sizing.checks import within
from sizing.sky.light import (
    BEHIND_GLASS,
    GROUND,
    GROUND_GLASS,
    HOURS,
    LIT,
    RATIO,
    ROWS,
    SKY,
    SKY_GLASS,
    day_geometry,
    diffuse_share,
    frames,
    glass_table,
    part_light,
)

__all__ = ["SOLAR_HOURS", "Hours", "caught_hours", "hours"]

SOLAR_HOURS = np.arange(HOURS) + 0.5  # sundial time of the middle of each hour


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
    declination = np.radians(sun.declination_deg(day))
    extra = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(day)
    place = frames(latitude, tilt, azimuth, ground, sky)
    lead = () if beam_open is None else np.shape(beam_open)[:-1]
    places = np.broadcast_shapes(place.shape[:-1], np.shape(declination), lead)
    rows = np.ascontiguousarray(np.broadcast_to(place, (*places, place.shape[-1])).reshape(-1, place.shape[-1]))
    dates = np.stack([np.broadcast_to(x, places).ravel() for x in (np.sin(declination), np.cos(declination), extra)])
    if beam_open is None:
        shade = np.ones((1, HOURS))
    else:
        shade = within(beam_open, 0, 1, "beam_open")
        shade = np.ascontiguousarray(np.broadcast_to(shade, (*places, HOURS)).reshape(-1, HOURS))
    shape = np.broadcast_shapes(places, ghi.shape)
    days = np.ascontiguousarray(np.broadcast_to(ghi, shape)).ravel()
    count = int(np.prod(places, dtype=np.int64))
    place_of = np.ascontiguousarray(np.broadcast_to(np.arange(count).reshape(places), shape)).ravel()
    out = np.empty((kinds, days.size, HOURS))
    _fill(rows, dates, shade, days, place_of, glass_table(), out)
    return tuple(part.reshape((*shape, HOURS)) for part in out)


@compiled(fastmath={"contract", "arcp", "nsz"})
def _fill(rows, dates, shade, days, place_of, glass, out):
    geometry = np.empty((ROWS, HOURS))
    first, sunset, above = HOURS, 0.0, 0.0
    known = False
    before = -1
    for i in range(days.size):
        g = place_of[i]
        if g != before:
            before = g
            known = not np.isnan(rows[g].sum() + dates[:, g].sum())
            if known:
                first, sunset, above = day_geometry(
                    rows[g], dates[0, g], dates[1, g], dates[2, g], glass, geometry, False
                )
        kwh = days[i]
        if not known or np.isnan(kwh):
            out[:, i, :] = np.nan
            continue
        out[:, i, :] = 0.0
        if not above > 0.0:
            continue
        clearness = kwh / above
        diffuse = diffuse_share(clearness, sunset)
        frame, left = rows[g], shade[g if shade.shape[0] > 1 else 0]
        for h in range(first, HOURS - first):
            ghi, dhi, direct, even = part_light(geometry, h, clearness, diffuse)
            lit = geometry[LIT, h]  # the mean over the clock hour is wanted here
            direct *= left[h]
            caught = direct * geometry[BEHIND_GLASS, h] + even * frame[SKY_GLASS] + ghi * frame[GROUND_GLASS]
            if out.shape[0] == 1:
                out[0, i, h] = caught * lit
                continue
            out[0, i, h] = ghi * lit
            out[1, i, h] = dhi * lit
            out[2, i, h] = (direct * geometry[RATIO, h] + even * frame[SKY] + ghi * frame[GROUND]) * lit
            out[3, i, h] = caught * lit
