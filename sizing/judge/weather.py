"""The sky that each installation had on a day, told by its own cell, by neighbours' cells and by neighbours' water.

The quantity is the day's clearness: horizontal irradiation over what would fall above the air, on the scale of
`causes.table`, on
which dull and bright days scatter alike. It is taken as a field over the country with two scales, clouds of some
kilometres and weather of some hundreds, and each day's field is found from
what was seen around (simple kriging, Cressie, Statistics for Spatial Data, 1993, sec. 3.2), never from the unit's
own water:
so a unit that falls alone stands out, and units that fall together are weather.

Scales and spread were read off the daily irradiation of an independent simulated fleet in semi-arid country (240 sites,
400 days), not off measured weather: they set weights and ranges, and a fleet that measures irradiation corrects the
level, not the scales.
"""

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from sizing import compiled

EARTH_KM = 6371.0
LOCAL_VAR, LOCAL_KM = 0.36, 14.0  # variance of clearness by clouds, and how far they reach
WIDE_VAR, WIDE_KM = 0.14, 300.0  # the same for weather systems
MANY = 1e6  # a variance that says "not seen"
ODD = 2.0  # an observation this many standard deviations off its neighbours starts to lose weight
BIAS_DAYS = 25.0  # memory of the learned difference to the climatology
CELL_KM, CELLS = 250.0, 8  # cells that teach a place how its season differs from the climatology, and how far
LEAK_DAYS = 90.0  # without cells around, the difference learned from water fades: levels would drift with it
SCALE_GAIN = 0.03  # how fast a place learns whether its sky is more or less patchy than most


@dataclass(frozen=True)
class Network:
    """Who can tell whom about the sky. index (n, k): neighbours, nearest first; near (n, k), among (n, k, k):
    covariances of clearness."""

    index: np.ndarray
    near: np.ndarray
    among: np.ndarray
    distance_km: np.ndarray
    cells: np.ndarray  # (n, c): nearest units with a cell of their own, itself among them, and
    cell_weight: np.ndarray  # (n, c): how much each teaches of the season here

    def take(self, units):
        """The same for some of the units; neighbours keep their numbers in the whole fleet."""
        return Network(*(getattr(self, f.name)[units] for f in fields(self)))


class Sky(NamedTuple):
    """Clearness of a day by unit, from neighbours only: mean, variance, and how many told it."""

    mean: np.ndarray
    variance: np.ndarray
    told_by: np.ndarray
    surprise: np.ndarray  # what a unit's own records say over what its neighbours say, deviations; NaN: nothing
    anchor: np.ndarray  # how much clearer the cells around found the day than expected there
    anchored: np.ndarray  # 0-1, how much that is worth here


def between(place, index, scales=((LOCAL_VAR, LOCAL_KM), (WIDE_VAR, WIDE_KM))):
    """Covariances (n, k, k) among the neighbours index (n, k) of places (n, 3) in km; scales: (variance, km) each."""
    out = np.empty((*index.shape, index.shape[1]))
    _between(np.ascontiguousarray(place), np.ascontiguousarray(index, np.int64), np.array(scales, float), out)
    return out


@compiled()
def _between(place, index, scales, out):
    whole = scales[:, 0].sum()
    for i in range(index.shape[0]):
        for a in range(index.shape[1]):
            out[i, a, a] = whole
            for b in range(a):
                p, q = index[i, a], index[i, b]
                square, v = 0.0, 0.0
                for axis in range(3):
                    square += (place[p, axis] - place[q, axis]) ** 2
                km = np.sqrt(square)
                for s in range(scales.shape[0]):
                    v += scales[s, 0] * np.exp(-km / scales[s, 1])
                out[i, a, b] = out[i, b, a] = v


def on_the_globe(latitude_deg, longitude_deg):
    """Places (n, 3) in km from the middle of the earth."""
    lat, lon = np.radians(np.asarray(latitude_deg, float)), np.radians(np.asarray(longitude_deg, float))
    return EARTH_KM * np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def covariance(distance_km):
    """Covariance of clearness over a distance in km; any shape."""
    d = np.asarray(distance_km, float)
    return LOCAL_VAR * np.exp(-d / LOCAL_KM) + WIDE_VAR * np.exp(-d / WIDE_KM)


def network(latitude_deg, longitude_deg, tells, most=12, has_cell=None):
    """Neighbours of every unit among those that `tell` (report day by day), themselves left out.

    Shapes: (n,) each. Fewer tellers than `most` give a narrower table; none gives one of width nought. Places
    with a weather record of their own may stand behind the units as tellers: they see the sky, too. has_cell: which
    measure the sun themselves (such places as well); only they know the season's level, the others tell days apart.
    """
    place = on_the_globe(latitude_deg, longitude_deg)
    teller = np.flatnonzero(tells)
    n, k = len(place), int(min(most, len(teller)))
    cells, weight = _cells(place, np.zeros(n, bool) if has_cell is None else np.asarray(has_cell, bool))
    if k == 0:
        return Network(np.zeros((n, 0), int), np.zeros((n, 0)), np.zeros((n, 0, 0)), np.zeros((n, 0)), cells, weight)
    distance, found = cKDTree(place[teller]).query(place, k=list(range(1, min(k + 1, len(teller)) + 1)))
    index = teller[found]
    own = index == np.arange(n)[:, None]
    if len(teller) == k:  # so few that all are kept; a unit that would stand beside itself tells itself nothing
        among = np.where(own[:, :, None] | own[:, None, :], 0.0, between(place, index))
        return Network(index, np.where(own, 0.0, covariance(distance)), among, distance, cells, weight)
    last = ~own.any(axis=1)  # those that do not tell drop their farthest instead
    own[last, -1] = True
    index, distance = index[~own].reshape(n, k), distance[~own].reshape(n, k)
    return Network(index, covariance(distance), between(place, index), distance, cells, weight)


