"""From a day's irradiation to what falls on a tilted array, hour by hour.

`split` shares a day among its hours and into beam and diffuse; `plane` tilts it; `skyline` takes away what hills,
trees and own windows of shade hide; `clear` knows the cloudless sky; `hours` does all of it for a fleet in one compiled
pass. Angles in degrees, bearings clockwise from true north.
"""

from sizing.sky.clear import (
    ClearSky,
    clear_sky,
    haurwitz_w_m2,
    ineichen,
    linke_turbidity,
    relative_air_mass,
)
from sizing.sky.hours import SOLAR_HOURS, Hours, caught_hours, hours
from sizing.sky.monthly import month_on_plane_kwh_m2_day, monthly_beam_ratio
from sizing.sky.plane import Plane, ground_incidence_deg, incidence_factor, on_plane, sky_incidence_deg
from sizing.sky.skyline import RING_BEARINGS_DEG, beam_open, open_hours, ring, shade_windows, sky_share
from sizing.sky.split import (
    clearness,
    diffuse_share_day,
    diffuse_share_hour,
    diffuse_share_month,
    hour_share_diffuse,
    hour_share_global_raw,
    hour_shares,
    share_sum_raw,
)

__all__ = [
    "RING_BEARINGS_DEG",
    "SOLAR_HOURS",
    "ClearSky",
    "Hours",
    "Plane",
    "beam_open",
    "caught_hours",
    "clear_sky",
    "clearness",
    "diffuse_share_day",
    "diffuse_share_hour",
    "diffuse_share_month",
    "ground_incidence_deg",
    "haurwitz_w_m2",
    "hour_share_diffuse",
    "hour_share_global_raw",
    "hour_shares",
    "hours",
    "incidence_factor",
    "ineichen",
    "linke_turbidity",
    "month_on_plane_kwh_m2_day",
    "monthly_beam_ratio",
    "on_plane",
    "open_hours",
    "relative_air_mass",
    "ring",
    "shade_windows",
    "share_sum_raw",
    "sky_incidence_deg",
    "sky_share",
]
