"""The baseline: what an installation should give, month by month, in the climate of its place."""

from typing import NamedTuple

import numpy as np

from .. import compiled
from ..checks import Refusal
from .asking import FLOWS, SPAN, steepness
from .daylight import SHARES, STEPS, day_geometry, shade_low_sun
from .days import METER_SIGMA, RECORD_LEVEL_SIGMA_M, SPREAD_80, UNIT_SIGMA, day_water, mirrored
from .fast import EDGES, HEATS, KNOTS, MOST, year_rows
from .faults import NONE
from .machine import COUPLING, LIGHT
from .prepare import DAYLIGHT_WARMER_K, monthly, prepare
from .work import spread_over

BLOCK = 512  # units prepared at once


class Baseline(NamedTuple):
    """volume_l_day (n, 12): month's mean; low and high hold 80 % of the months that the climate's, the unit's and the
    level's uncertainty allow; by_kind_l (n, 12, kinds): dullest day first; start_h, stop_h (n, 12): solar time of first
    and last water on the middling kind of day, NaN where none comes; morning_share (n, 12) of the volume."""

    volume_l_day: np.ndarray
    low_l_day: np.ndarray
    high_l_day: np.ndarray
    by_kind_l: np.ndarray
    start_h: np.ndarray
    stop_h: np.ndarray
    morning_share: np.ndarray


@compiled()
def _months(
    rows, pump, kind, cp, cv, ci, watts, air, level, declination, outer, place, shade, days, band, first, last,
    volume, start, stop, morning, mean, swing, steep,
):  # fmt: skip
    space, nodes, node_edges = np.empty((SPAN, FLOWS)), np.empty((3, KNOTS)), np.empty((3, EDGES))
    year, edges = np.empty((12, KNOTS)), np.empty((12, EDGES))
    heats, heat_edges = np.empty((HEATS, KNOTS)), np.empty((HEATS, 2))
    geometry, hourly = np.empty((SHARES, STEPS)), np.empty(STEPS)
    kinds = days.shape[2]
    for i in range(first, last):
        m, p = rows[i], pump[i]
        lat, tilt, azimuth, ground = place[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + lat + air[i].sum() + level[i].sum()):
            for table in (start, stop, morning, mean, swing):
                table[i] = np.nan
            volume[i], steep[i] = np.nan, np.nan
            continue
        ground_share, sky_share = ground * (1.0 - np.cos(tilt)) / 2.0, (1.0 + np.cos(tilt)) / 2.0
        like = mirrored(tilt, azimuth, shade[i])
        year_rows(
            m, cp[p], cv[p], ci[p], watts[kind[i]], air[i], level[i], space, nodes, node_edges, heats, heat_edges, year,
            edges,
        )  # fmt: skip
        steep[i] = steepness(m, cp[p], cv[p], ci[p], level[i, 11], space) if edges[11, MOST] > 0.0 else 0.0
        for month in range(12):
            hours, sunset, day0 = day_geometry(lat, declination[month], outer[month], tilt, azimuth, geometry)
            if shade[i, 2] > 0.0 or shade[i, 3] > 0.0:
                shade_low_sun(geometry, outer[month], shade[i, 2], shade[i, 3])
            total, early, sun, square, product = 0.0, 0.0, 0.0, 0.0, 0.0
            start[i, month], stop[i, month] = np.nan, np.nan
            for j in range(kinds):
                clearness = days[i, month, j] / max(day0, 1e-9)
                sight = (geometry, clearness, sunset, ground_share, sky_share, shade[i], like)
                water = day_water(year[month], edges[month], *sight, hourly)
                volume[i, month, j] = water * hours * 60.0
                total += water
                sun += clearness
                square += clearness * clearness
                product += clearness * water
                for s in range(STEPS // 2):
                    early += hourly[s]
                if j == kinds // 2:
                    for s in range(STEPS):
                        if hourly[s] > 0.0:
                            if np.isnan(start[i, month]):
                                start[i, month] = 12.0 + (s - STEPS / 2) * hours
                            stop[i, month] = 12.0 + (s + 1 - STEPS / 2) * hours
            morning[i, month] = early / total if total > 0.0 else np.nan
            mean[i, month] = total * hours * 60.0 / kinds
            # one sigma of the climate, through the slope of water over sun among the kinds of day; at the least half
            # of straight proportion, where a unit at its limit hides it
            spread = square - sun * sun / kinds
            slope = (product - sun * total / kinds) / spread if spread > 1e-12 else 0.0
            swing[i, month] = band[i] * hours * 60.0 * max(slope * sun / kinds, 0.5 * total / kinds)


def baseline(fleet, climate, *, static_level_m=None, faults=NONE, cores=1):
    """What each installation should give by month (Baseline), nothing stopping it.

    climate: as `climate` makes it, for these places: day_ghi_kwh_m2_day (n, 12, kinds) or (12, kinds), air_c (day and
    night), band. Start and stop to the width of a part of the day, about three quarters of an hour.
    Refuses a climate of another shape.
    """
    n = fleet.n
    days = np.asarray(climate.day_ghi_kwh_m2_day, float)
    if days.ndim < 2 or days.shape[-2] != 12 or (days.ndim == 3 and days.shape[0] not in (1, n)):
        raise Refusal("day_ghi_kwh_m2_day", days.shape, because=f"({n}, 12, kinds of day) is needed")
    days = np.broadcast_to(days, (n, 12, days.shape[-1]))
    air = np.broadcast_to(np.asarray(climate.air_c, float), (n, 12)) + DAYLIGHT_WARMER_K
    band = np.broadcast_to(np.asarray(climate.band, float), (n,))
    level = None if static_level_m is None else monthly(static_level_m, n, "static_level_m", 0, 1000)
    shape = (n, 12)
    out = Baseline(*(np.empty(shape) for _ in range(3)), np.empty(days.shape), *(np.empty(shape) for _ in range(3)))

    def work(first, last):
        for start in range(first * BLOCK, min(last * BLOCK, n), BLOCK):
            part = slice(start, min(start + BLOCK, n))
            levels = None if level is None else level[part]
            got = _block(fleet.take(part), days[part], air[part], band[part], levels, faults.take(part))
            for whole, piece in zip(out, got, strict=True):
                whole[part] = piece

    spread_over(cores, -(-n // BLOCK), work)
    return out


def _block(fleet, days, air, band, level, faults):
    """A few hundred units at once, whose numbers stay in the processor's cache."""
    n = fleet.n
    prepared = prepare(fleet, air, level, faults)
    volume = np.empty(days.shape)
    start, stop, morning, mean, swing = (np.empty((n, 12)) for _ in range(5))
    steep = np.empty(n)
    args = *prepared.loops, *prepared.sun, np.ascontiguousarray(days), np.ascontiguousarray(band)
    _months(*args, 0, n, volume, start, stop, morning, mean, swing, steep)
    own = np.sqrt(UNIT_SIGMA**2 + METER_SIGMA**2 + (RECORD_LEVEL_SIGMA_M * steep) ** 2)
    reach = SPREAD_80 * np.sqrt(swing**2 + (own[:, None] * mean) ** 2)
    return Baseline(mean, np.maximum(mean - reach, 0), mean + reach, volume, start, stop, morning)
