"""What sun and air a place usually has: the coarse default by place, a site's own twelve values, or a weather file; and
what the sky did on real days.

Every answer is a `Climate` that says where it comes from and how far it may be off.
"""

from sizing.climate.air import AIR_BAND_K, air_by_hour_c, default_air_c
from sizing.climate.days import KINDS, day_kinds, pooled_shape
from sizing.climate.estimates import (
    clear_sky_kwh_m2_day,
    ghi_from_sunshine_kwh_m2_day,
    ghi_from_temperatures_kwh_m2_day,
)
from sizing.climate.files import FILE_KINDS, WeatherFile, read_weather_file
from sizing.climate.places import Climate, default_climate, own_climate
from sizing.climate.records import RECORD_KINDS, DailyWeather, daily_weather, read_daily_weather

__all__ = [
    "AIR_BAND_K",
    "FILE_KINDS",
    "KINDS",
    "RECORD_KINDS",
    "Climate",
    "DailyWeather",
    "WeatherFile",
    "air_by_hour_c",
    "clear_sky_kwh_m2_day",
    "daily_weather",
    "day_kinds",
    "default_air_c",
    "default_climate",
    "ghi_from_sunshine_kwh_m2_day",
    "ghi_from_temperatures_kwh_m2_day",
    "own_climate",
    "pooled_shape",
    "read_daily_weather",
    "read_weather_file",
]