def _cells(place, has_cell):
    """Nearest units with cells of every unit (n, c) and their weights, falling with distance."""
    found = np.flatnonzero(has_cell)
    c = min(CELLS, len(found))
    if c == 0:
        return np.zeros((len(place), 0), int), np.zeros((len(place), 0))
    distance, near = cKDTree(place[found]).query(place, k=c)
    distance, near = distance.reshape(-1, c), near.reshape(-1, c)
    return found[near], np.exp(-distance / CELL_KM)


def read(net, prior, seen, variance, spread=1.0):
    """The day's sky over every unit from what its neighbours saw.

    prior (n,): clearness expected without any report; seen (n,), variance (n,): what each unit's own cell or water
    says, NaN
    where nothing; spread: how far days scatter at this time of the year over what is typical, a ratio (n,) or one for
    all. A neighbour that disagrees with its own neighbours counts less (its variance grows with the square of
    the disagreement), so one faulty unit does not darken a district.
    """
    n, k = net.index.shape
    total, spread = LOCAL_VAR + WIDE_VAR, np.broadcast_to(np.asarray(spread, float), (n,))
    anchor, anchored = _anchor(net, np.where(np.isfinite(seen), seen - prior, np.nan))
    if k == 0:
        nothing = np.full(n, np.nan)
        return Sky(np.array(prior, float), total * spread**2, np.zeros(n), nothing, anchor, anchored)
    known = np.isfinite(seen) & np.isfinite(variance)
    variance = variance / spread**2  # from here on in each place's own scatter
    r = np.where(known, np.nan_to_num(variance, nan=MANY), MANY)
    off = np.where(known, np.nan_to_num(seen) - prior, 0.0) / spread
    mean, var = _krige(net, off, r, total)
    odd = np.abs(off - mean) / np.sqrt(r + var)
    r = np.where(known, r + np.where(odd > ODD, (odd / ODD) ** 2 - 1, 0) * (r + var), MANY)
    mean, var = _krige(net, off, r, total)
    surprise = np.where(known, (off - mean) / np.sqrt(np.where(known, variance, 1) + var), np.nan)
    told_by = (known[net.index] & (net.near > 0)).sum(axis=1)
    return Sky(prior + mean * spread, var * spread**2, told_by, surprise, anchor, anchored)



def _anchor(net, off):
    """Mean of what the cells around found over the expected (n,), and what it is worth (n,), 0 to 1."""
    if net.cells.shape[1] == 0:
        return np.zeros(len(off)), np.zeros(len(off))
    told = off[net.cells]
    weight = np.where(np.isfinite(told), net.cell_weight, 0.0)
    total = weight.sum(axis=1)
    mean = (weight * np.clip(np.nan_to_num(told), -2.0, 2.0)).sum(axis=1) / np.maximum(total, 1e-9)
    return mean, total / (total + 0.3)


def _krige(net, off, r, total):
    a = net.among + np.eye(net.index.shape[1]) * r[net.index][:, :, None]
    w = np.linalg.solve(a, net.near[..., None])[..., 0]
    mean = np.einsum("nk,nk->n", w, off[net.index])
    return mean, np.maximum(total - np.einsum("nk,nk->n", w, net.near), 1e-4)


def learn_bias(bias, sky, prior):
    """The climatology's local error, learned slowly: from the cells around, else from water, then forgotten again.

    prior (n,): the climatology with the bias. Units that tell the sky by their water only know it against their own
    level; learned from each other without end, levels and sky would drift away together.
    """
    by_water = np.where(sky.told_by > 0, (sky.mean - prior) / BIAS_DAYS, 0.0) - bias / LEAK_DAYS
    by_cells = np.where(sky.anchored > 0, sky.anchor / BIAS_DAYS, 0.0)
    return bias + sky.anchored * by_cells + (1 - sky.anchored) * by_water


def learn_patchiness(scale, sky, net):
    """How patchy the sky is here over what the two scales say (a factor on variance): learned where units tell, lent
    to the rest."""
    told = np.isfinite(sky.surprise)
    own = np.where(told, scale * (1 + SCALE_GAIN * (np.minimum(np.nan_to_num(sky.surprise) ** 2, 9.0) - 1)), scale)
    own = np.clip(own, 0.3, 3.0)
    if net.index.shape[1] == 0:
        return own
    weight = net.near + 1e-9
    lent = (weight * own[net.index]).sum(axis=1) / weight.sum(axis=1)
    return np.where(told, own + 0.05 * (lent - own), lent)
