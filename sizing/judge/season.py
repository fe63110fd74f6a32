"""A unit's healthy level through the year: what it usually gives, its own yearly wave, and what leans on all around.

Sound units drift by some per cent over months: wells fall and rise with the rains, dust settles and is washed off, air
and haze differ from what the climatology knows. About half of that is common to a district (0.35 to 0.45 of the
variance over 400 km, in two independent simulations of semi-arid country; a judgement, no field source). So each unit's
figures are split by a small Kalman filter (Kalman 1960, J. Basic Eng. 82:35) into a constant, a wave of one year, and a
lean that fades; and the lean expected of a unit is told by its neighbours' (simple kriging), never by its own figures:
units that sink together are the season, a unit that sinks alone is a fault.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from sizing import compiled
from sizing.judge.weather import between, on_the_globe

WAVE_SD = 0.02  # of each half of the wave (log)
LEAN_SD, LEAN_DAYS = 0.045, 60.0  # of the lean, and how long it lasts
SHARED_SD, SHARED_KM = 0.025, 400.0  # the part of it that neighbours have in common, and how far
ALONE_SD = 0.037  # the rest of it
LASTS = 4.0  # days of a sky's or a draw's error that count as one: successive figures are not independent
EVERY_DAYS = 7  # the neighbours are asked once a week
MOST = 16  # neighbours asked
ODD = 2.0  # a neighbour this many deviations off the others starts to lose weight
SOUND = 3.0  # running evidence of a loss below which a unit tells others about the season
FREE = 0.6  # share of more supply that must show in the water for a figure to tell of the supply
YEAR = 365.25
PLACES = 4  # constant, cosine, sine, lean
PAIRS = PLACES * (PLACES + 1) // 2


def start(level, level_sd):
    """(split (n, 4), doubt (n, 10) lower triangle by rows) of units (n,) before their first figure."""
    split, doubt = np.zeros((len(level), PLACES)), np.zeros((len(level), PAIRS))
    split[:, 0] = level
    for place, sd in enumerate((1.5 * level_sd, WAVE_SD, WAVE_SD, LEAN_SD)):
        doubt[:, place * (place + 3) // 2] = sd**2
    return split, doubt


def wave(split, day, days_known):
    """Log of own output over its usual at this time of the year (n,), by what past years taught: nothing in the first
    year, in which a wave cannot be told from a loss that grows."""
    angle = 2 * np.pi * day / YEAR
    past = np.clip((days_known - YEAR) / 30.0 + 1.0, 0.0, 1.0)
    return past * (split[:, 1] * np.cos(angle) + split[:, 2] * np.sin(angle))


def pass_a_day(split, doubt):
    """The lean fades by a day."""
    keep = np.exp(-1 / LEAN_DAYS)
    split, doubt = split.copy(), doubt.copy()
    split[:, 3] *= keep
    doubt[:, 6:9] *= keep
    doubt[:, 9] = keep**2 * doubt[:, 9] + (1 - keep**2) * LEAN_SD**2
    return split, doubt


@compiled()
def _take_in(split, doubt, units, ratio, variance, free, angle):
    p, h, k = np.empty((4, 4)), np.empty(4), np.empty(4)
    for q in range(len(units)):
        if not (ratio[q] == ratio[q] and variance[q] > 0.0):
            continue
        u = units[q]
        c = 0
        for i in range(4):
            for j in range(i + 1):
                p[i, j] = p[j, i] = doubt[u, c]
                c += 1
        h[0], h[1], h[2], h[3] = free[q], free[q] * np.cos(angle[q]), free[q] * np.sin(angle[q]), free[q]
        total, off = variance[q], ratio[q]
        for i in range(4):
            k[i] = 0.0
            for j in range(4):
                k[i] += p[i, j] * h[j]
            total += h[i] * k[i]
            off -= h[i] * split[u, i]
        reach = 3.0 * np.sqrt(total)
        off = min(max(off, -reach), reach)
        c = 0
        for i in range(4):
            split[u, i] += k[i] / total * off
            for j in range(i + 1):
                doubt[u, c] -= k[i] * k[j] / total
                c += 1


def take_in(split, doubt, units, ratio, variance, free, middle_day):
    """Figures of some units (m,): log of measured over due by weather and tests alone, its variance, the share of more
    supply that shows, and the middle of their days. Those not finite change nothing."""
    split, doubt = split.copy(), doubt.copy()
    _take_in(split, doubt, np.asarray(units, np.int64), np.asarray(ratio, float), np.asarray(variance, float),
             np.asarray(free, float), 2 * np.pi * np.asarray(middle_day, float) / YEAR)  # fmt: skip
    return split, doubt


@dataclass(frozen=True)
class Around:
    """Who is asked about the season: index (n, k), and covariances near (n, k), among (n, k, k) of the shared lean."""

    index: np.ndarray
    near: np.ndarray
    among: np.ndarray


def around(latitude_deg, longitude_deg):
    """The Around of units (n,): the nearest others."""
    place = on_the_globe(latitude_deg, longitude_deg)
    index, distance = _nearest(place)
    return Around(index, covariance(distance), between(place, index, ((SHARED_SD**2, SHARED_KM),)))


def _nearest(place):
    n = len(place)
    k = min(MOST, n - 1)
    if k < 1:
        return np.zeros((n, 0), int), np.zeros((n, 0))
    distance, index = cKDTree(place).query(place, k=k + 1)
    own = index == np.arange(n)[:, None]
    own[~own.any(axis=1), -1] = True  # several in one place: then one of them is left out instead
    return index[~own].reshape(n, k), distance[~own].reshape(n, k)


def shared(index, near, among, split, doubt, sound):
    """The lean that each unit should have (n,), by what its neighbours' figures say; sound (n,): whose count.

    index (n, k), near (n, k) and among (n, k, k): covariances of the shared lean.
    """
    n, k = index.shape
    if k == 0:
        return np.zeros(n)
    var = doubt[:, 9]
    prior = LEAN_SD**2
    knows = sound & (var < 0.9 * prior)
    room = np.where(knows, prior - var, 1.0)
    said = np.where(knows, split[:, 3] * prior / room, 0.0)  # what its own figures say, the filter's caution undone
    r = np.where(knows, np.maximum(var * prior / room, 1e-5) + ALONE_SD**2, 1e3)
    mean, left = _krige(index, near, among, said, r)
    odd = np.abs(said - mean) / np.sqrt(r + left)
    r = np.where(knows & (odd > ODD), r * (odd / ODD) ** 4, r)
    return _krige(index, near, among, said, r)[0]


def _krige(index, near, among, said, r):
    a = among + np.eye(index.shape[1]) * r[index][:, :, None]
    w = np.linalg.solve(a, near[..., None])[..., 0]
    return np.einsum("nk,nk->n", w, said[index]), np.maximum(SHARED_SD**2 - np.einsum("nk,nk->n", w, near), 1e-6)


def covariance(distance_km):
    """Covariance of the shared lean over a distance in km; any shape."""
    return SHARED_SD**2 * np.exp(-np.asarray(distance_km, float) / SHARED_KM)


def is_due(day):
    """Whether the neighbours are asked on this day: in between, `read` needs nobody around."""
    return day % EVERY_DAYS == 0


def read(around, state, day, active=True):
    """The lean that every unit should have today: told anew by the neighbours once a week, else as before. active (n,):
    those that hang in their well on that day, and whose states are of the day before."""
    if not is_due(day):
        return state.season
    sound = active & (state.suspect == 0) & (state.evidence[:, :4].max(axis=1) < SOUND)
    return shared(around.index, around.near, around.among, state.split, state.split_var, sound)
