"""What the compiled loops over units take, and the defaults of air and level by month."""

from typing import NamedTuple

import numpy as np

from .. import climate, sun
from ..checks import within
from .asking import module_power
from .daylight import MONTH_MIDDLE
from .faults import NONE
from .machine import build

DAYLIGHT_WARMER_K = 3.0  # daylight hours against the mean of day and night (from memory)


class Prepared(NamedTuple):
    """loops: rows, pump, kind of module, coefficients of power, voltage, current, watts, air (n, 12), level (n, 12);
    place: (n, 4) latitude, tilt, azimuth of the frame in radians, ground reflectance; shade: (n, 4) shares of
    light lost before and after noon, sines of the heights that hide the sun before and after;
    declination, outer: (12,) radians and W/m2 above the air at the middles of the months."""

    loops: tuple
    place: np.ndarray
    shade: np.ndarray
    declination: np.ndarray
    outer: np.ndarray

    @property
    def air_c(self):
        """Daylight air by month, (n, 12)."""
        return self.loops[-2]

    @property
    def sun(self):
        """What the loops over days take on top of `loops`."""
        return self.declination, self.outer, self.place, self.shade


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
    air, level = np.ascontiguousarray(air), np.ascontiguousarray(level)
    place = np.stack(
        [
            np.radians(fleet.latitude_deg),
            np.radians(np.clip(fleet.tilt_deg + faults.column("tilt_turn_deg", n), 0, 90)),
            np.radians(fleet.azimuth_deg + faults.column("azimuth_turn_deg", n)),
            fleet.ground_reflectance,
        ],
        axis=1,
    )
    halves = ("morning", "afternoon")
    shade = [faults.column(f"shade_{half}_fraction", n) for half in halves]
    shade += [np.sin(np.radians(faults.column(f"shade_{half}_top_deg", n))) for half in halves]
    shade = np.stack(shade, axis=1)
    return Prepared(
        (m.rows, m.pump, m.kind, m.power_c, m.voltage_c, m.current_c, watts, air, level),
        place,
        shade,
        np.radians(sun.declination_deg(MONTH_MIDDLE)),
        sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(MONTH_MIDDLE),
    )


def monthly(value, n, name, low, high):
    """A value by unit and month, (n, 12), from a number, (n,), (12,), (n, 1) or (n, 12)."""
    value = np.asarray(within(value, low, high, name), float)
    if value.ndim == 1 and value.size == n and n != 12:
        value = value[:, None]
    return np.broadcast_to(value, (n, 12))
