"""Days: litres that an installation should give, from the day's irradiation, for any number of (unit, day) rows.

For each unit and month the flow is worked out once over irradiance, then the day's water over the day's irradiation for
thirteen kinds of day; a row is read off between them and between the two months around its date.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from .. import sun
from ..checks import Refusal, one_of, within
from .daylight import KINDS, MONTH_MIDDLE, STEPS, frame_light
from .faults import NONE
from .machine import build
from .operating import OUT, solve_one
from .work import spread_over

STEP_W_M2 = 20.0
KNOTS = 71  # 0 to 1400 W/m2
DAYLIGHT_WARMER_K = 3.0  # daylight hours against the mean of day and night (from memory)


class Curve(NamedTuple):
    """Flow over irradiance: flow_l_min (n, 12, KNOTS) at irradiance_w_m2 (KNOTS,), at each month's air and level."""

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
def _curves(rows, pump, cp, cv, ci, air, level, first, last, flows):
    out = np.empty(OUT)
    for i in range(first, last):
        p = pump[i]
        for m in range(12):
            if m > 0 and level[i, m] == level[i, m - 1] and abs(air[i, m] - air[i, m - 1]) < 1e-9:
                flows[i, m] = flows[i, m - 1]
                continue
            guess = -1.0
            for k in range(KNOTS):
                guess = solve_one(rows[i], cp[p], cv[p], ci[p], k * STEP_W_M2, air[i, m], level[i, m], guess, out)
                flows[i, m, k] = out[0]


def curve(fleet, *, air_c=None, static_level_m=None, faults=NONE, cores=1):
    """Each unit's flow over in-plane irradiance, by month (Curve).

    air_c (n, 12) or broadcastable: daylight air; left out: the default by place. static_level_m likewise; left out: the
    fleet's record.
    """
    n = fleet.n
    air = default_air(fleet.latitude_deg, fleet.altitude_m) if air_c is None else _monthly(air_c, n, "air_c")
    level = fleet.static_level_m if static_level_m is None else _monthly(static_level_m, n, "static_level_m")
    machine = build(fleet, faults)
    flows = np.empty((n, 12, KNOTS))
    air, level = np.ascontiguousarray(air), np.ascontiguousarray(level)
    spread_over(
        cores,
        n,
        lambda a, b: _curves(
            machine.rows, machine.pump, machine.power_c, machine.voltage_c, machine.current_c, air, level, a, b, flows
        ),
    )
    return Curve(np.arange(KNOTS) * STEP_W_M2, flows, air)


@njit(cache=True, nogil=True, inline="always")
def read_off(flows, irradiance):
    """Flow at an irradiance, between the knots of one curve."""
    x = irradiance / STEP_W_M2
    k = int(x)
    if k >= KNOTS - 1:
        return flows[KNOTS - 1]
    return flows[k] + (x - k) * (flows[k + 1] - flows[k])


@njit(cache=True, nogil=True)
def _days(place, declination, outer, flows, shade_am, shade_pm, first, last, volume, plane, level):
    sunny, shady, share = np.empty(STEPS), np.empty(STEPS), np.empty(1)
    for i in range(first, last):
        lat, tilt, azimuth, ground = place[i]
        for m in range(12):
            for j in range(KINDS.size):
                hours, level[i, m, j], plane[i, m, j], _ = frame_light(
                    lat, declination[m], outer[m], tilt, azimuth, ground, KINDS[j], sunny, shady, share
                )
                water = 0.0
                for s in range(STEPS):
                    left = 1.0 - (shade_am[i] if s < STEPS // 2 else shade_pm[i])
                    water += share[0] * read_off(flows[i, m], sunny[s] * left)
                    water += (1.0 - share[0]) * read_off(flows[i, m], shady[s] * left)
                volume[i, m, j] = water * hours * 60.0


def day_table(fleet, curves, faults=NONE, cores=1):
    """Water by unit, month and kind of day (DayTable), from the flow curves."""
    n = fleet.n
    place = np.radians(
        np.stack(
            [
                fleet.latitude_deg,
                fleet.tilt_deg + faults.column("tilt_turn_deg", n),
                fleet.azimuth_deg + faults.column("azimuth_turn_deg", n),
                np.degrees(fleet.ground_reflectance),
            ],
            axis=1,
        )
    )
    declination = np.radians(sun.declination_deg(MONTH_MIDDLE))
    outer = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(MONTH_MIDDLE)
    volume, plane, level = (np.empty((n, 12, KINDS.size)) for _ in range(3))
    am = np.ascontiguousarray(faults.column("shade_morning_fraction", n))
    pm = np.ascontiguousarray(faults.column("shade_afternoon_fraction", n))
    spread_over(
        cores,
        n,
        lambda a, b: _days(place, declination, outer, curves.flow_l_min, am, pm, a, b, volume, plane, level),
    )
    return DayTable(volume, plane, level)


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
        curves = curve(fleet, air_c=air_c, static_level_m=level, faults=faults, cores=cores)
        table = day_table(fleet, curves, faults, cores)
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
