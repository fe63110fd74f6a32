"""Kinds of day: a month's days in nine equal groups from dull to bright."""

from functools import lru_cache

import numpy as np

from sizing.checks import Refusal, known
from sizing.climate.tables import climate_table

__all__ = ["KINDS", "cell_shapes", "day_kinds", "pooled_shape", "scaled_days"]

KINDS = 9  # equal groups of a month's days, dullest first
CLEAREST = 0.85  # of the irradiation above the air: no day brighter


def day_kinds(values, kinds=KINDS):
    """Mean of each of `kinds` equal groups, dullest first: (..., k) gives (..., kinds). The overall mean is kept.

    The values may be single days or already the means of equal groups; order does not matter.
    """
    days = np.sort(known(values, "days"), axis=-1)
    if days.ndim == 0 or days.shape[-1] < 2:
        raise Refusal("days", values, because="two days or more are needed")
    marks = np.linspace(0, 1, kinds + 1)
    ends = np.linspace(0, 1, days.shape[-1] + 1)
    energy = np.concatenate([np.zeros((*days.shape[:-1], 1)), np.cumsum(days, axis=-1)], axis=-1) / days.shape[-1]
    place = np.clip(np.searchsorted(ends, marks, side="right") - 1, 0, days.shape[-1] - 1)
    part = (marks - ends[place]) / (ends[place + 1] - ends[place])
    up_to = energy[..., place] + (energy[..., place + 1] - energy[..., place]) * part
    return np.diff(up_to, axis=-1) * kinds


@lru_cache(maxsize=1)
def cell_shapes():
    """Kinds of day of every cell of the embedded climatology, (cells, 12, 9), relative to the month's mean."""
    return day_kinds(climate_table().twentieths)


@lru_cache(maxsize=1)
def _pooled():
    return day_kinds(climate_table().pooled_twentieths)


def pooled_shape(clearness):
    """Kinds of day relative to their month's mean, for a month of that mean clearness: (...) gives (..., 9).

    From the embedded climatology's land cells within 45 degrees of the equator, pooled by the month's clearness: the
    classic Liu & Jordan curves misfit the tropics (Udo 2000, Solar Energy 69:45).
    """
    middles, shapes = climate_table().pooled_clearness, _pooled()
    k = np.asarray(clearness, dtype=np.float64)
    return np.stack([np.interp(k, middles, shapes[:, kind]) for kind in range(KINDS)], axis=-1) + 0 * k[..., None]


def scaled_days(mean, shape, brightest):
    """Kinds of day with the given mean and shape, drawn together where they would pass the brightest possible day.

    Shapes: mean and brightest (...), shape (..., 9). The mean is kept exactly.
    """
    mean, top = np.asarray(mean)[..., None], np.asarray(brightest)[..., None]
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = mean * (shape / shape.mean(axis=-1, keepdims=True) - 1)
        reach = apart.max(axis=-1, keepdims=True)
        fits = np.where(reach > 0, np.clip((top - mean) / reach, 0, 1), 1.0)
    return mean + apart * fits
