"""What whoever has only `judge.ahead` makes of a spot test: the telephone's sums, plainly, without packing."""

from typing import NamedTuple

import numpy as np

from sizing.causes import channels, names, odds, onsite, weigh
from sizing.causes.table import SUNS
from sizing.judge.ahead import DOUBTS, SHARES

LOG_LEAST = np.log(weigh.LEAST)


class Read(NamedTuple):
    """A test: share of the flow due to this unit, its variance (log), what light is worth, sun, how it was told
    (onsite); what beside the flow was read: {channel of ahead.SIDES: difference from what is due}."""

    share: float
    variance: float
    gain: float
    sun: float
    told_by: int
    beside: dict


def weighed(ahead, read, rates=names.RATES):
    """(odds of the causes if something is wrong, chance that nothing is)."""
    sig, sun = ahead.signatures, np.array([read.sun])
    left = onsite.flow_left(sig, channels.read_curves(sig.flow, SUNS, sun), np.array([read.told_by]))[:, 0]
    left[sig.form == weigh.DRAWN] = 0.0
    share = max(read.share, 0.0)
    steep = share / (share + weigh.SOFT)
    own = max(read.variance * steep**2, (channels.COUNT_SD / (share + weigh.SOFT)) ** 2)
    y = np.log((share + weigh.SOFT) / (1 + weigh.SOFT)) + 0.5 * read.variance * steep**2
    e = y - steep * (ahead.flow_mean[0] + read.gain * ahead.flow_mean[1])
    var = ahead.flow_var
    s = steep**2 * (var[0] + 2 * read.gain * var[1] + read.gain**2 * var[2]) + own
    spread = odds.SPREAD[sig.cause][ahead.of]
    found = _Found(ahead.weight.copy(), ahead.factor.copy(), spread * ahead.doubt_left)
    x = np.maximum([_at_size(sig, left, h, g) for h, g in zip(ahead.of, ahead.grown, strict=True)], LOG_LEAST)
    water = np.where(x <= LOG_LEAST + 0.01, 0.0, np.exp(x))
    shift = np.log((water + weigh.SOFT) / (1 + weigh.SOFT)) - steep * ahead.carried
    found.take(shift * e / s, shift**2 / s)
    for name, value in read.beside.items():
        _beside(ahead.sides[name], value, read.sun, _moved(sig, name, sun)[ahead.of] * ahead.grown, found)
    kept = np.exp(np.minimum(ahead.kept, x) * np.clip(found.factor, 0.3, 2.0))
    wide = odds.MISREAD_SD**2
    misread = np.log(odds.MISREAD_TEST) - 0.5 * np.log1p(wide / s) + 0.5 * (e / s) ** 2 * wide / (1 + wide / s)
    slight = kept > odds.TRIFLE
    sound = np.logaddexp.reduce([ahead.sound, misread, *found.told[slight]])
    everything = np.logaddexp.reduce([sound, *found.told[~slight]])
    cause = np.bincount(
        sig.cause[ahead.of], np.where(slight, 0.0, np.exp(found.told - everything)), minlength=len(names.NAMES)
    )
    noons = bool({"current", "voltage", "level", "rest"} & read.beside.keys())
    held = odds._held_back(cause / max(cause.sum(), 1e-300), ahead.doubt[int(noons)], rates, sig.cause)
    return _drawn_less(ahead, held, read), float(np.exp(sound - everything))


def _drawn_less(ahead, cause, read):
    """The odds brought together with what the search finds of the draw (flags.agreed)."""
    if ahead.less is None:
        return cause
    found = np.interp(np.sqrt(read.variance), DOUBTS, [np.interp(read.share, SHARES, row) for row in ahead.less])
    least, now = 1 / (1 + np.exp(-found)), cause[names.NOT_A_FAULT]
    if found <= 0 or now >= least:
        return cause
    cause = cause * (1 - least) / max(1 - now, 1e-9)
    cause[names.NOT_A_FAULT] = least
    return cause


class _Found:
    """Log weights of the parts, and what is known of their sizes."""

    def __init__(self, told, factor, doubt):
        self.told, self.factor, self.doubt = told, factor, doubt

    def take(self, linear, square):
        rest, wide = linear - square * self.factor, 1 + self.doubt * square
        self.told += linear * self.factor - 0.5 * square * self.factor**2
        self.told += 0.5 * self.doubt * rest**2 / wide - 0.5 * np.log(wide)
        self.factor, self.doubt = self.factor + self.doubt * rest / wide, self.doubt / wide


def _beside(side, value, sun, line, found):
    """A reading beside the flow: its shift may be off by a factor of its own, of which earlier readings may know."""
    sure = np.full(line.size, 1.0)
    own = (side.var + side.own**2 * (((sun - channels.USUAL_SUN) / channels.BRIGHTER) ** 2 - 0.04)) / side.trust
    off = np.full(line.size, value - side.mean)
    before = off.copy()
    if side.before is not None:
        factor, sure, carried = side.before
        line = line - carried
        off = off - line * factor
    whole = own + line**2 * side.loose * sure
    found.told += np.where(line == 0, 0.0, (before**2 / own - off**2 / whole - np.log(whole / own)) / 2)
    line = line * sure
    found.take(line * off / whole, line**2 / whole)


def _moved(sig, name, sun):
    """What each hypothesis, grown whole, changes of a channel (h,)."""
    match name:
        case "current":
            return channels.read_curves(np.log(np.maximum(sig.current, 0.05)), SUNS, sun)[:, 0]
        case "voltage":
            return channels.read_curves(np.log(np.maximum(sig.voltage, 0.2)), SUNS, sun)[:, 0]
        case "level":
            return channels.read_curves(sig.level, SUNS, sun)[:, 0]
        case "rest":
            return sig.rest[:, 0]
        case "meter":
            shown = np.log((sig.flow[:, -1] + weigh.SOFT) / (1 + weigh.SOFT))
            return np.where(sig.form == weigh.BOOKS, shown, 0.0)


def _at_size(sig, left, h, grown):
    """Log of water left by a hypothesis grown to a share of its size, between the smaller sizes of its cause."""
    if grown >= 0.999:
        return left[h]
    wanted, low = abs(sig.size[h]) * grown, h
    while sig.smaller[low] >= 0 and abs(sig.size[sig.smaller[low]]) >= wanted:
        low = sig.smaller[low]
    under = sig.smaller[low]
    if under < 0:
        return left[low] * wanted / abs(sig.size[low])
    share = (wanted - abs(sig.size[under])) / (abs(sig.size[low]) - abs(sig.size[under]))
    return left[under] + share * (left[low] - left[under])
