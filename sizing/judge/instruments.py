"""Figures that somebody read off an instrument and wrote down: volts, amps, levels, flows, sun.

A figure is doubted when another way of writing it (a nought or a point elsewhere, two digits changed over, another unit
of measure) fits what was due, and when that is likely enough beside its being right, be it that something is wrong with
the pump. To ask costs a click, so it is asked from one in four on. Volts and amps are doubted together where each fits
the other's place.
"""

from typing import NamedTuple

import numpy as np

from sizing.judge.mistakes import DIGITS_SWAPPED, FITS, NONE, SLIP_OF_TEN, SLIPS, WRONG_UNIT

ASKED_FROM = 1 / 3  # odds of a slip against its being right (a judgement)
IN_ANOTHER_UNIT = 0.005  # of figures; as many as have two digits changed over (a judgement, no source)
IN_EACH_OTHERS_PLACE = 0.005  # of pairs of volts and amps; as many again (a judgement, no source)
LEAST_SHARE = 0.001  # of what was due; what stands still shows nought, which has no logarithm
MORE_THAN_DUE = 0.02  # of figures, more than a sound unit gives and yet right (a judgement)
# Noons: so many before and behind, no further off than so many days, and under a sun alike (log), say what is usual.
BESIDE, DAYS_OFF, FEWEST, ALIKE = 12, 30, 4, 0.22
LEAST_SUN_W_M2, RUNS_A = 350.0, 0.1  # below the one volts and amps follow no line, below the other nothing runs
MOST_SUN_W_M2, KILOWATTS = 1600.0, 1.6  # what no sun reaches; what the sun of a pump that runs is in kW/m2 at most
LEAST_SD = {"volts": 0.03, "amps": 0.08, "level_m": 0.05}
UNKNOWN_SD = {"volts": 0.2, "amps": 0.4}  # of the modules' nominal figures, where the unit's own are too few
STALLS = 0.6  # of the usual volts, as in causes.channels
AMISS = 0.01  # of noons on which a pump that ran the days before gives a figure of its own (about 3 faults a year)
LASTS = 3  # noons in a row that would have to be mended alike: no slip of the pen
NOMINAL_SUN_W_M2 = 1000.0
BY_MACHINE = 25  # noons of one unit within DAYS_OFF before and behind: nobody reads so many off by hand (a judgement)


def other_writings(figure, factors=()):
    """[(kind, figure, frequency)] of all that one slip makes of a figure, of the decimals that stand there.
    factors: what it is multiplied by if it was meant in another unit."""
    out = [(SLIP_OF_TEN, figure * 10.0, SLIPS[SLIP_OF_TEN] / 2), (SLIP_OF_TEN, figure / 10.0, SLIPS[SLIP_OF_TEN] / 2)]
    text = np.format_float_positional(figure, precision=6, trim="-")
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    swaps = [(a, b) for a, b in zip(digits, digits[1:]) if text[a] != text[b]]
    for a, b in swaps:
        signs = list(text)
        signs[a], signs[b] = signs[b], signs[a]
        out.append((DIGITS_SWAPPED, float("".join(signs)), SLIPS[DIGITS_SWAPPED] / len(swaps)))
    return out + [(WRONG_UNIT, figure * factor, IN_ANOTHER_UNIT) for factor in factors]


def doubt_figure(figure, due, sd, amiss, factors=()):
    """(kind, what was meant) of one figure, both above nought; kind NONE where nothing is to be asked.

    due: what a sound unit would show; sd: its standard deviation (log); amiss: how often such a figure is low since
    something is wrong with the unit; factors: as of `other_writings`.
    """
    s, off = max(sd, 0.03), np.log(figure / due)
    if abs(off) < 2 * s:
        return NONE, np.nan
    right = _as_it_stands(figure, due, s, amiss)
    best = (NONE, np.nan, 0.0)
    for kind, meant, often in other_writings(figure, factors):
        then = np.log(meant / due) if meant > 0 else np.inf
        if abs(then) < FITS + 2 * s:
            weight = often * np.exp(-0.5 * (then / s) ** 2) / (2.507 * s)
            if weight > best[2]:
                best = (kind, meant, weight)
    return best[:2] if best[2] > ASKED_FROM * right else (NONE, np.nan)


