"""Kinds of day, and what a mean hour of light hides: clouds come and go.

The light itself is that of `sky.light`, hour by hour. A pump does not answer to the mean of sun and shade, so in each
hour the sun is bright for a share of the time, the sunshine share of Angstrom and Prescott with the FAO's coefficients
((KT - 0.25) / 0.5; FAO-56, equation 35); otherwise clouds take CONTRAST of the beam, and sky and ground light go on.
Days of one clearness are partly hazy and even, partly broken; 0.6 lies between the variation of quarter hours about the
day's shape on broken days and on hazy ones as seen in readings of five climates (no published source).
"""

import numpy as np

from .. import compiled
from ..sky.light import (
    BEHIND_GLASS,
    DIFFUSE,
    GLOBAL,
    GROUND_GLASS,
    HOURS,
    LEFT,
    LIT,
    OPEN,
    OUTER,
    PER_OUTER,
    SKY_GLASS,
    diffuse_share,
    part_light,
)  # fmt: skip

KINDS = np.array([0.04, 0.12, 0.2, 0.28, 0.36, 0.44, 0.51, 0.57, 0.62, 0.67, 0.72, 0.77, 0.83])  # clearness of days
MONTH_MIDDLE = np.array([15.5, 45.5, 75.0, 105.5, 136.0, 166.5, 197.0, 228.0, 258.5, 289.0, 319.5, 350.0])
CONTRAST = 0.6  # share of the beam that a cloud of the middling sort takes; see above
CLEAREST = 0.75  # of the light above the air comes straight through at noon of a clear day; 0.7 an air mass: Meinel
NOON = HOURS // 2
FUSED = {"contract", "arcp", "nsz"}  # multiply and add at once; nothing that NaN or infinity would suffer from
# rows of the table of a month's hours: lights of an hour; litres that a flow of 1 L/min gives in the share of the hour
# with the sun out, and with a cloud before it
SUN_OUT, CLOUDED, HIDDEN, BRIGHT_L, DULL_L = range(5)
TABLE = 5
VEILED, BRIGHT, GAIN = range(
    3
)  # of a kind of day: diffuse share; share of the time with the sun out; its direct light then


@compiled()
def hide_low_sun(geometry, first, extra, morning_top, afternoon_top):
    """Takes the beam away while the sun stands lower than something before or after noon; tops as sines of angles."""
    last = HOURS - 1 - first
    for h in range(first, last + 1):
        top = morning_top if h < NOON else afternoon_top
        if top <= 0.0:
            continue
        width = 0.5 * abs(geometry[OUTER, min(h + 1, last)] - geometry[OUTER, max(h - 1, first)]) + 1e-9 * extra
        geometry[OPEN, h] *= min(max(0.5 + (geometry[OUTER, h] - extra * top) / width, 0.0), 1.0)


@compiled()
def put_in_shade(geometry, first, opened, left):
    """The skyline's share of each hour with the sun above it, and what windows of shade leave of the direct light."""
    for h in range(first, HOURS - first):
        geometry[OPEN, h] = opened[h]
        geometry[LEFT, h] = left[h]


@compiled(inline="always")
def sunshine(clearness, straight):
    """Share of the time that the sun is bright; never so small that the sun, when out, would pass a clear day's.

    straight: the day's mean direct light at noon over that above the air.
    """
    bright = min(max((clearness - 0.25) / 0.5, 0.0), 1.0)
    return max(bright, min(CONTRAST * straight / max(CLEAREST - (1.0 - CONTRAST) * straight, 1e-9), 1.0))


@compiled(fastmath=FUSED)
def lights(geometry, frame, first, end, sunset, clearness, shade, table, kinds):
    """Fills table (TABLE, ...) with the hours first to end of days of several clearnesses, hour by hour, the kinds of
    day beside each other: irradiance behind the glass, W/m2, with the sun out, with a cloud before it, with the sun
    hidden; and the weights of the first two.

    shade: shares of all light lost before and after noon. kinds (3, ...): scratch space, after which kinds[BRIGHT] is
    the share of the time that the sun is out.
    """
    count = clearness.size
    for j in range(count):
        diffuse = diffuse_share(clearness[j], sunset)
        _, _, noon, _ = part_light(geometry, NOON - 1, clearness[j], diffuse)
        bright = sunshine(clearness[j], noon / geometry[OUTER, NOON - 1])
        kinds[VEILED, j] = diffuse
        kinds[BRIGHT, j] = bright
        kinds[GAIN, j] = 1.0 + CONTRAST / bright - CONTRAST if bright > 0.0 else 0.0
    for h in range(first, end):
        at = (h - first) * count
        left = 1.0 - shade[0] if h < NOON else 1.0 - shade[1]
        straight = geometry[BEHIND_GLASS, h] * geometry[LEFT, h] * left
        sky, ground = frame[SKY_GLASS] * left, frame[GROUND_GLASS] * left
        litres = geometry[LIT, h] * 60.0
        whole, veil, per_outer = geometry[GLOBAL, h], geometry[DIFFUSE, h], geometry[PER_OUTER, h]
        for j in range(count):  # as `part_light`, written out so that several kinds are taken at once
            ghi = clearness[j] * whole
            dhi = clearness[j] * kinds[VEILED, j] * veil
            dhi = dhi if dhi < ghi else ghi
            beam = ghi - dhi
            ring = beam * per_outer
            ring = dhi * (ring if ring < 1.0 else 1.0)
            direct = (beam + ring) * straight
            rest = (dhi - ring) * sky + ghi * ground
            table[SUN_OUT, at + j] = rest + direct * kinds[GAIN, j]
            table[CLOUDED, at + j] = rest + direct * (1.0 - CONTRAST)
            table[HIDDEN, at + j] = rest
            table[BRIGHT_L, at + j] = kinds[BRIGHT, j] * litres
            table[DULL_L, at + j] = (1.0 - kinds[BRIGHT, j]) * litres


@compiled(fastmath=FUSED)
def even_lights(geometry, frame, first, sunset, clearness, shade, opened, suns):
    """A day of even light: fills suns (24,) with what reaches the cells, W/m2. Returns the sum over the day of what a
    cell in the same plane shows, Wh/m2: under the skyline `opened` and the windows of shade, not the faults."""
    diffuse = diffuse_share(clearness, sunset)
    plane = 0.0
    for h in range(first, HOURS - first):
        ghi, _, direct, even = part_light(geometry, h, clearness, diffuse)
        direct *= geometry[BEHIND_GLASS, h] * geometry[LEFT, h]
        rest = even * frame[SKY_GLASS] + ghi * frame[GROUND_GLASS]
        plane += (rest + direct * opened[h]) * geometry[LIT, h]
        suns[h] = (rest + direct * geometry[OPEN, h]) * (1.0 - (shade[0] if h < NOON else shade[1]))
    return plane
