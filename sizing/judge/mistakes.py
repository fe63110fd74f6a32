"""Recording mistakes: figures that cannot be, and what was probably meant.

A figure is doubted when the water it claims is more than the unit can give, or when a small change of the writing
(a noughth too many or too few, two digits changed over, another unit's total) makes it fit what was due while the
figure itself
does not. A doubted figure is marked with the suggestion, kept, and left out of the judgement until a person settles
it; the next good
reading then covers the whole time since the last good one. A doubted figure never raises a flag.
"""

from typing import NamedTuple

import numpy as np

NONE, SLIP_OF_TEN, DIGITS_SWAPPED, READINGS_SWAPPED = range(4)
WRONG_SERIAL, DUPLICATE, IMPOSSIBLE, ROLLOVER, WRONG_UNIT = range(4, 9)
NAMES = (
    "", "slip_of_ten", "digits_swapped", "readings_swapped", "wrong_serial", "duplicate", "impossible", "rollover",
    "wrong_unit",
)  # fmt: skip
MOST = 1.45  # times what is due: more water than the best sky gives a healthy unit, with all doubts added
FITS = 0.08  # a corrected figure must come this near (log) to what is due, doubts added
FAR = 0.45  # a figure this far (log) below what is due is worth doubting
# Of the figures that are written down, about one in a hundred gains or loses a nought, and half as many have two digits
# changed over; a unit falls short for the first time on one day in nine hundred (judgements, no source).
SLIPS = {SLIP_OF_TEN: 0.01, DIGITS_SWAPPED: 0.005}
# As many as have two digits changed over stand under another unit; two in a thousand are nobody's (both judgements).
UNDER_ANOTHER, NOBODYS = 0.005, 0.002
BY_FAR = 3.0  # times likelier than the next must be the unit to which a figure is said to belong
LOST_NOUGHT_A_DAY = 0.0005
LOSS_A_DAY, OFF_A_DAY = 0.4 / 365.25, 0.6 / 365.25  # for good, and for a day by somebody's hand


class Doubt(NamedTuple):
    """What is wrong with a figure (code into NAMES), what was probably meant (NaN: unknown; of a ROLLOVER the round at
    which the meter starts again), and the unit with which it was exchanged (-1: none)."""

    kind: int
    meant: float
    other: int = -1


def rewritten(figure):
    """Figures that one slip of the pen makes of this one: list of (kind, figure)."""
    figure = int(round(figure))
    out = [(SLIP_OF_TEN, figure * 10.0), (SLIP_OF_TEN, figure / 10.0)]
    text = str(figure)
    for i in range(len(text) - 1):
        if text[i] != text[i + 1]:
            swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
            out.append((DIGITS_SWAPPED, float(int(swapped))))
    return out


def water_since(total, before, rollover):
    """Litres between two totals of a meter that starts again from nought at `rollover` (NaN: never)."""
    litres = total - before
    if litres < 0 and np.isfinite(rollover) and rollover > 0:
        litres += rollover
    return litres


class Other(NamedTuple):
    """Another unit whose total was read on the same day: place, what stands there, its last good total, what was due
    since, and its round (NaN: never or not known)."""

    place: int
    total: float
    before: float
    due: float
    rollover: float


class Elsewhere(NamedTuple):
    """Units of the same owner whose own figure is missing: arrays (k,) of place, last good total, litres due since,
    standard deviation (log) of these, round (NaN: never or not known), and the share of figures under another's name
    that are this one's."""

    place: np.ndarray
    before: np.ndarray
    due: np.ndarray
    spread: np.ndarray
    rollover: np.ndarray
    likely: np.ndarray


def doubt_total(
    total, before, due, spread, rollover, others=(), span=14.0, evidence=0.0, lacked=0.0, elsewhere=None
):
    """Doubt about one meter total, or None.

    before: the last good total; due: litres a healthy unit of this level would have given in the span (days) since;
    spread: its standard deviation (log); lacked: litres that the period before fell short, which may be in this one;
    evidence: running log likelihood ratio of a loss, by the figures before; others: the `Other`s of that day, and
    `Elsewhere` those without a figure, all of the same owner.
    """
    litres, due = water_since(total, before, rollover), max(due, 1.0)
    most = MOST + 3 * spread + 1.2 * max(lacked, 0.0) / due
    cannot = not 0 <= litres / due <= most
    if not cannot and (litres / due > np.exp(-FAR - 2 * spread) or total == before):
        return None
    if exchanged := _exchanged(total, before, due, spread, rollover, others):
        return exchanged
    kind, meant, likely = _slip(total, before, due, spread, rollover)
    place, likelier = _under_another(total, due, elsewhere)
    if likelier > likely and (cannot or likelier > _fell(litres / due, spread, span, evidence)):
        return Doubt(WRONG_SERIAL, float(total), place)
    if not cannot:
        return Doubt(kind, meant) if likely > _fell(litres / due, spread, span, evidence) else None
    if litres < 0 and not np.isfinite(rollover):
        round_l = 10.0 ** np.ceil(np.log10(max(before, 1.0) + 1.0))
        if before > 0.5 * round_l and 0 <= (total + round_l - before) / due <= most:
            return Doubt(ROLLOVER, round_l)
    return Doubt(kind, meant) if kind else Doubt(IMPOSSIBLE, np.nan)