def _as_it_stands(figure, due, sd, amiss):
    """How likely a figure is that was written as it was read: a density of its logarithm. Low by any share alike, or
    more than is due, the less likely the more."""
    off = np.log(figure / due)
    right = np.exp(-0.5 * (off / sd) ** 2) / (2.507 * sd)
    return right + (amiss * figure / due if off < 0 else MORE_THAN_DUE * (due / figure) ** 2)


class Reading(NamedTuple):
    """What a sound unit would show on an instrument, its standard deviation (log), and how often it is low since
    something is wrong with the unit."""

    due: float
    sd: float
    amiss: float


def in_each_others_place(volts, amps, of_volts, of_amps):
    """Whether the volts were written for the amps and the amps for the volts, of one moment of one unit.

    volts, amps: as they stand, nought or more; of_volts, of_amps: `Reading`. False where a figure or what is due is not
    known. One of them may be low all the same, since something is wrong with the unit: that is weighed either way.
    """
    if not (volts >= 0 and amps >= 0 and of_volts.due > 0 and of_amps.due > 0):
        return False

    def likely(volts, amps):
        return np.prod([
            _as_it_stands(max(figure, LEAST_SHARE * one.due), one.due, max(one.sd, 0.03), one.amiss)
            for figure, one in ((volts, of_volts), (amps, of_amps))
        ])  # fmt: skip

    return bool(IN_EACH_OTHERS_PLACE * likely(amps, volts) > ASKED_FROM * likely(volts, amps))


class Noons(NamedTuple):
    """Noon records (n,) by unit and day: sun (W/m2), volts, amps, depth to water; nominal volts and amps of the modules
    in full sun; which of them count (are not in doubt) and which are asked about; which motors hang on the modules
    without a controller between. NaN where not known."""

    unit: np.ndarray
    day: np.ndarray
    sun_w_m2: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    level_m: np.ndarray
    nominal_v: np.ndarray
    nominal_a: np.ndarray
    counts: np.ndarray
    asked: np.ndarray
    direct: np.ndarray


class Slip(NamedTuple):
    """A figure in doubt: place of its noon, name of the field in Noons, kind, what was meant, what was usual."""

    place: int
    name: str
    kind: int
    meant: float
    due: float


def doubt_noons(noons):
    """[Slip] of the noons that are asked about, held against the noons around each."""
    sun, amps, unknown = noons.sun_w_m2, noons.amps, np.full(len(noons.unit), np.nan)
    written = noons.asked & ~_by_machine(noons)
    with np.errstate(invalid="ignore", divide="ignore"):
        runs = ~(amps <= RUNS_A) & ~(sun < LEAST_SUN_W_M2)
        kilowatts = (sun > 0) & (sun <= KILOWATTS) & (amps > RUNS_A)
        slips = [Slip(int(i), "sun_w_m2", WRONG_UNIT, float(sun[i] * 1000), np.nan)
                 for i in np.flatnonzero(noons.asked & kilowatts)]  # fmt: skip
        slips += [Slip(int(i), "sun_w_m2", SLIP_OF_TEN, float(sun[i] / 10), np.nan)
                  for i in np.flatnonzero(noons.asked & (sun > MOST_SUN_W_M2))]  # fmt: skip
        strong = np.where(kilowatts | (sun > MOST_SUN_W_M2), np.nan, sun)
        by_sun = amps / strong * NOMINAL_SUN_W_M2
        given = {
            "volts": (np.where(runs, noons.volts, np.nan), 0.95 * noons.nominal_v, 1.0, np.log(strong)),
            "amps": (np.where(runs, by_sun, np.nan), noons.nominal_a, strong / NOMINAL_SUN_W_M2, np.log(strong)),
            # pumping levels are held against pumping levels, those at rest against those at rest
            "level_m": (np.where(noons.level_m > 1, noons.level_m, np.nan), unknown, 1.0,
                        np.where(np.isfinite(amps), np.where(amps > RUNS_A, 1.0, 0.0), np.nan)),
        }  # fmt: skip
    for name, (values, nominal, scale, alike) in given.items():
        scale = np.broadcast_to(scale, values.shape)
        slips += _of_channel(noons._replace(asked=written), name, values, nominal, scale, alike)
    return slips


