"""Days: litres that an installation should give, from the day's irradiation, for any number of (unit, day) rows.

For each unit and level the flow is worked out once (see `fast`), then the day's water over the day's irradiation for
thirteen kinds of day; a row is read off between them and between the two months around its date.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from .. import sun
from ..checks import Refusal, one_of, within
from .daylight import KINDS, MONTH_MIDDLE, SHARES, STEPS, day_geometry, erbs_daily, part_light, sunshine
from .fast import FLOWS, HEATS, KNOTS, flow_at, module_power, unit_table
from .faults import NONE
from .machine import COUPLING, LIGHT, build
from .work import spread_over

STEP_W_M2 = 20.0
DAYLIGHT_WARMER_K = 3.0  # daylight hours against the mean of day and night (from memory)


class Curve(NamedTuple):
    """Flow over irradiance: flow_l_min (n, 12, k) at irradiance_w_m2 (k,), at each month's air and level."""

    irradiance_w_m2: np.ndarray
    flow_l_min: np.ndarray
    air_c: np.ndarray


class DayTable(NamedTuple):
    """Water over irradiation, by unit, month and kind of day (n, 12, kinds): litres, in-plane and level kWh/m2."""

    volume_l: np.ndarray
    in_plane_kwh_m2: np.ndarray
    horizontal_kwh_m2: np.ndarray


class ExpectedDays(NamedTuple):
    """Litres expected of a sound unit that nothing stops, one a row; and whether the irradiation lay beyond a clear
    day's, so that the answer is stretched."""

    volume_l: np.ndarray
    beyond: np.ndarray


def default_air(latitude_deg, altitude_m):
    """Daylight air temperature by month, C, (n, 12): a formula by place, one sigma 3.4 K.

    Holds on land between 40 S and 40 N. Source: fitted to a 0.75 degree grid of monthly means; +3 K by day
    (from memory).
    """
    lat = np.asarray(latitude_deg, float)[:, None]
    year = 28.8 - 27.2 * np.sin(np.radians(lat)) ** 2 - 4.65 * np.asarray(altitude_m, float)[:, None] / 1000
    swing = np.maximum(0.32 * np.abs(lat) - 0.5, 0)
    peak = np.where(lat >= 0, 200, 18)
    return year + swing * np.cos(2 * np.pi * (MONTH_MIDDLE - peak) / 365) + DAYLIGHT_WARMER_K


@njit(cache=True, nogil=True)
def _curves(rows, pump, kind, cp, cv, ci, watts, air, level, first, last, flows_out):
    flows, heads, asked = np.empty(FLOWS), np.empty(FLOWS), np.empty(FLOWS)
    table, edge = np.empty((HEATS, KNOTS)), np.empty((HEATS + 1, 2))
    for i in range(first, last):
        m, p = rows[i], pump[i]
        if np.isnan(m[COUPLING] + m[LIGHT]):
            flows_out[i] = np.nan
            continue
        done = np.nan
        for month in range(12):
            if level[i, month] != done:
                unit_table(m, cp[p], cv[p], ci[p], level[i, month], flows, heads, asked, table, edge)
                done = level[i, month]
            for k in range(flows_out.shape[2]):
                flows_out[i, month, k] = flow_at(m, table, edge, watts[kind[i]], k * STEP_W_M2, air[i, month])


def curve(fleet, *, air_c=None, static_level_m=None, faults=NONE, cores=1):
    """Each unit's flow over in-plane irradiance, by month (Curve).

    air_c (n, 12) or broadcastable: daylight air; left out: the default by place. static_level_m likewise; left out: the
    fleet's record. NaN rows give NaN.
    """
    prepared = prepare(fleet, air_c, static_level_m, faults)
    grid = np.arange(int(1400 / STEP_W_M2) + 1) * STEP_W_M2
    flows = np.empty((fleet.n, 12, grid.size))
    spread_over(cores, fleet.n, lambda a, b: _curves(*prepared.loops, a, b, flows))
    return Curve(grid, flows, prepared.air_c)


class Prepared(NamedTuple):
    """What the compiled loops over units take: rows, pumps, kinds of module, coefficients, watts, air and level."""

    loops: tuple
    air_c: np.ndarray


