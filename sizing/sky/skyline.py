"""What hides the sun: a surveyed skyline (bearing and height pairs) and windows of shade written down by the clock.

A skyline is kept as a ring of heights every five degrees, so that a fleet's skylines are one array (n, 72).
"""

import numpy as np

from sizing import sun
from sizing.checks import Refusal, known, within

__all__ = ["RING_BEARINGS_DEG", "beam_open", "open_hours", "ring", "shade_windows", "sky_share"]

RING_BEARINGS_DEG = np.arange(0, 360, 5.0)
_PARTS = 12  # looks an hour: a tree's edge is met to five minutes


def ring(pairs):
    """Heights (72,) in degrees at bearings 0, 5 ... 355 from surveyed (bearing_deg, height_deg) pairs, in any order.

    Straight lines between the pairs, around the whole horizon; no pairs, no hills. Refuses: bearings outside 0..360,
    heights outside 0..90, a bearing twice, gaps.
    """
    table = known(list(pairs) if len(pairs) else np.empty((0, 2)), "skyline_deg")
    if table.ndim != 2 or table.shape[1] != 2:
        raise Refusal("skyline_deg", pairs, because="pairs of bearing and height are needed")
    if not len(table):
        return np.zeros(RING_BEARINGS_DEG.size)
    for bearing, height in table:
        within(bearing, 0, 360, "skyline_bearing_deg")
        within(height, 0, 90, "skyline_height_deg")
    bearings = table[:, 0] % 360
    if np.unique(bearings).size < bearings.size:
        twice = bearings[np.argsort(bearings)][:-1][np.diff(np.sort(bearings)) == 0][0]
        raise Refusal("skyline_bearing_deg", float(twice), because="each bearing once, please")
    return np.interp(RING_BEARINGS_DEG, bearings, table[:, 1], period=360)


def beam_open(ring_deg, azimuth_deg, height_deg):
    """1 where the middle of the sun stands above the skyline, else 0; NaN with either.

    Shapes: ring (..., 72) against azimuth and height (..., k), which it is looked up for along the last axis.
    """
    rings = np.asarray(ring_deg, dtype=np.float64)
    azimuth, height = np.broadcast_arrays(np.asarray(azimuth_deg, float) % 360, np.asarray(height_deg, float))
    step = 360 / rings.shape[-1]
    place = np.where(np.isnan(azimuth), 0.0, azimuth) / step
    left = np.floor(place).astype(np.int64)
    rings, left = _aligned(rings, left)
    low = np.take_along_axis(rings, left % rings.shape[-1], axis=-1)
    high = np.take_along_axis(rings, (left + 1) % rings.shape[-1], axis=-1)
    hill = low + (high - low) * (place - np.floor(place))
    return np.where(np.isnan(hill + height + azimuth), np.nan, (height > hill).astype(np.float64))


def _aligned(rings, left):
    lead = np.broadcast_shapes(rings.shape[:-1], left.shape[:-1])
    return np.broadcast_to(rings, (*lead, rings.shape[-1])), np.broadcast_to(left, (*lead, left.shape[-1]))


def sky_share(ring_deg):
    """Share of an even sky's light on level ground that comes from above the skyline: (..., 72) gives (...).

    The mean of cos2(height) around the horizon (integral of the cosine law down to the skyline).
    """
    heights = within(ring_deg, 0, 90, "skyline_height_deg")
    return np.mean(np.cos(np.radians(heights)) ** 2, axis=-1)


def open_hours(ring_deg, latitude_deg, day_of_year):
    """Share of each solar hour in which the sun, if up, stands above the skyline; 1 where it is down.

    Shapes: ring (..., 72), latitude and day broadcast with (...); gives (..., 24).
    """
    declination = np.asarray(sun.declination_deg(day_of_year))[..., None]
    latitude = within(latitude_deg, -90, 90, "latitude_deg")[..., None]
    angle = (np.arange(24 * _PARTS) + 0.5) * 15 / _PARTS - 180
    cz = sun.cos_zenith(latitude, declination, angle)
    north = sun.cos_incidence(latitude, declination, angle, 90, 0)
    east = sun.cos_incidence(latitude, declination, angle, 90, 90)
    up = cz > 0
    seen = beam_open(np.asarray(ring_deg), np.degrees(np.arctan2(east, north)), np.degrees(np.arcsin(cz)))
    seen, up = (x.reshape((*x.shape[:-1], 24, _PARTS)) for x in np.broadcast_arrays(seen, up))
    lit = up.sum(axis=-1)
    return np.where(lit > 0, (seen * up).sum(axis=-1) / np.maximum(lit, 1), 1.0)


def shade_windows(windows):
    """Share of direct light left in each solar hour (24,), from (from_h, to_h, share_lost) rows.

    Windows may overlap; each takes its share of what is left. Refuses: hours outside 0..24 or backwards, shares
    outside 0..1.
    """
    left = np.ones(24)
    for start, end, lost in windows:
        start, end = within(start, 0, 24, "shade_from_h"), within(end, 0, 24, "shade_to_h")
        if not start < end:
            raise Refusal("shade_to_h", float(end), because=f"later than shade_from_h = {start:g} is needed")
        lost = within(lost, 0, 1, "shade_share_lost")
        hour = np.arange(24)
        left *= 1 - lost * np.clip(np.minimum(end, hour + 1) - np.maximum(start, hour), 0, 1)
    return left