def _slip(total, before, due, spread, rollover):
    """The likeliest slip of the pen (kind, meant), and its weight: density of this figure as a share of what was due.
    Kind NONE where none comes near."""
    s, best = max(spread, 0.03), (NONE, np.nan, 0.0)
    made = rewritten(total)
    for kind, meant in made:
        r = water_since(meant, before, rollover) / due
        if r > 0 and abs(np.log(r)) < FITS + 2 * spread:
            ways = sum(1 for other, _meant in made if other == kind)
            weight = SLIPS[kind] / ways * np.exp(-0.5 * (np.log(r) / s) ** 2) / (2.507 * s)
            if weight > best[2]:
                best = (kind, meant, weight)
    return best


def _fell(ratio, spread, span, evidence):
    """Weight of a figure that is right and low: a loss of any size, as likely as faults are and as the figures before
    let think, or sound and scattered."""
    s, odds = max(spread, 0.03), min(LOSS_A_DAY * max(span, 1.0) * np.exp(min(max(evidence, 0.0), 20.0)), 1e3)
    return odds / (1 + odds) + np.exp(-0.5 * ((ratio - 1) / s) ** 2) / (2.507 * s)


def _under_another(total, due, elsewhere):
    """The unit whose meter shows this total (place; -1: none, or not surely one), and the weight of that: density of
    this figure as a share of what was due here. Each of many units fits some figure by chance, so they share the
    frequency of the slip, and the one has to outweigh a figure that is nobody's."""
    if elsewhere is None or not len(elsewhere.place):
        return -1, 0.0
    litres = total - elsewhere.before
    litres = litres + np.where((litres < 0) & (elsewhere.rollover > 0), elsewhere.rollover, 0.0)
    theirs, s = np.maximum(elsewhere.due, 1.0), np.maximum(elsewhere.spread, 0.03)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.abs(np.log(litres / theirs))
    near = off < FITS + 2 * elsewhere.spread
    often = UNDER_ANOTHER * elsewhere.likely * due / theirs
    weight = np.where(near, often * np.exp(-0.5 * (off / s) ** 2) / (2.507 * s), 0.0)
    best = int(np.argmax(weight))
    others = np.delete(weight, best).max(initial=0.0)
    by_chance = NOBODYS * due / 10.0 ** np.ceil(np.log10(total + 10.0))
    if weight[best] <= max(BY_FAR * others, by_chance):
        return -1, 0.0
    return int(elsewhere.place[best]), float(weight[best])


def _exchanged(total, before, due, spread, rollover, others):
    """The unit of that day, of those where each one's total fits the other's books and neither its own, that fits
    best."""
    near, best = 2 * FITS + 2 * spread, (np.inf, None)
    for other in others:
        mine = water_since(other.total, before, rollover) / due
        theirs = water_since(total, other.before, other.rollover) / max(other.due, 1.0)
        own = water_since(other.total, other.before, other.rollover) / max(other.due, 1.0)
        if mine <= 0 or theirs <= 0 or (own > 0 and abs(np.log(own)) < near):
            continue
        off = max(abs(np.log(mine)), abs(np.log(theirs)))
        if off < min(near, best[0]):
            best = (off, Doubt(READINGS_SWAPPED, float(other.total), other.place))
    return best[1]


def doubt_days(measured, due, spread, evidence=0.0):
    """Doubts about daily volumes: kind (n,) and what was meant (n,), from litres measured and due, the spread (log),
    and the running log likelihood ratio of a loss by the days before."""
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.log(measured / due)
    near = FITS + 2 * spread
    much = y > np.log(MOST) + 3 * spread
    over = much & (np.abs(y - np.log(10)) < near)
    s = np.maximum(spread, 0.03)
    slip = LOST_NOUGHT_A_DAY * np.exp(-0.5 * ((y + np.log(10)) / s) ** 2) / s
    odds = (LOSS_A_DAY + OFF_A_DAY) * np.exp(np.clip(evidence, 0.0, 20.0))
    right = 2.507 * odds / (1 + odds) * np.exp(np.minimum(y, 0.0)) + np.exp(-0.5 * (y / s) ** 2) / s
    under = (y < -1.0) & (np.abs(y + np.log(10)) < near) & (slip > right)
    kind = np.where(over | under, SLIP_OF_TEN, np.where(much, IMPOSSIBLE, NONE))
    meant = np.where(over, measured / 10, np.where(under, measured * 10, np.nan))
    return kind, meant