def prepare(fleet, air_c=None, static_level_m=None, faults=NONE):
    """Everything about a fleet that its days have in common (Prepared)."""
    n = fleet.n
    air = default_air(fleet.latitude_deg, fleet.altitude_m) if air_c is None else _monthly(air_c, n, "air_c")
    level = fleet.static_level_m if static_level_m is None else _monthly(static_level_m, n, "static_level_m")
    m = build(fleet, faults)
    watts = np.stack([module_power(tuple(map(float, d))) for d in m.diodes])
    air, level = np.ascontiguousarray(air), np.ascontiguousarray(level)
    return Prepared((m.rows, m.pump, m.kind, m.power_c, m.voltage_c, m.current_c, watts, air, level), air)


def places(fleet, faults=NONE):
    """(n, 4) for the compiled loops: latitude, tilt and azimuth of the frame in radians, ground reflectance."""
    n = fleet.n
    return np.stack(
        [
            np.radians(fleet.latitude_deg),
            np.radians(np.clip(fleet.tilt_deg + faults.column("tilt_turn_deg", n), 0, 90)),
            np.radians(fleet.azimuth_deg + faults.column("azimuth_turn_deg", n)),
            fleet.ground_reflectance,
        ],
        axis=1,
    )


@njit(cache=True, nogil=True)
def _days(rows, pump, kind, cp, cv, ci, watts, air, level, place, declination, outer, shade, first, last, out):
    flows, heads, asked = np.empty(FLOWS), np.empty(FLOWS), np.empty(FLOWS)
    table, edge, geometry = np.empty((HEATS, KNOTS)), np.empty((HEATS + 1, 2)), np.empty((SHARES, STEPS))
    for i in range(first, last):
        m, p = rows[i], pump[i]
        lat, tilt, azimuth, ground = place[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + lat):
            out[i] = np.nan
            continue
        ground_share, sky_share = ground * (1.0 - np.cos(tilt)) / 2.0, (1.0 + np.cos(tilt)) / 2.0
        done = np.nan
        for month in range(12):
            if level[i, month] != done:
                unit_table(m, cp[p], cv[p], ci[p], level[i, month], flows, heads, asked, table, edge)
                done = level[i, month]
            hours, sunset, day0 = day_geometry(lat, declination[month], outer[month], tilt, azimuth, geometry)
            for j in range(KINDS.size):
                diffuse = erbs_daily(KINDS[j], sunset)
                bright = sunshine(KINDS[j], diffuse)
                water, plane = 0.0, 0.0
                for s in range(STEPS):
                    sun_w, dull_w, mean_w = part_light(
                        geometry, s, KINDS[j], diffuse, bright, ground_share, sky_share
                    )
                    left = 1.0 - shade[i, 0 if s < STEPS // 2 else 1]
                    plane += mean_w
                    w = watts[kind[i]]
                    water += bright * flow_at(m, table, edge, w, sun_w * left, air[i, month])
                    water += (1.0 - bright) * flow_at(m, table, edge, w, dull_w * left, air[i, month])
                out[i, month, j, 0] = water * hours * 60.0
                out[i, month, j, 1] = plane * hours / 1000.0
                out[i, month, j, 2] = KINDS[j] * day0


def day_table(fleet, *, air_c=None, static_level_m=None, faults=NONE, cores=1):
    """Water by unit, month and kind of day (DayTable); air_c and static_level_m as in `curve`."""
    n = fleet.n
    prepared = prepare(fleet, air_c, static_level_m, faults)
    declination = np.radians(sun.declination_deg(MONTH_MIDDLE))
    outer = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(MONTH_MIDDLE)
    shade = np.stack([faults.column(f"shade_{half}_fraction", n) for half in ("morning", "afternoon")], axis=1)
    out = np.empty((n, 12, KINDS.size, 3))
    args = *prepared.loops, places(fleet, faults), declination, outer, shade
    spread_over(cores, n, lambda a, b: _days(*args, a, b, out))
    return DayTable(*(np.ascontiguousarray(out[..., k]) for k in range(3)))


@njit(cache=True, nogil=True)
def _one(irradiation, volume, wanted):
    """(litres, beyond) between the kinds of day of one unit and month; beyond the clearest day in proportion."""
    last = irradiation.size - 1
    if wanted >= irradiation[last]:
        return volume[last] * wanted / irradiation[last], wanted > 1.05 * irradiation[last]
    if wanted <= irradiation[0]:
        return volume[0] * wanted / irradiation[0], False
    k = np.searchsorted(irradiation, wanted) - 1
    share = (wanted - irradiation[k]) / (irradiation[k + 1] - irradiation[k])
    return volume[k] + share * (volume[k + 1] - volume[k]), False


@njit(cache=True, nogil=True)
def _rows(irradiation, volume, unit, day, wanted, first, last, litres, beyond):
    for r in range(first, last):
        u = unit[r]
        x = (day[r] - 15.5) / 30.4375
        m = int(np.floor(x))
        share = x - m
        a, b = m % 12, (m + 1) % 12
        if np.isnan(wanted[r]) or np.isnan(volume[u, a, 0]):
            litres[r] = np.nan
            continue
        at_a, far_a = _one(irradiation[u, a], volume[u, a], wanted[r])
        at_b, far_b = _one(irradiation[u, b], volume[u, b], wanted[r])
        litres[r] = (1.0 - share) * at_a + share * at_b
        beyond[r] = far_a or far_b


def expected_days(
    fleet, unit_index, day_of_year, irradiation_kwh_m2, kind="in_plane", *, static_level_m=None, air_c=None,
    faults=NONE, cores=1,
):  # fmt: skip
    """Litres that sound units should give on the days they had (ExpectedDays), one a row of (unit, day).

    unit_index, day_of_year, irradiation_kwh_m2 and static_level_m (optional, m that day) are arrays of one length.
    kind: 'in_plane' (a cell in the frame's plane, behind glass as the modules) or 'horizontal'. air_c: daylight air by
    month, (n, 12) or broadcastable. Nothing stops these units: a full tank or a dry well is not in the figure.
    NaN irradiation gives NaN. Refuses a unit number the fleet does not have, a day outside 1-366, irradiation
    below 0 or above 15 kWh/m2.
    """
    kind = one_of(kind, ("in_plane", "horizontal"), "kind")
    unit = np.atleast_1d(np.asarray(unit_index, dtype=np.int64))
    if unit.size and not (unit.min() >= 0 and unit.max() < fleet.n):
        raise Refusal("unit_index", int(unit.max()), (0, fleet.n - 1))
    day = np.broadcast_to(within(np.atleast_1d(day_of_year), 1, 366, "day_of_year"), unit.shape)
    wanted = np.broadcast_to(within(np.atleast_1d(irradiation_kwh_m2), 0, 15, "irradiation_kwh_m2"), unit.shape)

    def litres_at(level):
        table = day_table(fleet, air_c=air_c, static_level_m=level, faults=faults, cores=cores)
        over = table.in_plane_kwh_m2 if kind == "in_plane" else table.horizontal_kwh_m2
        litres, beyond = np.empty(unit.size), np.zeros(unit.size, bool)
        args = over, table.volume_l, unit, np.ascontiguousarray(day), np.ascontiguousarray(wanted)
        spread_over(cores, unit.size, lambda a, b: _rows(*args, a, b, litres, beyond))
        return litres, beyond

    if static_level_m is None:
        return ExpectedDays(*litres_at(None))
    level = np.broadcast_to(within(np.atleast_1d(static_level_m), 0, 1000, "static_level_m"), unit.shape)
    low, high = _level_range(fleet, unit, level)
    grid = low + (high - low) * np.linspace(0, 1, 4)[:, None]
    answers = [litres_at(g[:, None]) for g in grid]
    share = (level - low[unit]) / np.maximum(high - low, 1e-9)[unit] * 3
    place = np.clip(np.nan_to_num(share).astype(int), 0, 2)
    stack = np.stack([a[0] for a in answers])
    at, rows = share - place, np.arange(unit.size)
    return ExpectedDays((1 - at) * stack[place, rows] + at * stack[place + 1, rows], answers[0][1])


def _level_range(fleet, unit, level):
    """Least and greatest level that each unit is asked for (n,), at least half a metre apart."""
    low, high = np.full(fleet.n, np.inf), np.full(fleet.n, -np.inf)
    known = np.isfinite(level)
    np.minimum.at(low, unit[known], level[known])
    np.maximum.at(high, unit[known], level[known])
    record = fleet.static_level_m.mean(axis=1)
    low, high = np.where(np.isfinite(low), low, record), np.where(np.isfinite(high), high, record)
    return low, np.maximum(high, low + 0.5)


def _monthly(value, n, name):
    value = np.asarray(within(value, -60, 1000, name), float)
    if value.ndim == 1 and value.size == n and n != 12:
        value = value[:, None]
    return np.broadcast_to(value, (n, 12))
