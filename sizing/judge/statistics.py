"""The classical statistics that judging and reporting rest on, each checked against published tables.

Survival with censoring (Kaplan & Meier 1958, JASA 53:457; Weibull by maximum likelihood), run lengths of cumulative
sum and moving average tests by their integral equations (Page 1954, Biometrika 41:100; Lucas & Crosier 1982,
Technometrics 24:199; Lucas & Saccucci 1990, Technometrics 32:1), exact Poisson limits (Garwood 1936, Biometrika
28:437), and the median of pairwise slopes (Theil 1950; Sen 1968, JASA 63:1379).
"""

from typing import NamedTuple

import numpy as np
from scipy import optimize, stats
from scipy.special import gammaln

from sizing.checks import Refusal


class Survival(NamedTuple):
    """Step function: after `time` (events only) the share `surviving`, with Greenwood's standard error."""

    time: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    surviving: np.ndarray
    standard_error: np.ndarray
    median: float


def kaplan_meier(durations, happened):
    """Share still without the event, from durations and whether the event ended them (0: observation just ended).

    Shapes: two vectors of equal length. Times are in whatever unit the durations have; the median is NaN when more than
    half survive. Refuses negative durations and unequal lengths.
    """
    durations, happened = np.atleast_1d(np.asarray(durations, float)), np.atleast_1d(np.asarray(happened, bool))
    if durations.shape != happened.shape or durations.size == 0:
        raise Refusal("happened", happened.shape, because=f"as many as durations, {durations.shape}, and at least one")
    if not np.all(durations >= 0):
        raise Refusal("durations", float(np.nanmin(durations)), because="0 or more, none missing")
    time, events = np.unique(durations[happened], return_counts=True)
    at_risk = durations.size - np.searchsorted(np.sort(durations), time, side="left")
    surviving = np.cumprod(1 - events / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(events / (at_risk * (at_risk - events)))
        error = np.where(surviving > 0, surviving * np.sqrt(greenwood), 0.0)
    below = np.flatnonzero(surviving <= 0.5)
    return Survival(time, at_risk, events, surviving, error, float(time[below[0]]) if below.size else np.nan)


class Weibull(NamedTuple):
    """A fitted life distribution; `scale` in the unit of the durations."""

    scale: float
    shape: float
    log_likelihood: float

    @property
    def mean(self):
        return float(self.scale * np.exp(gammaln(1 + 1 / self.shape)))

    @property
    def standard_deviation(self):
        second = self.scale**2 * np.exp(gammaln(1 + 2 / self.shape))
        return float(np.sqrt(second - self.mean**2))


def weibull(durations, happened):
    """Maximum likelihood life distribution with censored durations; needs two events at different times.

    The scale has a closed form once the shape is known, so that one bracketed root remains.
    """
    t, d = np.asarray(durations, float), np.asarray(happened, bool)
    if not np.all(t > 0):
        raise Refusal("durations", float(np.nanmin(t)), because="above 0, none missing")
    if np.unique(t[d]).size < 2:
        raise Refusal("happened", int(d.sum()), because="events at two different times at least")
    unit = np.exp(np.log(t).mean())  # keeps the powers near one
    x, r = t / unit, d.sum()

    def slope(k):
        p = x**k
        return (p * np.log(x)).sum() / p.sum() - 1 / k - np.log(x[d]).mean()

    shape = optimize.brentq(slope, 1e-2, 100, xtol=1e-12)
    scale = ((x**shape).sum() / r) ** (1 / shape)
    z = x / scale
    likelihood = (np.log(shape / (scale * unit)) + (shape - 1) * np.log(z[d])).sum() - (z**shape).sum()
    return Weibull(float(scale * unit), float(shape), float(likelihood))


class TwoSided(NamedTuple):
    """Both arms of a cumulative sum, after each value."""

    high: np.ndarray
    low: np.ndarray


def cumulative_sum(values, target, slack):
    """Both arms of Page's cumulative sum along the last axis, starting at nought; a missing value changes nothing."""
    values = np.asarray(values, float)
    high, low = np.zeros(values.shape), np.zeros(values.shape)
    up, down = np.zeros(values.shape[:-1]), np.zeros(values.shape[:-1])
    for i in range(values.shape[-1]):
        step = values[..., i] - target
        seen = np.isfinite(step)
        up = np.where(seen, np.maximum(0, up + np.where(seen, step, 0) - slack), up)
        down = np.where(seen, np.maximum(0, down - np.where(seen, step, 0) - slack), down)
        high[..., i], low[..., i] = up, down
    return TwoSided(high, low)


def cusum_run_length(slack, limit, shift=0.0, head_start=0.0, two_sided=True, nodes=80):
    """Mean number of values until a cumulative sum of unit normal values passes its limit.

    slack, limit, head_start in standard deviations; one-sided by Page's integral equation on Gauss-Legendre nodes;
    two-sided (with head start too) from the one-sided lengths as in Lucas & Crosier 1982. Holds: slack 0 or more,
    limit above 0, head start below the limit.
    """
    if not (limit > 0 and slack >= 0 and 0 <= head_start < limit):
        raise Refusal("limit", limit, because="above 0, with slack 0 or more and head start below it")

    def one(mu):
        """Run lengths from nought and from the head start."""
        x, w = np.polynomial.legendre.leggauss(nodes)
        s, w = limit * (x + 1) / 2, limit * w / 2
        a = np.zeros((nodes + 1, nodes + 1))
        start = np.concatenate([[0.0], s])
        a[:, 0] = stats.norm.cdf(slack - start - mu)
        a[:, 1:] = stats.norm.pdf(s[None, :] + slack - start[:, None] - mu) * w[None, :]
        length = np.linalg.solve(np.eye(nodes + 1) - a, np.ones(nodes + 1))
        from_head = 1 + stats.norm.cdf(slack - head_start - mu) * length[0]
        from_head += (stats.norm.pdf(s + slack - head_start - mu) * w) @ length[1:]
        return length[0], from_head

    up0, up = one(shift)
    if not two_sided:
        return float(up)
    down0, down = one(-shift)
    return float((up * down0 + down * up0 - up0 * down0) / (up0 + down0))


def ewma_run_length(weight, limit, shift=0.0, nodes=120):
    """Mean number of values until an exponentially weighted mean of unit normal values leaves its fixed limits.

    weight: share of the newest value, 0 to 1; limit in standard deviations of the settled mean.
    """
    if not (0 < weight <= 1 and limit > 0):
        raise Refusal("weight", weight, because="above 0 and at most 1, with a limit above 0")
    edge = limit * np.sqrt(weight / (2 - weight))
    x, w = np.polynomial.legendre.leggauss(nodes)
    s, w = edge * x, edge * w
    kernel = stats.norm.pdf((s[None, :] - (1 - weight) * s[:, None]) / weight - shift) * w[None, :] / weight
    length = np.linalg.solve(np.eye(nodes) - kernel, np.ones(nodes))
    return float(1 + (stats.norm.pdf(s / weight - shift) * w / weight) @ length)


def poisson_limits(count, confidence=0.95):
    """Exact limits of a Poisson mean from its count (Garwood 1936); broadcasts. Divide by exposure for a rate."""
    count = np.asarray(count, float)
    tail = (1 - confidence) / 2
    low = np.where(count > 0, stats.chi2.ppf(tail, 2 * np.maximum(count, 0.5)) / 2, 0.0)
    return low, stats.chi2.ppf(1 - tail, 2 * count + 2) / 2


class Slope(NamedTuple):
    """Median of pairwise slopes with its limits and Kendall's tau."""

    slope: float
    low: float
    high: float
    tau: float


def theil_sen(time, value, confidence=0.93):
    """Robust slope of a few points: one wild value in four hardly moves it. Missing pairs are left out.

    Limits from the exact null distribution of Kendall's score up to 30 points (Sen 1968), else its normal limit.
    """
    t, y = np.asarray(time, float), np.asarray(value, float)
    seen = np.isfinite(t) & np.isfinite(y)
    t, y = t[seen], y[seen]
    if np.unique(t).size < 2:
        raise Refusal("time", t.size, because="two different times at least")
    i, j = np.triu_indices(t.size, 1)
    apart = t[i] != t[j]
    i, j = i[apart], j[apart]
    slopes = np.sort((y[j] - y[i]) / (t[j] - t[i]))
    n, score = t.size, np.sign((y[j] - y[i]) * (t[j] - t[i])).sum()
    margin = _kendall_score_limit(n, confidence)
    lowest = int(max(np.floor((slopes.size - margin) / 2), 1)) - 1
    low, high = slopes[lowest], slopes[slopes.size - 1 - lowest]
    return Slope(float(np.median(slopes)), float(low), float(high), float(score / slopes.size))


def _kendall_score_limit(n, confidence):
    """Score that |S| stays below with about the given confidence when there is no trend."""
    if n > 30:
        return stats.norm.ppf((1 + confidence) / 2) * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    ways = np.array([1.0])
    for k in range(2, n + 1):  # numbers of orders with a given number of inversions
        ways = np.convolve(ways, np.ones(k))
    pairs = n * (n - 1) // 2
    score = pairs - 2 * np.arange(pairs + 1)
    share = ways / ways.sum()
    for limit in range(pairs % 2, pairs + 1, 2):
        if share[np.abs(score) < limit].sum() >= confidence - 0.005:
            return limit
    return pairs
