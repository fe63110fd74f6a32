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
    diffuse_terms,
    part_light,
)  # fmt: skip

KINDS = np.array([0.04, 0.12, 0.2, 0.28, 0.36, 0.44, 0.51, 0.57, 0.62, 0.67, 0.72, 0.77, 0.83])  # clearness of days
MONTH_MIDDLE = np.array([15.5, 45.5, 75.0, 105.5, 136.0, 166.5, 197.0, 228.0, 258.5, 289.0, 319.5, 350.0])
CONTRAST = 0.6  # share of the beam that a cloud of the middling sort takes; see above
CLEAREST = 0.75  # of the light above the air comes straight through at noon of a clear day; 0.7 an air mass: Meinel
NOON = HOURS // 2
FUSED = {"contract", "arcp", "nsz"}  # multiply and add at once; nothing that NaN or infinity would suffer from
SUN_OUT, CLOUDED, HIDDEN = range(3)  # rows of the table of a month's hours: lights of an hour
TABLE = 3
# of a kind of day: clearness; that times its diffuse share; share of the time with the sun out; its direct light then
CLEAR, VEILED, BRIGHT, GAIN = range(4)
OF_KIND = 4
# Kinds of day stand side by side in blocks of WIDE, as many as the processor takes at once in numbers of REAL, whose
# seven digits are plenty for light and flow; places left over in the last block are dark. Tables of hours have a row
# for each block of each hour
WIDE = 16
REAL = np.float32


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


@compiled(fastmath=FUSED)
def of_kinds(geometry, sunset, clearness, kinds):
    """Fills kinds (OF_KIND, blocks, WIDE) for days of these clearnesses, dark beyond them.

    The sun is bright for its share of the time, but never for so little that its light, when out, would pass that of a
    clear day: as seen at noon, where the mean direct light over that above the air tells.
    """
    blocks = (clearness.size + WIDE - 1) // WIDE
    for block in range(blocks):
        for j in range(WIDE):
            k = block * WIDE + j
            kinds[CLEAR, block, j] = clearness[k] if k < clearness.size else 0.0
    first, second, third, fourth, edge, rest = diffuse_terms(sunset)
    to_one, to_two, to_three, to_four = REAL(first), REAL(second), REAL(third), REAL(fourth)
    highest, steady = REAL(edge), REAL(rest)
    whole, veil = REAL(geometry[GLOBAL, NOON - 1]), REAL(geometry[DIFFUSE, NOON - 1])
    per_outer = REAL(geometry[PER_OUTER, NOON - 1])
    none, half, one, two = REAL(0.0), REAL(0.5), REAL(1.0), REAL(2.0)
    taken, thin, clearest, least = REAL(CONTRAST), REAL(1.0 - CONTRAST), REAL(CLEAREST), REAL(1e-9)
    for block in range(blocks):
        for j in range(WIDE):
            k = kinds[CLEAR, block, j]
            share = one + k * (to_one + k * (to_two + k * (to_three + k * to_four)))
            share = share if k < highest else steady
            veiled = k * share
            ghi, dhi = k * whole, veiled * veil
            dhi = dhi if dhi < ghi else ghi
            straight = (ghi - dhi) * per_outer
            ring = straight if straight < one else one
            straight += dhi * ring * per_outer
            bright = two * k - half
            bright = bright if bright > none else none
            bright = bright if bright < one else one
            room = clearest - thin * straight
            needs = taken * straight / (room if room > least else least)
            needs = needs if needs < one else one
            bright = bright if bright > needs else needs
            kinds[VEILED, block, j] = veiled
            kinds[BRIGHT, block, j] = bright
            kinds[GAIN, block, j] = one - taken + taken / (bright if bright > least else least)
    return blocks


@compiled(fastmath=FUSED)
def lights(geometry, frame, first, end, sunset, clearness, shade, table, kinds):
    """Fills table (TABLE, 24 * blocks, WIDE) with the hours first to end of days of several clearnesses: irradiance
    behind the glass, W/m2, with the sun out, with a cloud before it, with the sun hidden. Returns an hour's blocks.

    shade: shares of all light lost before and after noon. kinds (OF_KIND, blocks, WIDE): scratch space, after which
    kinds[BRIGHT] is the share of the time that the sun is out. table and kinds are of REAL.
    """
    blocks = of_kinds(geometry, sunset, clearness, kinds)
    one, thin = REAL(1.0), REAL(1.0 - CONTRAST)
    for h in range(first, end):
        left = 1.0 - shade[0] if h < NOON else 1.0 - shade[1]
        straight = REAL(geometry[BEHIND_GLASS, h] * geometry[LEFT, h] * left)
        sky, ground = REAL(frame[SKY_GLASS] * left), REAL(frame[GROUND_GLASS] * left)
        whole, veil, per_outer = REAL(geometry[GLOBAL, h]), REAL(geometry[DIFFUSE, h]), REAL(geometry[PER_OUTER, h])
        for block in range(blocks):
            at = (h - first) * blocks + block
            for j in range(WIDE):  # as `part_light`, written out so that several kinds are taken at once
                ghi = kinds[CLEAR, block, j] * whole
                dhi = kinds[VEILED, block, j] * veil
                dhi = dhi if dhi < ghi else ghi
                beam = ghi - dhi
                ring = beam * per_outer
                ring = dhi * (ring if ring < one else one)
                direct = (beam + ring) * straight
                rest = (dhi - ring) * sky + ghi * ground
                table[SUN_OUT, at, j] = rest + direct * kinds[GAIN, block, j]
                table[CLOUDED, at, j] = rest + direct * thin
                table[HIDDEN, at, j] = rest
    return blocks


@compiled(fastmath=FUSED)
def even_lights(geometry, frame, first, end, sunset, clearness, shade, opened, suns):
    """A day of even light: fills suns (24,) from hour first to end with what reaches the cells, W/m2. Returns the sum
    over these hours of what a cell in the same plane shows, Wh/m2: under the skyline `opened` and the windows of shade,
    not the faults."""
    diffuse = diffuse_share(clearness, sunset)
    plane = 0.0
    for h in range(first, end):
        ghi, _, direct, even = part_light(geometry, h, clearness, diffuse)
        direct *= geometry[BEHIND_GLASS, h] * geometry[LEFT, h]
        rest = even * frame[SKY_GLASS] + ghi * frame[GROUND_GLASS]
        plane += (rest + direct * opened[h]) * geometry[LIT, h]
        suns[h] = (rest + direct * geometry[OPEN, h]) * (1.0 - (shade[0] if h < NOON else shade[1]))
    return plane