def _by_machine(noons):
    """Which noons stand among so many that a logger must have kept them: it slips with no digits. Its table may still
    be in another unit of measure."""
    key = noons.unit.astype(np.int64) * 1_000_000 + noons.day
    ordered = np.sort(key)
    near = np.searchsorted(ordered, key + DAYS_OFF, "right") - np.searchsorted(ordered, key - DAYS_OFF, "left")
    return near >= BY_MACHINE


def _of_channel(noons, name, values, nominal, scale, strong):
    """strong: what must be alike of noons that are held together, the sun or whether it pumped; where that is not
    known, they are not held to it."""
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(np.where(values > 0, values, np.nan))
        usual, scatter = _usual(noons, logs, strong)
        known = np.isfinite(usual)
        usual = np.where(known, usual, np.log(nominal))
        sd = np.where(known, np.clip(scatter, LEAST_SD[name], 0.3), UNKNOWN_SD.get(name, 1.0))
        odd = noons.asked & np.isfinite(usual) & (np.abs(logs - usual) > 2 * sd)
        if name == "volts":  # a motor on the modules that has stalled draws their amps at next to no volts
            odd &= ~(noons.direct & (logs < usual + np.log(STALLS)))
    found = {}
    for i in np.flatnonzero(odd).tolist():
        due = float(np.exp(usual[i]) * scale[i])
        kind, meant = doubt_figure(float(getattr(noons, name)[i]), due, float(sd[i]), AMISS)
        if kind:
            found[i] = Slip(i, name, kind, meant, due)
    return [slip for i, slip in found.items() if not _lasts(noons, found, i)]


def _usual(noons, logs, strong):
    """Middle (log) of the figures around each, and their scatter about it; NaN where they are too few."""
    n, around = len(logs), []
    usable = np.where(noons.counts, logs, np.nan)
    for step in range(1, BESIDE + 1):
        for to in (step, -step):
            beside = np.full(n, np.nan)
            low, high = slice(0, max(n - step, 0)), slice(min(step, n), n)
            here, there = (low, high) if to > 0 else (high, low)
            near = (noons.unit[here] == noons.unit[there]) & (np.abs(noons.day[here] - noons.day[there]) <= DAYS_OFF)
            near &= ~(np.abs(strong[here] - strong[there]) > ALIKE)
            beside[here] = np.where(near, usable[there], np.nan)
            around.append(beside)
    around = np.sort(np.stack(around), axis=0)  # NaN last
    count = np.isfinite(around).sum(axis=0)
    usual = _middle(around, count)
    scatter = 1.4826 * _middle(np.sort(np.abs(around - usual), axis=0), count)
    few = count < FEWEST
    return np.where(few, np.nan, usual), np.where(few, np.nan, scatter)


def _middle(ordered, count):
    low, high = np.maximum((count - 1) // 2, 0), np.minimum(count // 2, len(ordered) - 1)
    return 0.5 * (np.take_along_axis(ordered, low[None], 0)[0] + np.take_along_axis(ordered, high[None], 0)[0])


def _lasts(noons, found, place):
    """Whether the noons before and behind would have to be mended alike."""
    first = last = place
    for step in (-1, 1):
        at = place
        while (at + step in found and found[at + step].kind == found[place].kind
               and noons.unit[at + step] == noons.unit[place]):  # fmt: skip
            at += step
        first, last = min(first, at), max(last, at)
    return last - first + 1 >= LASTS
