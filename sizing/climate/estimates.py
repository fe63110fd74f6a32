"""Irradiation from what an old weather station wrote down: hours of sunshine, or the day's warmest and coldest."""

import numpy as np

from sizing import sun
from sizing.checks import within

__all__ = ["clear_sky_kwh_m2_day", "ghi_from_sunshine_kwh_m2_day", "ghi_from_temperatures_kwh_m2_day"]

INLAND, COAST = 0.16, 0.19  # of the square root law below; FAO-56


def ghi_from_sunshine_kwh_m2_day(latitude_deg, day_of_year, sunshine_h):
    """Global horizontal irradiation from hours of bright sunshine a day. Shapes broadcast; for a month use its 15th.

    (0.25 + 0.50 n / N) of what comes in above the air. One sigma about 5 % on a month where nobody fitted the two
    numbers locally (a judgement). More sunshine than daylight (beyond half an hour of rounding) gives NaN.
    Source: Angstrom & Prescott with the numbers of FAO-56, equation 35.
    """
    declination = sun.declination_deg(day_of_year)
    daylight = sun.daylight_hours(latitude_deg, declination)
    hours = within(sunshine_h, 0, 24, "sunshine_h")
    share = np.where(hours <= daylight + 0.5, np.minimum(hours / np.maximum(daylight, 1e-9), 1), np.nan)
    return (0.25 + 0.50 * share) * sun.extraterrestrial_kwh_m2_day(latitude_deg, day_of_year)


def ghi_from_temperatures_kwh_m2_day(latitude_deg, day_of_year, warmest_c, coldest_c, *, coast=False):
    """Global horizontal irradiation from the day's range of air temperature. Shapes broadcast; means of a month best.

    0.16 (inland; 0.19 on a coast) times the square root of the range times what comes in above the air, at most its
    0.75. One sigma about 10 % on a month (a judgement). A coldest above the warmest gives NaN.
    Source: Hargreaves & Samani as FAO-56, equation 50.
    """
    above = sun.extraterrestrial_kwh_m2_day(latitude_deg, day_of_year)
    apart = within(warmest_c, -60, 60, "warmest_c") - within(coldest_c, -60, 60, "coldest_c")
    share = (COAST if coast else INLAND) * np.sqrt(np.where(apart >= 0, apart, np.nan))
    return np.minimum(share, 0.75) * above


def clear_sky_kwh_m2_day(latitude_deg, day_of_year, altitude_m=0.0):
    """What a cloudless day gives on level ground: (0.75 + 2e-5 altitude) of what comes in above the air.

    Shapes broadcast. Source: FAO-56, equation 37.
    """
    altitude = within(altitude_m, -500, 6000, "altitude_m")
    return (0.75 + 2e-5 * altitude) * sun.extraterrestrial_kwh_m2_day(latitude_deg, day_of_year)
