"""How a day's irradiation is shared among its hours, and how much of it is diffuse."""

import numpy as np

from sizing.checks import within

__all__ = [
    "clearness",
    "diffuse_share_day",
    "diffuse_share_hour",
    "diffuse_share_month",
    "hour_share_diffuse",
    "hour_share_global_raw",
    "hour_shares",
    "share_sum_raw",
]

_WINTER_SUNSET_DEG = 81.4  # the correlations change here


def clearness(irradiation, extraterrestrial):
    """Share of the energy above the air that reaches the ground, same unit for both; 0 where there is no sun.

    Shapes broadcast. Not limited to 1: a measured day above that is for the caller to question.
    """
    irradiation = np.asarray(irradiation, dtype=np.float64)
    above = np.asarray(extraterrestrial, dtype=np.float64)
    return np.where(above > 0, irradiation / np.where(above > 0, above, 1.0), np.where(np.isnan(above), np.nan, 0.0))


def diffuse_share_day(clearness, sunset_angle_deg):
    """Diffuse part of one day's horizontal irradiation. Shapes broadcast; clearness 0..1.

    Source: Erbs, Klein & Duffie 1982, Solar Energy 28:293, daily correlation (Duffie & Beckman, equation 2.11.1).
    """
    k = within(clearness, 0, 1.2, "clearness")
    winter = np.where(k < 0.715, 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    other = np.where(k < 0.722, 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    sunset = np.asarray(sunset_angle_deg, float)
    return _known(k + sunset, np.where(sunset <= _WINTER_SUNSET_DEG, winter, other))


def diffuse_share_month(clearness, sunset_angle_deg):
    """Diffuse part of a month's mean day. Shapes broadcast; made for clearness 0.3..0.8, held at the ends outside.

    Source: Erbs, Klein & Duffie 1982, Solar Energy 28:293, monthly correlation (Duffie & Beckman, equation 2.12.1).
    """
    k = np.clip(within(clearness, 0, 1.2, "clearness"), 0.3, 0.8)
    winter = 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    other = 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3
    sunset = np.asarray(sunset_angle_deg, float)
    return _known(k + sunset, np.where(sunset <= _WINTER_SUNSET_DEG, winter, other))


def diffuse_share_hour(clearness):
    """Diffuse part of one hour's (or moment's) horizontal irradiance. Shape kept; clearness 0..1.

    Source: Erbs, Klein & Duffie 1982, Solar Energy 28:293, hourly correlation (Duffie & Beckman, equation 2.10.1).
    """
    k = within(clearness, 0, 2, "clearness")
    middle = 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return _known(k, np.where(k <= 0.22, 1 - 0.09 * k, np.where(k <= 0.8, middle, 0.165)))


def _known(k, share):
    return np.where(np.isnan(k), np.nan, share)


def _profile(sunset_angle_deg):
    """The two shape numbers of Collares-Pereira & Rabl and the sunset angle in radians."""
    ws = np.radians(within(sunset_angle_deg, 0, 180, "sunset_angle_deg"))
    bend = np.sin(ws - np.pi / 3)
    return 0.409 + 0.5016 * bend, 0.6609 - 0.4767 * bend, ws


def hour_share_diffuse(sunset_angle_deg, hour_angle_deg):
    """Hour's share of the day's diffuse irradiation, by its middle; 0 at night. Shapes broadcast.

    Source: Liu & Jordan 1960, Solar Energy 4:1. Integrates to 1 over the day for any sunset angle.
    """
    _, _, ws = _profile(sunset_angle_deg)
    w = np.radians(hour_angle_deg)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.pi / 24 * (np.cos(w) - np.cos(ws)) / (np.sin(ws) - ws * np.cos(ws))
    return np.where((np.abs(w) < ws) & (ws > 0), share, np.where(np.isnan(ws + w), np.nan, 0.0))


def hour_share_global_raw(sunset_angle_deg, hour_angle_deg):
    """Hour's share of the day's global irradiation as published, by its middle; 0 at night. Shapes broadcast.

    Does not add up to 1: divide by `share_sum_raw`. Source: Collares-Pereira & Rabl 1979, Solar Energy 22:155.
    """
    a, b, _ = _profile(sunset_angle_deg)
    return (a + b * np.cos(np.radians(hour_angle_deg))) * hour_share_diffuse(sunset_angle_deg, hour_angle_deg)


def share_sum_raw(sunset_angle_deg):
    """What the published hour shares add up to over the day (0.99 to 1.001). Closed form of their integral."""
    a, b, ws = _profile(sunset_angle_deg)
    with np.errstate(invalid="ignore", divide="ignore"):
        return a + b * (ws - np.sin(ws) * np.cos(ws)) / (2 * (np.sin(ws) - ws * np.cos(ws)))


def hour_shares(sunset_angle_deg):
    """Shares of global and of diffuse irradiation in the 24 solar hours 0-1 ... 23-24.

    Shapes: (...) gives two arrays (..., 24). Integrated over the lit part of each hour, not read at its middle, so
    each adds up to exactly 1 (0 in polar night) and the hours of sunrise and sunset get what is theirs.
    """
    a, b, ws = (x[..., None] for x in _profile(sunset_angle_deg))
    edges = np.clip(np.radians(np.arange(-180, 181, 15.0)), -ws, ws)
    plain = np.sin(edges) - edges * np.cos(ws)  # integral of cos(w) - cos(ws)
    curved = edges / 2 + np.sin(2 * edges) / 4 - np.sin(edges) * np.cos(ws)  # integral of cos(w) (cos(w) - cos(ws))
    diffuse, total = np.diff(plain), np.diff(a * plain + b * curved)
    with np.errstate(invalid="ignore", divide="ignore"):
        return tuple(
            np.where(ws > 0, part / part.sum(axis=-1, keepdims=True), np.where(np.isnan(ws), np.nan, 0.0))
            for part in (total, diffuse)
        )
