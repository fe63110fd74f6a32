"""What the engineering refuses, and how one bad row is kept from spoiling the others.

The rule, the same in every step:

* One number (a scalar) outside its limits raises `Refusal`, which names argument, value and limits.
* In an array, values outside become NaN, so their results come back as missing while the others are computed.
  Give a `Reasons` to learn which rows those were and why.
* NaN means "not known". It passes, and its result is NaN. Where a NaN makes no sense at all (a test-sheet point,
  a table of twelve months) `known` refuses it by name and place.
"""

import math
from collections.abc import Iterable

import numpy as np

__all__ = ["Reasons", "Refusal", "known", "mask_within", "one_of", "within"]


class Refusal(ValueError):
    """A value the engineering will not work with.

    argument: its name, with the unit in the name; value: what was given; limits: (low, high) or the allowed values;
    row: where in an array, if it stood in one.
    """

    def __init__(self, argument, value, limits=None, *, because="", row=None):
        self.argument, self.value, self.limits, self.row, self.because = argument, value, limits, row, because
        where = "" if row is None else f" (place {row})"
        super().__init__(f"{argument} = {_short(value)}{where}: {because or _limits(limits)}")


class Reasons:
    """Why rows of a batch came back as missing: one sentence a row, the first one found; rows count along axis 0."""

    def __init__(self):
        self.by_row = {}

    def book(self, rows, sentences):
        for row, sentence in zip(rows, sentences, strict=True):
            self.by_row.setdefault(int(row), sentence)

    def as_array(self, n):
        """Sentences in an object array of length n; an empty one means that nothing was wrong."""
        out = np.full(n, "", dtype=object)
        for row, sentence in self.by_row.items():
            if row < n:
                out[row] = sentence
        return out

    def __bool__(self):
        return bool(self.by_row)


def within(value, low, high, name, *, reasons=None, open_low=False):
    """The value as float64, checked against low <= value <= high (low < value with open_low).

    Shapes: any, kept. NaN passes. Infinity is outside unless the limit itself is infinite, and even then refused,
    because no quantity here is infinite.
    Raises: Refusal for a single number outside. In an array such values become NaN and are booked in `reasons`.
    """
    array, bad = _outside(value, low, high, name, open_low)
    if not bad.any():
        return array
    limits = (low, high)
    if array.ndim == 0:
        raise Refusal(name, value, limits, because=_limits(limits, open_low))
    if reasons is not None:
        places = np.argwhere(bad)
        reasons.book(
            places[:, 0],
            [str(Refusal(name, float(array[tuple(p)]), limits, because=_limits(limits, open_low))) for p in places],
        )
    return np.where(bad, np.nan, array)


def mask_within(value, low, high, name, *, open_low=False):
    """As `within`, but never raises: (float64 array with NaN where outside, object array of sentences, "" where good).

    Both keep the value's shape; a single number comes back as two 0-d arrays.
    """
    array, bad = _outside(value, low, high, name, open_low)
    sentences = np.full(array.shape, "", dtype=object)
    for place in map(tuple, np.argwhere(bad)):
        sentences[place] = str(Refusal(name, float(array[place]), (low, high), because=_limits((low, high), open_low)))
    return np.where(bad, np.nan, array), sentences


def known(value, name):
    """The value as float64, every number finite. Raises Refusal with the place of the first NaN or infinity."""
    array = _floats(value, name)
    bad = ~np.isfinite(array)
    if bad.any():
        place = tuple(int(i) for i in np.argwhere(bad)[0])
        at = array[place]
        where = place[0] if len(place) == 1 else (place or None)
        raise Refusal(name, float(at), because="a number is needed here, none is missing or infinite", row=where)
    return array


def one_of(value, allowed: Iterable, name):
    """The value if it is among the allowed ones. Raises Refusal that lists them."""
    allowed = tuple(allowed)
    if value not in allowed:
        raise Refusal(name, value, allowed, because="one of " + ", ".join(map(str, allowed)) + " is needed")
    return value


def _floats(value, name):
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise Refusal(name, value, because="this is not a number, nor an even table of numbers") from None


def _outside(value, low, high, name, open_low):
    array = _floats(value, name)
    with np.errstate(invalid="ignore"):
        under = array <= low if open_low else array < low
        return array, under | (array > high) | np.isinf(array)


def _limits(limits, open_low=False):
    if limits is None:
        return "this cannot be used"
    low, high = limits
    if math.isinf(high):
        return f"a finite number {'above' if open_low else 'of at least'} {low:g} is needed"
    if math.isinf(low):
        return f"a finite number of at most {high:g} is needed"
    if open_low:
        return f"above {low:g} and up to {high:g} is needed"
    return f"{low:g} to {high:g} is needed"


def _short(value):
    if isinstance(value, float | np.floating):
        return f"{value:g}"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
