"""Light on a frame by quarter hours of the demo's clock, and what is left of it behind a tree in the morning."""

import numpy as np

from sizing import chain, sky, sun

SECONDS = np.arange(6 * 3600, 18 * 3600 + 1, 900)
BEFORE_UTC_H = 2  # the demo's clock, the year round


def quarters(one, day_of_year, level_sun, shade_until_h):
    """Light in the plane of a single unit, W/m2, in the open and with the sun itself hidden until that hour of sun
    time; each (days, quarters). day_of_year, level_sun (kWh/m2) and shade_until_h by days."""
    shift = float(one.longitude_deg[0]) / 15 - BEFORE_UTC_H
    hour = SECONDS / 3600 + shift + sun.equation_of_time_min(day_of_year)[:, None] / 60
    frame = (one.latitude_deg, day_of_year, level_sun, one.tilt_deg, one.azimuth_deg)
    days = len(day_of_year)
    whole, hidden = (
        _between(hour, sky.caught_hours(*frame, beam_open=np.full((days, 24), share))) for share in (1.0, 0.0)
    )
    return whole, np.where(hour < shade_until_h[:, None], hidden, whole)


def water_left(one, dates, day_of_year, level_sun, shade_until_h):
    """Share of each day's water that is left under such a shade, (days,)."""
    left, days = np.ones(len(dates)), np.flatnonzero(shade_until_h > 0)
    curve = chain.curve(one)
    for k, *lights in zip(days, *quarters(one, day_of_year[days], level_sun[days], shade_until_h[days])):
        flow = curve.flow_l_min[0, dates[k].month - 1]
        due, came = (np.interp(light, curve.irradiance_w_m2, flow).sum() for light in lights)
        left[k] = came / max(due, 1e-9)
    return left


def _between(hour, hourly):
    """Values at the middles of 24 hours, (days, 24), at hours (days, quarters)."""
    return np.stack([np.interp(hours, np.arange(24) + 0.5, day) for hours, day in zip(hour, hourly)])
