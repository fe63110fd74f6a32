"""A day's irradiation turned into the irradiance that the frame sees through the day, compiled for whole fleets.

The equations are those of `sky` (Collares-Pereira & Rabl 1979, Liu & Jordan 1960, Erbs et al. 1982, Hay & Davies 1980),
evaluated at the middles of STEPS equal parts of the daylight. On top comes what a mean hour hides: clouds come and go,
and a pump does not answer to the mean of sun and shade. In each part the beam shines for a share of the time, the
sunshine share of Angstrom and Prescott with the FAO's coefficients ((KT - 0.25) / 0.5; FAO-56, equation 35), and is
absent otherwise; sky and ground light go on in both.
"""

import numpy as np
from numba import njit

STEPS = 20  # parts of the daylight
KINDS = np.array([0.04, 0.12, 0.2, 0.28, 0.36, 0.44, 0.51, 0.57, 0.62, 0.67, 0.72, 0.77, 0.83])  # clearness of days
MONTH_MIDDLE = np.array([15.5, 45.5, 75.0, 105.5, 136.0, 166.5, 197.0, 228.0, 258.5, 289.0, 319.5, 350.0])
GLASS_LOSS = 0.05  # incidence-angle coefficient of flat glass, 1 - 0.05 (1/cos - 1): ASHRAE 93 form (from memory)


@njit(cache=True, nogil=True)
def erbs_daily(clearness, sunset_rad):
    """Diffuse share of a day. Source: Erbs, Klein & Duffie (1982), Solar Energy 28:293."""
    k = clearness
    if sunset_rad < 1.4208:
        if k < 0.715:
            return 1.0 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4
        return 0.143
    if k < 0.722:
        return 1.0 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3
    return 0.175


@njit(cache=True, nogil=True)
def frame_light(lat, dec, extraterrestrial_w, tilt, azimuth, ground, clearness, sunny, shade, share):
    """Irradiance in the plane (after the glass, W/m2) in each part of the daylight, with and without the beam.

    Angles in radians; extraterrestrial_w: solar constant times distance factor. Fills sunny and shade (STEPS,), where
    share[0] gets the sunshine share. Returns (hours of one part, level irradiation kWh/m2, in-plane mean irradiation
    kWh/m2, extraterrestrial kWh/m2).
    """
    cos_set = -np.tan(lat) * np.tan(dec)
    sunset = np.arccos(min(max(cos_set, -1.0), 1.0))
    part = 2.0 * sunset / STEPS
    hours = part * 12.0 / np.pi
    sunny[:] = 0.0
    shade[:] = 0.0
    if sunset < 0.05:
        share[0] = 0.0
        return 0.0, 0.0, 0.0, 0.0
    a = 0.409 + 0.5016 * np.sin(sunset - 1.0472)
    b = 0.6609 - 0.4767 * np.sin(sunset - 1.0472)
    total, level0 = 0.0, 0.0
    for i in range(STEPS):
        w = -sunset + (i + 0.5) * part
        up = np.cos(lat) * np.cos(dec) * (np.cos(w) - np.cos(sunset))
        total += (a + b * np.cos(w)) * up
        level0 += up
    day0 = extraterrestrial_w * level0 * hours / 1000.0
    diffuse_share = erbs_daily(clearness, sunset)
    beam_share = 1.0 - diffuse_share
    bright = min(max((clearness - 0.25) / 0.5, 0.0), 1.0)
    bright = max(bright, min(clearness * beam_share / 0.62, 1.0))  # the beam never beyond a clear day's
    share[0] = bright
    plane = 0.0
    ct, st = np.cos(tilt), np.sin(tilt)
    for i in range(STEPS):
        w = -sunset + (i + 0.5) * part
        up = np.cos(lat) * np.cos(dec) * (np.cos(w) - np.cos(sunset))
        ghi = clearness * extraterrestrial_w * level0 * (a + b * np.cos(w)) * up / total
        dhi = min(clearness * diffuse_share * extraterrestrial_w * up, ghi)
        beam = ghi - dhi
        outer = extraterrestrial_w * up
        east = -np.cos(dec) * np.sin(w)
        north = np.sin(dec) * np.cos(lat) - np.cos(dec) * np.sin(lat) * np.cos(w)
        incidence = max(east * st * np.sin(azimuth) + north * st * np.cos(azimuth) + up * ct, 0.0)
        ratio = min(incidence / max(up, 0.03), 8.0)
        through = max(1.0 - GLASS_LOSS * (1.0 / max(incidence, 0.05) - 1.0), 0.0)
        around = min(beam / max(outer, 1e-9), 1.0)
        direct = (beam + dhi * around) * ratio * through
        rest = 0.97 * (dhi * (1.0 - around) * (1.0 + ct) / 2.0 + ghi * ground * (1.0 - ct) / 2.0)
        shade[i] = rest
        sunny[i] = rest + (direct / bright if bright > 0.0 else 0.0)
        plane += (direct + rest) * hours / 1000.0
    return hours, clearness * day0, plane, day0
