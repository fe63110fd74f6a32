"""A day's irradiation turned into the irradiance that the frame sees through the day, compiled for whole fleets.

The equations are those of `sky` (Collares-Pereira & Rabl 1979, Liu & Jordan 1960, Erbs et al. 1982, Hay & Davies 1980),
evaluated at the middles of STEPS equal parts of the daylight. On top comes what a mean hour hides: clouds come and go,
and a pump does not answer to the mean of sun and shade. In each part the sun is bright for a share of the time, the
sunshine share of Angstrom and Prescott with the FAO's coefficients ((KT - 0.25) / 0.5; FAO-56, equation 35); otherwise
clouds take CONTRAST of the beam, and sky and ground light go on. Days of one clearness are partly hazy and even, partly
broken; 0.6 lies between the variation of quarter hours about the day's shape on broken days and on hazy ones as seen
in readings of five climates (no published source).
"""

import numpy as np

from .. import compiled

STEPS = 16  # parts of the daylight
KINDS = np.array([0.04, 0.12, 0.2, 0.28, 0.36, 0.44, 0.51, 0.57, 0.62, 0.67, 0.72, 0.77, 0.83])  # clearness of days
MONTH_MIDDLE = np.array([15.5, 45.5, 75.0, 105.5, 136.0, 166.5, 197.0, 228.0, 258.5, 289.0, 319.5, 350.0])
CONTRAST = 0.6  # share of the beam that a cloud of the middling sort takes; see above
GLASS_LOSS = 0.05  # incidence-angle coefficient of flat glass, 1 - 0.05 (1/cos - 1): ASHRAE 93 form (from memory)
GLASS_DIFFUSE = 0.97  # the same for light from all over the sky, at its effective angle near 60 degrees
(GLOBAL, DIFFUSE, OUTER, TURN, PER_OUTER, OPEN, SHARES) = range(7)  # rows of a day's geometry; SHARES counts them


@compiled()
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


@compiled()
def day_geometry(lat, dec, outer_w, tilt, azimuth, geometry):
    """What a day's parts have in common for every kind of day. Angles in radians; outer_w: solar constant of the date.

    Fills geometry (SHARES, STEPS): mean global and diffuse irradiance for a clearness and a diffuse share of one,
    irradiance above the air, and beam in the plane (after the glass) over beam on level ground; all of it open.
    Returns (hours of one part, hour angle of sunset, irradiation above the air kWh/m2); zero hours in polar night.
    """
    sunset = np.arccos(min(max(-np.tan(lat) * np.tan(dec), -1.0), 1.0))
    if sunset < 0.05:
        geometry[:] = 0.0
        return 0.0, sunset, 0.0
    part = 2.0 * sunset / STEPS
    hours = part * 12.0 / np.pi
    a = 0.409 + 0.5016 * np.sin(sunset - 1.0472)
    b = 0.6609 - 0.4767 * np.sin(sunset - 1.0472)
    cl, sl, cd, sd = np.cos(lat), np.sin(lat), np.cos(dec), np.sin(dec)
    ct, st, ca, sa = np.cos(tilt), np.sin(tilt), np.cos(azimuth), np.sin(azimuth)
    total, level0 = 0.0, 0.0
    # hour by hour the same turn: sine and cosine by the rule of sums
    cw, sw, cp, sp = np.cos(0.5 * part - sunset), np.sin(0.5 * part - sunset), np.cos(part), np.sin(part)
    for i in range(STEPS):
        if i > 0:
            cw, sw = cw * cp - sw * sp, sw * cp + cw * sp
        up = max(sl * sd + cl * cd * cw, 0.0)
        incidence = max(-cd * sw * st * sa + (sd * cl - cd * sl * cw) * st * ca + up * ct, 0.0)
        through = max(1.0 - GLASS_LOSS * (1.0 / max(incidence, 0.05) - 1.0), 0.0)
        geometry[GLOBAL, i] = (a + b * cw) * up
        geometry[OUTER, i] = outer_w * up
        geometry[TURN, i] = min(incidence / max(up, 0.03), 8.0) * through
        total += (a + b * cw) * up
        level0 += up
    for i in range(STEPS):
        geometry[GLOBAL, i] *= outer_w * level0 / total
        geometry[DIFFUSE, i] = geometry[OUTER, i]
        geometry[OPEN, i] = 1.0
        geometry[PER_OUTER, i] = 1.0 / max(geometry[OUTER, i], 1e-9)
    return hours, sunset, outer_w * level0 * hours / 1000.0


@compiled()
def shade_low_sun(geometry, outer_w, morning_top, afternoon_top):
    """Takes the beam away while the sun stands lower than something before or after noon; tops as sines of angles."""
    half = STEPS // 2
    for i in range(STEPS):
        top = morning_top if i < half else afternoon_top
        if top <= 0.0:
            continue
        low, high = max(i - 1, 0), min(i + 1, STEPS - 1)
        width = 0.5 * abs(geometry[OUTER, high] - geometry[OUTER, low]) + 1e-9 * outer_w
        geometry[OPEN, i] = min(max(0.5 + (geometry[OUTER, i] - outer_w * top) / width, 0.0), 1.0)


@compiled(inline="always")
def sunshine(clearness, diffuse_share):
    """Share of the time that the sun is bright; never so small that the beam would pass a clear day's."""
    bright = min(max((clearness - 0.25) / 0.5, 0.0), 1.0)
    return max(bright, min(clearness * (1.0 - diffuse_share) / 0.62, 1.0))


@compiled(inline="always", fastmath={"contract", "arcp", "nsz"})
def part_light(geometry, i, clearness, diffuse_share, bright, ground_share, sky_share):
    """(bright, dull, mean, mean without shade) irradiance in the plane, W/m2, in one part of a day.

    ground_share: ground reflectance times (1 - cos tilt) / 2; sky_share: (1 + cos tilt) / 2.
    """
    ghi = clearness * geometry[GLOBAL, i]
    dhi = min(clearness * diffuse_share * geometry[DIFFUSE, i], ghi)
    beam = ghi - dhi
    around = min(beam * geometry[PER_OUTER, i], 1.0)
    seen = (beam + dhi * around) * geometry[TURN, i]
    direct = seen * geometry[OPEN, i]
    rest = GLASS_DIFFUSE * (dhi * (1.0 - around) * sky_share + ghi * ground_share)
    gain = CONTRAST / bright - CONTRAST if bright > 0.0 else -CONTRAST
    return rest + direct * (1.0 + gain), rest + direct * (1.0 - CONTRAST), rest + direct, rest + seen
