"""The one model of light on a tilted plane, compiled: what `hours` answers with and what the chain pumps by.

A day is its 24 solar hours; of the first and the last only the lit part counts, and every irradiance here is the mean
while lit. What a place, a date and a frame have in common is worked out once (`day_geometry`); a kind of day is then a
clearness and its diffuse share (`part_light`). The steps are those of `split` and `plane`, which the tests hold it to:
Collares-Pereira & Rabl normalised, Liu & Jordan, Erbs daily, Hay & Davies, glass after De Soto, even light from sky and
ground at its own angle in the glass.
"""

from functools import lru_cache
from math import pi

import numpy as np

from sizing import compiled
from sizing.sky.plane import LOW_SUN_COS, ground_incidence_deg, incidence_factor, sky_incidence_deg

HOURS = 24
KNOTS = 1024  # of the glass factor over the cosine of incidence; straight lines between them are within 1e-4
_EDGE = np.radians(np.arange(-180, 181, 15.0))  # hour angles of the full hours, and halfway between them
_EDGE_SIN, _EDGE_COS = np.sin(_EDGE), np.cos(_EDGE)
_HALF_SIN, _HALF_COS = np.sin(_EDGE[:-1] + pi / 24), np.cos(_EDGE[:-1] + pi / 24)
_WINTER = 81.4 * pi / 180
# rows of a day's geometry (ROWS of them): global and diffuse light on level ground for a clearness and a diffuse share
# of one; the plane's beam over the level's, and the same behind glass; one over the light across the beam above the
# air; that above the air on level ground; share of the hour that is lit; of that, share with the sun above the skyline;
# share of the direct light left by windows of shade
GLOBAL, DIFFUSE, RATIO, BEHIND_GLASS, PER_OUTER, OUTER, LIT, OPEN, LEFT = range(9)
ROWS = 9
# a place and a frame as the loops take it: sines and cosines, and what the plane sees of an even sky and of the ground
SIN_LAT, COS_LAT, NORTH, EAST, UP, SKY, GROUND, SKY_GLASS, GROUND_GLASS = range(9)


@lru_cache(maxsize=1)
def glass_table():
    """What the glass lets through, at even steps of the cosine of incidence from 0 to 1."""
    return incidence_factor(np.degrees(np.arccos(np.linspace(0, 1, KNOTS + 1))))


def _through(incidence_deg):
    return np.interp(np.cos(np.radians(incidence_deg)), np.linspace(0, 1, KNOTS + 1), glass_table())


def frames(latitude_deg, tilt_deg, azimuth_deg, ground_reflectance, sky_share):
    """The numbers of places and frames that days have in common, (..., 9); arguments checked and of one shape."""
    lat, tilt, turn = np.radians(latitude_deg), np.radians(tilt_deg), np.radians(azimuth_deg)
    up = np.cos(tilt)
    sky, ground = (1 + up) / 2 * sky_share, ground_reflectance * (1 - up) / 2
    return np.stack(
        np.broadcast_arrays(
            np.sin(lat), np.cos(lat), np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), up, sky, ground,
            sky * _through(sky_incidence_deg(tilt_deg)), ground * _through(ground_incidence_deg(tilt_deg)),
        ),
        axis=-1,
    )  # fmt: skip


@compiled(inline="always")
def diffuse_terms(sunset_rad):
    """Of the diffuse share of a season's days: the factors of clearness, its square, cube and fourth power, beside one;
    the clearness from which on the share stays the same; that share."""
    if sunset_rad <= _WINTER:
        return -0.2727, 2.4495, -11.9514, 9.3879, 0.715, 0.143
    return 0.2832, -2.5557, 0.8448, 0.0, 0.722, 0.175


@compiled(inline="always")
def diffuse_share(k, sunset_rad):
    """Diffuse share of a day of clearness k, as `split.diffuse_share_day`."""
    one, two, three, four, edge, rest = diffuse_terms(sunset_rad)
    return 1.0 + k * (one + k * (two + k * (three + k * four))) if k < edge else rest


