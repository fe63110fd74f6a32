"""One installation's day hour by hour: when water begins and ends, what stops it, and how long the main takes to fill;
and what a frame that stands wrong costs, in litres by month."""

from dataclasses import dataclass

import numpy as np

from sizing import chain, orient, sky
from sizing.checks import Refusal

AZIMUTH_ERRORS = (10, 20, 30, 45, 90)
TILT_ERRORS = (-10, 10, 20)
BRIGHTEST = 1990.0  # W/m², more than any sky gives: a day's sun may be typed that no day has
ORDINARY_SUN = 700.0  # W/m², in which the minutes to first water are told


@dataclass(frozen=True)
class DayInHours:
    """flow_l_min, tank_l (24,) by hours of sun time; None where the tank is not known. start_h, stop_h: sun time of
    first and last water; full_h: hours that a full tank stops the pump, dry_h: held to what the well gives; short_l:
    draw that found no water; spilled_l: over the rim; first_water_min from an empty main in an ordinary sun (inf where
    it does not lift then), full_main_min from a full one; drawn: whether a need and a tank are known."""

    flow_l_min: list
    volume_l: float
    start_h: float | None
    stop_h: float | None
    morning_share: float | None
    full_h: float
    dry_h: float
    tank_l: list | None
    short_l: float
    spilled_l: float
    first_water_min: float
    full_main_min: float
    drawn: bool


def day_in_hours(fleet, day_of_year, ghi_kwh_m2, air_c):
    """DayInHours of one installation, in light that is even within each hour."""
    opened, left = chain.open_sky(fleet, day_of_year)
    share = 1.0 if fleet.skyline_deg is None else sky.sky_share(fleet.skyline_deg[0])
    light = sky.caught_hours(
        fleet.latitude_deg[0], day_of_year, ghi_kwh_m2, fleet.tilt_deg[0], fleet.azimuth_deg[0],
        ground_reflectance=fleet.ground_reflectance[0], sky_share=share, beam_open=opened[0, 0] * left[0],
    )  # fmt: skip
    month = int((day_of_year - 1) // 30.4375) % 12
    level = float(fleet.static_level_m[0, month])
    got = chain.day(fleet, np.minimum(light, BRIGHTEST)[None], air_c, level, month=month)
    empty, full = (
        float(chain.first_water(fleet, ORDINARY_SUN, air_c, level, main_full=is_full)[0]) for is_full in (False, True)
    )
    return DayInHours(
        flow_l_min=got.flow_l_min[0].tolist(), volume_l=float(got.volume_l[0]), start_h=_known(got.start_h[0]),
        stop_h=_known(got.stop_h[0]), morning_share=_known(got.morning_share[0]), full_h=float(got.full_h[0]),
        dry_h=float(got.dry_h[0]), tank_l=None if np.isnan(got.tank_l[0]).all() else got.tank_l[0].tolist(),
        short_l=float(got.short_l[0]), spilled_l=float(got.spilled_l[0]), first_water_min=empty, full_main_min=full,
        drawn=bool(np.isfinite(fleet.tank_capacity_l[0]) and np.isfinite(fleet.need_l_day[0]).all()),
    )  # fmt: skip


def _known(value):
    return None if np.isnan(value) else float(value)


@dataclass(frozen=True)
class FrameCost:
    """What one error of the frame costs: degrees turned or tilted, litres a day lost by month (12,) and of the year's
    water the share; below zero a gain."""

    kind: str
    error_deg: int
    by_month_l: list
    by_year: float

    @property
    def flatter_deg(self):
        return -self.error_deg


def frame_costs(fleet, day_ghi_kwh_m2):
    """[FrameCost] of an installation; empty where its sun is not known. day_ghi_kwh_m2 (12, kinds)."""
    days = np.asarray(day_ghi_kwh_m2, float)
    if not np.isfinite(days).all():
        return []
    tilts = [step for step in TILT_ERRORS if 0 <= fleet.tilt_deg[0] + step <= 90]
    turned = np.array([*AZIMUTH_ERRORS, *[0] * len(tilts)], float)
    tilted = np.array([*[0] * len(AZIMUTH_ERRORS), *tilts], float)
    try:
        cost = orient.cost_in_litres(fleet, days, turned, tilted)
    except Refusal:
        return []
    if not cost.right.sum() > 0:
        return []
    return [
        FrameCost("azimuth" if turn else "tilt", int(turn or tilt), (cost.right - wrong).tolist(), float(year))
        for turn, tilt, wrong, year in zip(turned, tilted, cost.wrong, cost.by_year)
    ]
