"""The baseline: what an installation should give, month by month, in the climate of its place."""

from typing import NamedTuple

import numpy as np

from .. import compiled
from ..checks import Refusal
from ..sky.light import HOURS, OPEN, ROWS
from .asking import ROOM, SPAN, steepness
from .daylight import CLOUDED, HIDDEN, NOON, REAL, SUN_OUT, WIDE
from .days import day_space, days_water, open_day
from .fast import EDGES, FIRST, HEATS, KNOTS, LEAST_SUN, MOST, NODES, year_rows
from .faults import NONE
from .machine import COUPLING, LIGHT
from .prepare import DAYLIGHT_WARMER_K, monthly, prepare
from .ranges import ARRAY_SIGMA, METER_SIGMA, RECORD_LEVEL_SIGMA_M, about_the_sheet, reach
from .work import spread_over

BLOCK = 512  # units prepared at once


class Baseline(NamedTuple):
    """volume_l_day (n, 12): month's mean; low and high hold 80 % of the months that the climate's, the unit's and the
    level's uncertainty allow; by_kind_l (n, 12, kinds): dullest day first; start_h, stop_h (n, 12): solar time of first
    and last water on the middling kind of day, NaN where none comes; morning_share (n, 12) of the volume.
    climate_l_day, model_l_day, instrument_l_day (n, 12): how far the range would reach on either side for that reason
    alone (`ranges`)."""

    volume_l_day: np.ndarray
    low_l_day: np.ndarray
    high_l_day: np.ndarray
    by_kind_l: np.ndarray
    start_h: np.ndarray
    stop_h: np.ndarray
    morning_share: np.ndarray
    climate_l_day: np.ndarray
    model_l_day: np.ndarray
    instrument_l_day: np.ndarray


@compiled()
def _first_water(light, water, backwards, span, first, sunset, threshold):
    """Solar hour of the first water of a day: where the light, straight between the middles of the hours and zero at
    sunrise, passes the threshold; NaN where none comes. light and water by hour; backwards: from the evening on."""
    before_t, before = 12.0 - sunset * 12.0 / np.pi, 0.0
    for k in range(span):
        at = span - 1 - k if backwards else k
        here = light[at]
        t = first + k + 0.5 if k > 0 else 0.5 * (before_t + first + 1.0)
        if water[at] > 0.0:
            share = (threshold - before) / max(here - before, 1e-9)
            return before_t + min(max(share, 0.0), 1.0) * (t - before_t)
        before_t, before = t, here
    return np.nan