@compiled(fastmath={"contract", "arcp", "nsz"})
def day_geometry(frame, sin_dec, cos_dec, extra, glass, geometry, half):
    """What a day's hours have in common for every kind of day.

    frame: as `frames`; sin_dec, cos_dec: of the declination; extra: light across the beam above the air, W/m2, that
    day; half: only up to noon. Fills geometry (ROWS, 24) from the first lit hour on; all of it open. Returns (first lit
    hour, sunset angle in radians, irradiation on level ground above the air, kWh/m2); the last lit hour is 23 less the
    first, 24 in polar night.
    """
    sin_lat, cos_lat = frame[SIN_LAT], frame[COS_LAT]
    level, turning = sin_lat * sin_dec, cos_lat * cos_dec
    cos_ws = min(max(-level / max(turning, 1e-12), -1.0), 1.0)
    ws = np.arccos(cos_ws)
    if ws < 1e-4:
        return HOURS, ws, 0.0
    sin_ws = np.sqrt(1.0 - cos_ws * cos_ws)
    above = 0.024 / pi * extra * (turning * sin_ws + ws * level)
    bend = 0.5 * sin_ws - 0.8660254037844386 * cos_ws  # sine of (sunset - 60 degrees)
    a, b = 0.409 + 0.5016 * bend, 0.6609 - 0.4767 * bend
    whole_plain = 2.0 * (sin_ws - ws * cos_ws)
    whole = a * whole_plain + b * (ws - sin_ws * cos_ws)
    per_plain, per_whole = 1000.0 * above / whole_plain, 1000.0 * above / whole
    steady = sin_dec * (frame[NORTH] * cos_lat + frame[UP] * sin_lat)
    with_cos = cos_dec * (frame[UP] * cos_lat - frame[NORTH] * sin_lat)
    with_sin = -cos_dec * frame[EAST]
    first = max(int(np.floor((pi - ws) * 12.0 / pi)), 0)
    plain_0 = -(sin_ws - ws * cos_ws)
    curved_0 = -0.5 * (ws - sin_ws * cos_ws)
    for h in range(first, HOURS // 2 if half else HOURS - first):
        start, end = _EDGE[h], _EDGE[h + 1]
        cos_w, sin_w, s, c = _HALF_COS[h], _HALF_SIN[h], _EDGE_SIN[h + 1], _EDGE_COS[h + 1]
        lit = 1.0
        if h == first or h == HOURS - 1 - first:  # at the two ends of the day only the lit part of the hour counts
            start, end = max(start, -ws), min(end, ws)
            cos_w, sin_w = np.cos(0.5 * (start + end)), np.sin(0.5 * (start + end))
            s, c = np.sin(end), np.cos(end)
            lit = max((end - start) * 12.0 / pi, 1e-6)
        plain_1 = s - end * cos_ws
        curved_1 = 0.5 * (end + s * c) - s * cos_ws
        per_lit = 1.0 / lit
        geometry[DIFFUSE, h] = max(plain_1 - plain_0, 0.0) * per_plain * per_lit
        geometry[GLOBAL, h] = max(a * (plain_1 - plain_0) + b * (curved_1 - curved_0), 0.0) * per_whole * per_lit
        plain_0, curved_0 = plain_1, curved_1
        up = max(level + turning * cos_w, LOW_SUN_COS)
        incidence = min(max(steady + with_cos * cos_w + with_sin * sin_w, 0.0), 1.0)
        per_up = 1.0 / up
        at = incidence * KNOTS
        k = min(int(at), KNOTS - 1)
        geometry[RATIO, h] = incidence * per_up
        geometry[BEHIND_GLASS, h] = incidence * per_up * (glass[k] + (glass[k + 1] - glass[k]) * (at - k))
        geometry[PER_OUTER, h] = per_up / extra
        geometry[OUTER, h] = extra * up
        geometry[LIT, h] = lit
        geometry[OPEN, h] = 1.0
        geometry[LEFT, h] = 1.0
    return first, ws, above


@compiled(inline="always", fastmath={"contract", "arcp", "nsz"})
def part_light(geometry, h, clearness, diffuse):
    """Of one hour of a kind of day, W/m2 on level ground: (global, diffuse, direct with the bright ring around the sun,
    diffuse without that ring). Times RATIO or BEHIND_GLASS the direct part is the plane's; times SKY or SKY_GLASS the
    rest; times GROUND or GROUND_GLASS the global."""
    ghi = clearness * geometry[GLOBAL, h]
    dhi = min(clearness * diffuse * geometry[DIFFUSE, h], ghi)
    beam = ghi - dhi
    ring = dhi * min(beam * geometry[PER_OUTER, h], 1.0)  # how much of the light comes straight: 0 dull, 1 no air
    return ghi, dhi, beam + ring, dhi - ring
