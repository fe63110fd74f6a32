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

NONE, SLIP_OF_TEN, DIGITS_SWAPPED, READINGS_SWAPPED, WRONG_SERIAL, DUPLICATE, IMPOSSIBLE = range(7)
NAMES = ("", "slip_of_ten", "digits_swapped", "readings_swapped", "wrong_serial", "duplicate", "impossible")
MOST = 1.45  # times what is due: more water than the best sky gives a healthy unit, with all doubts added
FITS = 0.08  # a corrected figure must come this near (log) to what is due, doubts added
FAR = 0.45  # a figure this far (log) below what is due is worth doubting


class Doubt(NamedTuple):
    """What is wrong with a figure (code into NAMES) and what was probably meant (NaN: unknown)."""

    kind: int
    meant: float


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


def doubt_total(total, before, due, spread, rollover, others=()):
    """Doubt about one meter total, or None.

    before: the last good total; due: litres a healthy unit of this level would have given since; spread: its standard
    deviation (log). others: pairs (last good total, due, rollover) of units read that day whose total may stand here.
    """
    litres = water_since(total, before, rollover)
    due = max(due, 1.0)
    ratio = litres / due
    most = MOST + 3 * spread
    if 0 <= ratio <= most and (ratio > np.exp(-FAR - 2 * spread) or total == before):
        return None
    near = FITS + 2 * spread
    best = None
    for kind, meant in rewritten(total):
        r = water_since(meant, before, rollover) / due
        if r > 0 and abs(np.log(r)) < near and (best is None or abs(np.log(r)) < best[0]):
            best = (abs(np.log(r)), Doubt(kind, meant))
    if best is not None:
        return best[1]
    if not 0 <= ratio <= most:
        for theirs, their_due, their_rollover in others:
            r = water_since(total, theirs, their_rollover) / max(their_due, 1.0)
            if 0 <= r <= MOST:
                return Doubt(READINGS_SWAPPED, np.nan)
        return Doubt(IMPOSSIBLE, np.nan)
    return None


def doubt_days(measured, due, spread):
    """Doubts about daily volumes: kind (n,) and what was meant (n,), from litres measured and due, and the spread
    (log)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.log(measured / due)
    near = FITS + 2 * spread
    much = y > np.log(MOST) + 3 * spread
    over = much & (np.abs(y - np.log(10)) < near)
    under = (y < -1.0) & (np.abs(y + np.log(10)) < near)
    kind = np.where(over | under, SLIP_OF_TEN, np.where(much, IMPOSSIBLE, NONE))
    meant = np.where(over, measured / 10, np.where(under, measured * 10, np.nan))
    return kind, meant
