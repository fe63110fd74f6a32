"""A second way to a month's tilted irradiation, in one line a month: the check on the hour by hour way."""

import numpy as np

from sizing import sun
from sizing.checks import within
from sizing.sky.split import diffuse_share_month

__all__ = ["month_on_plane_kwh_m2_day", "monthly_beam_ratio"]


def monthly_beam_ratio(latitude_deg, declination_deg, tilt_deg):
    """Beam on a plane that faces the equator over beam on level ground, for a whole day above the air.

    Shapes broadcast. Source: Liu & Jordan 1962 as extended by Klein 1977 (Duffie & Beckman, equation 2.19.3a, with
    the southern form mirrored). Holds for planes that face the equator only.
    """
    lat = np.radians(within(latitude_deg, -66, 66, "latitude_deg"))
    dec = np.radians(declination_deg)
    facing = np.where(lat >= 0, lat - np.radians(within(tilt_deg, 0, 90, "tilt_deg")), lat + np.radians(tilt_deg))
    level_set = np.radians(sun.sunset_angle_deg(latitude_deg, declination_deg))
    plane_set = np.minimum(level_set, np.arccos(np.clip(-np.tan(facing) * np.tan(dec), -1, 1)))
    tilted = np.cos(facing) * np.cos(dec) * np.sin(plane_set) + plane_set * np.sin(facing) * np.sin(dec)
    level = np.cos(lat) * np.cos(dec) * np.sin(level_set) + level_set * np.sin(lat) * np.sin(dec)
    return tilted / level


def month_on_plane_kwh_m2_day(
    latitude_deg, declination_deg, clearness, ghi_kwh_m2_day, tilt_deg, *, ground_reflectance=0.2
):
    """Month's mean irradiation on a plane that faces the equator, isotropic sky. Shapes broadcast.

    Source: Liu & Jordan 1963, Klein 1977 (Duffie & Beckman, equation 2.19.1).
    """
    diffuse = diffuse_share_month(clearness, sun.sunset_angle_deg(latitude_deg, declination_deg))
    tilt = np.cos(np.radians(within(tilt_deg, 0, 90, "tilt_deg")))
    share = (
        (1 - diffuse) * monthly_beam_ratio(latitude_deg, declination_deg, tilt_deg)
        + diffuse * (1 + tilt) / 2
        + ground_reflectance * (1 - tilt) / 2
    )
    return ghi_kwh_m2_day * share
