"""Air temperature where nobody measured it."""

import numpy as np

from sizing import sun
from sizing.checks import within

__all__ = ["AIR_BAND_K", "air_by_hour_c", "default_air_c"]

# One sigma of `default_air_c` on a month. 3.4 K: root mean square against the grid it was fitted to, land within 40
# degrees of the equator; 95 % of its months lie within 6.8 K. An error of 3.4 K is 1.4 % of a module's power.
AIR_BAND_K = 3.4
_BAND_BEYOND_40_K = 6.0  # a judgement: outside what it was fitted to
_BAND_WITHOUT_ALTITUDE_K = 4.5  # a judgement: 3.4 K and half a kilometre of hills
_USUAL_ALTITUDE_M = 300.0


def default_air_c(latitude_deg, altitude_m):
    """Mean air temperature by month and its one sigma: (...) gives (..., 12) in C and (...) in K. Shapes broadcast.

    An altitude that is not known (NaN) counts as 300 m and widens the band. Day and night together.
    T = 28.8 - 27.2 sin2(latitude) - 4.65 per km; swing over the year 0.32 |latitude| - 0.5, warmest on day 200 north
    and day 18 south. Holds: land within 40 degrees of the equator; coasts along a cold current
    (Lima) are up to 8 K cooler.
    Source: fitted for this project to the monthly mean surface temperatures of ITU-R P.1510.
    """
    lat = within(latitude_deg, -66, 66, "latitude_deg")
    given = within(altitude_m, -500, 6000, "altitude_m")
    altitude = np.where(np.isnan(given), _USUAL_ALTITUDE_M, given)
    year = 28.8 - 27.2 * np.sin(np.radians(lat)) ** 2 - 4.65 * altitude / 1000
    swing = np.maximum(0.32 * np.abs(lat) - 0.5, 0)
    warmest = np.where(lat >= 0, 200, 18)
    phase = 2 * np.pi * (sun.AVERAGE_DAYS - np.asarray(warmest)[..., None]) / 365
    months = np.asarray(year)[..., None] + np.asarray(swing)[..., None] * np.cos(phase)
    band = np.where(np.abs(lat) <= 40, np.where(np.isnan(given), _BAND_WITHOUT_ALTITUDE_K, AIR_BAND_K), np.nan)
    band = np.where(np.abs(lat) > 40, _BAND_BEYOND_40_K, band)
    return months, band


def air_by_hour_c(mean_c, clearness, solar_hour):
    """Air temperature at sundial hours of a day from the day's mean. Shapes broadcast.

    A cosine with its top at 15 and a swing of (clearness / 0.16)2 kelvin, held within 4 and 20: FAO-56, equation 50
    (irradiation from the temperature's swing, inland) solved for the swing. At ordinary clearness the middle of the
    day is about 4 K warmer than the mean.
    """
    swing = np.clip((within(clearness, 0, 1.2, "clearness") / 0.16) ** 2, 4, 20)
    return within(mean_c, -60, 60, "mean_c") + swing / 2 * np.cos(2 * np.pi * (np.asarray(solar_hour) - 15) / 24)
