"""What the compiled loops over units take, and the defaults of air and level by month."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from .. import climate, sky, sun
from ..checks import within
from ..sky.light import frames, glass_table
from .asking import module_power
from .daylight import MONTH_MIDDLE
from .faults import NONE
from .machine import build

DAYLIGHT_WARMER_K = 3.0  # daylight hours against the mean of day and night (from memory)


class Prepared(NamedTuple):
    """loops: rows, pump, kind of module, coefficients of power, voltage, current, watts, air (n, 12), level (n, 12);
    frame: (n, 9) as `sky.light.frames`; shade: (n, 4) shares of light lost before and after noon, sines of the heights
    that hide the sun before and after; dates: (3, 12) sine and cosine of the declination and W/m2 across the beam above
    the air at the middles of the months; hidden: which (n,) points into opened (k, 12, 24) and left (k, 24), the
    skyline's and the shade windows' shares of each hour, -1 under an open sky."""

    loops: tuple
    frame: np.ndarray
    shade: np.ndarray
    dates: np.ndarray
    hidden: tuple

    @property
    def air_c(self):
        """Daylight air by month, (n, 12)."""
        return self.loops[-2]

    @property
    def sun(self):
        """What the loops over days take on top of `loops`."""
        return self.dates, glass_table(), self.frame, self.shade, *self.hidden


def default_air(latitude_deg, altitude_m):
    """Daylight air temperature by month, C, (n, 12): `climate.default_air_c` of the place, 3 K warmer by day."""
    months, _band = climate.default_air_c(latitude_deg, altitude_m)
    return months + DAYLIGHT_WARMER_K


def prepare(fleet, air_c=None, static_level_m=None, faults=NONE):
    """Everything about a fleet that its days have in common (Prepared)."""
    n = fleet.n
    air = default_air(fleet.latitude_deg, fleet.altitude_m) if air_c is None else monthly(air_c, n, "air_c", -60, 70)
    level = fleet.static_level_m
    if static_level_m is not None:
        level = monthly(static_level_m, n, "static_level_m", 0, 1000)
    m = build(fleet, faults)
    watts = np.stack([module_power(tuple(map(float, d))) for d in m.diodes])
    # copies of one make: for arrays that may not be written to the loops would be compiled once more
    air, level = np.array(air, float, order="C"), np.array(level, float, order="C")
    frame = frames(
        fleet.latitude_deg,
        np.clip(fleet.tilt_deg + faults.column("tilt_turn_deg", n), 0, 90),
        fleet.azimuth_deg + faults.column("azimuth_turn_deg", n),
        fleet.ground_reflectance,
        1.0 if fleet.skyline_deg is None else sky.sky_share(fleet.skyline_deg),
    )
    halves = ("morning", "afternoon")
    shade = [faults.column(f"shade_{half}_fraction", n) for half in halves]
    shade += [np.sin(np.radians(faults.column(f"shade_{half}_top_deg", n))) for half in halves]
    shade = np.stack(shade, axis=1)
    return Prepared(
        (m.rows, m.pump, m.kind, m.power_c, m.voltage_c, m.current_c, watts, air, level),
        np.ascontiguousarray(frame), shade, _dates(), _hidden(fleet),
    )  # fmt: skip


@lru_cache(maxsize=1)
def _dates():
    declination = np.radians(sun.declination_deg(MONTH_MIDDLE))
    outer = sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(MONTH_MIDDLE)
    return np.stack([np.sin(declination), np.cos(declination), outer])


def _hidden(fleet):
    """(which, opened, left), see Prepared: only for units that have a skyline or windows of shade."""
    which = np.full(fleet.n, -1)
    some = fleet.shaded
    if not some.any():
        return which, np.ones((1, 12, 24)), np.ones((1, 24))
    which[some] = np.arange(some.sum())
    opened, left = open_sky(fleet.take(some), MONTH_MIDDLE)
    return which, opened, left


def open_sky(fleet, day_of_year):
    """(share of each solar hour with the sun above the skyline (n, days, 24), share of the direct light that windows of
    shade leave (n, 24)) of a fleet on days of the year (days,); all ones under an open sky."""
    days = np.atleast_1d(day_of_year)
    opened, left = np.ones((fleet.n, days.size, 24)), np.ones((fleet.n, 24))
    if fleet.skyline_deg is not None:
        hills = (fleet.skyline_deg > 0).any(axis=1) & np.isfinite(fleet.latitude_deg)
        if hills.any():
            rings = fleet.skyline_deg[hills][:, None, :]
            opened[hills] = sky.open_hours(rings, fleet.latitude_deg[hills][:, None], days[None, :])
    if fleet.shade_left is not None:
        left = fleet.shade_left
    return opened, np.array(left, float, order="C")


def monthly(value, n, name, low, high):
    """A value by unit and month, (n, 12), from a number, (n,), (12,), (n, 1) or (n, 12)."""
    value = np.asarray(within(value, low, high, name), float)
    if value.ndim == 1 and value.size == n and n != 12:
        value = value[:, None]
    return np.broadcast_to(value, (n, 12))