@compiled()
def _months(
    rows, pump, kind, cp, cv, ci, watts, air, level, dates, glass, frame, shade, which, opened, left, days,
    begin, finish, volume, start, stop, morning, mean, swing, steep,
):  # fmt: skip
    kinds = days.shape[2]
    space, nodes, node_edges = np.empty((SPAN, ROOM)), np.empty((NODES, KNOTS), REAL), np.empty((NODES, EDGES))
    year, edges = np.empty((12, KNOTS), REAL), np.empty((12, EDGES))
    heats, heat_edges = np.empty((HEATS, KNOTS), REAL), np.empty((HEATS, 2))
    geometry, clearness, of_days = np.empty((ROWS, HOURS)), np.empty(kinds), day_space(kinds)
    suns, flows, of_kind, litres, _, _ = of_days
    halves = np.zeros((2, of_kind.shape[1], WIDE), REAL)  # litres before and after noon
    block, lane, light, wet = kinds // 2 // WIDE, kinds // 2 % WIDE, np.empty(HOURS), np.empty(HOURS)
    for i in range(begin, finish):
        m, p = rows[i], pump[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + frame[i].sum() + air[i].sum() + level[i].sum()):
            for table in (start, stop, morning, mean, swing):
                table[i] = np.nan
            volume[i], steep[i] = np.nan, np.nan
            continue
        year_rows(
            m, cp[p], cv[p], ci[p], watts[kind[i]], air[i], level[i], space, nodes, node_edges, heats, heat_edges, year,
            edges,
        )  # fmt: skip
        most = edges[11, MOST]
        steep[i] = steepness(m, cp[p], cv[p], ci[p], watts[kind[i]], level[i, 11], most, space) if most > 0.0 else 0.0
        place, hidden = frame[i], shade[i]
        for month in range(12):
            dawn, sunset, above, alike = open_day(
                geometry, place, dates, month, glass, hidden, which[i], opened, left, True
            )
            end = NOON if alike else HOURS - dawn
            per_above = 1.0 / max(above, 1e-9)
            for j in range(kinds):
                k = days[i, month, j] * per_above
                clearness[j] = k if k == k else 0.0
            edge = edges[month]
            blocks = days_water(
                year[month],
                edge,
                geometry,
                place,
                dawn,
                end,
                sunset,
                clearness,
                hidden,
                of_days,
            )
            total, early, sun, square, product = 0.0, 0.0, 0.0, 0.0, 0.0
            for b in range(blocks):
                for half in range(2):
                    for j in range(WIDE):
                        halves[half, b, j] = 0.0
                for h in range(end - dawn):
                    half = 0 if dawn + h < NOON else 1
                    for j in range(WIDE):
                        halves[half, b, j] += litres[h * blocks + b, j]
            for j in range(kinds):
                half = halves[0, j // WIDE, j % WIDE]
                water = 2.0 * half if alike else half + halves[1, j // WIDE, j % WIDE]
                if days[i, month, j] != days[i, month, j]:
                    water = np.nan
                volume[i, month, j] = water
                early += half
                total += water
                sun += clearness[j]
                square += clearness[j] * clearness[j]
                product += clearness[j] * water
            runs = 0.0
            for h in range(end - dawn):
                runs += flows[SUN_OUT, h * blocks + block, lane]
            of = SUN_OUT if runs > 0.0 else CLOUDED
            for h in range(end - dawn):
                at, share = h * blocks + block, geometry[OPEN, dawn + h]
                light[h] = share * suns[of, at, lane] + (1.0 - share) * suns[HIDDEN, at, lane]
                wet[h] = litres[at, lane]
            clock = end - dawn, dawn, sunset, max(edge[FIRST], edge[LEAST_SUN])
            start[i, month] = _first_water(light, wet, False, *clock)
            if alike:
                stop[i, month] = 24.0 - start[i, month]
            else:
                stop[i, month] = 24.0 - _first_water(light, wet, True, *clock)
            morning[i, month] = early / total if total > 0.0 else np.nan
            mean[i, month] = total / kinds
            # litres a share of the sun, by the slope of water over sun among the kinds of day; at the least half of
            # straight proportion, where a unit at its limit hides it
            spread = square - sun * sun / kinds
            slope = (product - sun * total / kinds) / spread if spread > 1e-12 else 0.0
            swing[i, month] = max(slope * sun / kinds, 0.5 * total / kinds)


def baseline(fleet, climate, *, static_level_m=None, faults=NONE, cores=1):
    """What each installation should give by month (Baseline), nothing stopping it.

    climate: as `climate` makes it, for these places: day_ghi_kwh_m2_day (n, 12, kinds) or (12, kinds), air_c (day and
    night), band.
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
    out = Baseline(*(np.empty(shape) for _ in range(3)), np.empty(days.shape), *(np.empty(shape) for _ in range(6)))

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
    args = *prepared.loops, *prepared.sun, np.array(days, float, order="C")
    _months(*args, 0, n, volume, start, stop, morning, mean, swing, steep)
    about = about_the_sheet(fleet)
    # a motor's constant through half of its share: between an array's best point, where it costs nothing, and its volts
    own = np.sqrt(about.flow**2 + (0.5 * about.motor) ** 2)
    own = np.hypot(
        own, steep * np.hypot(RECORD_LEVEL_SIGMA_M, about.head * (prepared.loops[-1].mean(axis=1) + fleet.tank_rise_m))
    )
    climate = reach(band[:, None] * swing)
    model = reach(own[:, None] * mean, np.hypot(ARRAY_SIGMA, about.power)[:, None] * swing)
    instrument = reach(METER_SIGMA * mean)
    whole = np.sqrt(climate**2 + model**2 + instrument**2)
    return Baseline(
        mean, np.maximum(mean - whole, 0), mean + whole, volume, start, stop, morning, climate, model, instrument
    )
