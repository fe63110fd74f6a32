"""What a unit's readings say, channel by channel: differences from the expected with their covariance.

Under "nothing is wrong" the readings differ from the expected by the unit's own level (known from test sheet and
commissioning within a few per cent), by slow changes (seasons of the well), by dirt that comes and goes, by weather not
known and by the instrument.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from sizing.causes import onsite, tank, weigh
from sizing.causes.table import SUNS

# Healthy output over the chain's: the well's seasons, the sky's bias. A season's sine turns as sharply as a smooth
# change of this length does: sqrt(3) times 365 / (2 pi) days.
SLOW_SD, SLOW_DAYS = 0.055, 100.0
DIRT_SD, DIRT_DAYS = 0.025, 12.0  # of light; times what light is worth
FIXED_VAR = 0.02**2 + 0.015**2  # meter, and what the chain leaves open from day to day
LIGHT_SD = 0.025  # the same of light
LASTING = 0.3  # correlation from day to day of what neighbours do not see of the weather
DULL = 0.03  # of a day's figure at a clearness of about half, growing as it gets darker, times what light is worth
COUNT_SD = 0.02  # of what is due: what a figure of next to nothing may be off, whatever the sun
SHAPE_SD = 0.04  # of the chain's own shape over clearness, a unit of its scale
DRAW_SD, DRAW_SLOW, DRAW_DAYS = 0.25, 0.12, 40.0
RECENT_DAYS, BLOCK_DAYS, REMEMBERED_DAYS = 16, 8, 240
HABIT_DAYS = 45  # ticks older than this tell how often a tank is seen full when all is well, as in judge.bank
NOON_DAYS, RECENT_NOONS = 150, 30  # noons remembered; older ones than these tell how often its tank is full
# shares of a meter's period at which a fault may begin
WITHIN_PERIOD = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.87, 0.94, 0.98])
# own level, slow, dirt, scatter, and what a sun stronger by BRIGHTER changes of the own level; of log noon current
CURRENT = (0.05, 0.035, 0.03, 0.04, 0.04)
VOLTAGE = (0.03, 0.02, 0.02, 0.03, 0.02)
LEVEL = (1.3, 1.2, 0.08, 0.1, 0.0)  # m, of the water at rest or drawn down
DRAWN_DOWN, AT_REST = 0.75, 0.3  # m, by which a well may draw down otherwise than known, or not have come to rest
BESIDE = (0.02, 0.04)  # of the meter's flow over the bucket's: the meter's own error, and of one reading of both
USUAL_SUN, BRIGHTER = 750.0, 250.0  # W/m2
CELL = (0.05, 0.03, 0.02, 0.03)  # of the own cell's day against the sky that neighbours tell
# How far what a fault does at noon may lie from the chain's, relative and in each channel by itself (variance):
# machines differ more in volts and amps than in water (a judgement); metres of water are what they are.
LOOSE, LOOSE_LEVEL = 0.06, 0.02
BRIGHT_W_M2 = 350.0  # a noon, or a test, from which volts and amps say something
RUNS = 0.15  # of the current that is due: less is standing still
STANDS_BY_CHANCE = 0.02  # of a sound unit at noon, without a float switch


def limited(supply, demand, spread=DRAW_SD):
    """As evidence.limited: mean of the lesser of a sure supply and a varying demand; NaN demand: no limit."""
    with np.errstate(invalid="ignore"):
        z = (supply - demand) / (spread * demand)
        mean = supply - spread * demand * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))
    return np.where(np.isfinite(demand), np.maximum(mean, 1e-6), supply)


def free_share(supply, demand):
    """Share by which more or less supply shows in the water: 1 without a float switch."""
    with np.errstate(invalid="ignore"):
        f = ndtr((demand - supply) / (DRAW_SD * demand)) * supply / limited(supply, demand)
    return np.where(np.isfinite(demand), np.clip(f, 0, 1), 1.0)


class Water(NamedTuple):
    """The water channel, one figure each: end day and days covered, difference y, its variance; free share; log
    clearness; gain by light; supply and demand a day; whether told by an own cell; the caretaker's tick;
    raw: variances before wild figures lost weight; sky_sd: of log water by weather that nobody told; began: days, with
    fractions, on which something seems to have begun: the figures themselves say it finer than any grid; steep: how
    much of a change in proportion shows in y (`weigh.steepness`); due_var: of log of what was due; tested: nought, or
    how a test on site was made (`onsite`), and sun, drawn: the irradiance it had, and litres a day drawn; daily:
    whether figures are of days, though older ones stand here some together."""

    day: np.ndarray
    span: np.ndarray
    y: np.ndarray
    var: np.ndarray
    free: np.ndarray
    at: np.ndarray
    gain: np.ndarray
    supply: np.ndarray
    demand: np.ndarray
    own_cell: np.ndarray
    tick: np.ndarray
    raw: np.ndarray
    sky_sd: np.ndarray
    began: np.ndarray
    steep: np.ndarray
    due_var: np.ndarray
    tested: np.ndarray
    sun: np.ndarray
    drawn: np.ndarray
    daily: bool

    @property
    def floats(self):
        return bool(np.isfinite(self.demand).any())


def water_channel(rows, today, level, noise=1.0):
    """The water channel from a unit's observations (judge.record.OBSERVATION) up to today; None if there are none."""
    with np.errstate(invalid="ignore"):
        ok = (rows["mistake"] == 0) & np.isfinite(rows["measured_l"]) & (rows["expected_l"] > 20 * rows["since"])
        ok &= (rows["day"] <= today) & (rows["day"] > today - REMEMBERED_DAYS)
    rows = rows[ok]
    if len(rows) < 1:
        return None
    rows = rows[np.argsort(rows["day"], kind="stable")]
    span = rows["since"].astype(float)
    supply = np.maximum(rows["supply_l"] / span * np.exp(level), 1.0)
    demand = rows["demand_l"].astype(float)
    if np.isfinite(demand).any():
        expected, free = limited(supply, demand), free_share(supply, demand)
    else:
        expected, free = supply, np.ones(len(rows))
    weather = rows["weather_var"].astype(float)
    tested = np.where(onsite.is_test(rows["told_by"]), rows["told_by"], 0)
    test = tested < 0
    daily = bool(np.median(span[~test]) <= 3) if not test.all() else False
    share = np.maximum(rows["measured_l"] / span / expected, 0.0).astype(float)
    steep = weigh.steepness(share, span)
    ratio = np.log((share + weigh.SOFT) / (1 + weigh.SOFT)) + 0.5 * weather * steep**2
    light = rows["light_gain"] * free
    by_day = (rows["told_by"] >= 0) & (span <= 1)
    # As in judge.figures: neighbours know bright days better than they think, and dull ones worse.
    weather = weather * np.where(by_day, np.clip(np.exp(0.55 * (0.7 - rows["clearness"])), 0.5, 2.2), 1.0)
    dull = DULL * np.maximum(rows["light_gain"], 1.0) * np.exp(0.75 * (1 - rows["clearness"])) * (span <= 1)
    of_due = (weather + FIXED_VAR + dull**2 + (LIGHT_SD * light) ** 2 / span) * noise + (1 - free) * DRAW_SD**2 / span
    var = of_due * steep**2 + ((COUNT_SD + 15.0 / (expected * span)) / (share + weigh.SOFT)) ** 2
    # A test at which nothing came is as sure as a figure of nothing can be, no surer.
    of_test = np.maximum(weather * steep**2, (COUNT_SD / (share + weigh.SOFT)) ** 2)
    of_due, var = np.where(test, weather, of_due), np.where(test, of_test, var)
    jumps = weigh.steps(np.ascontiguousarray(ratio, float), 4 if daily else 2)
    jumps = np.sort(jumps[jumps >= 0])
    since = np.where(test, np.diff(rows["day"], prepend=rows["day"][0] - 1.0), span)
    # what begins within a day or period shows whole only in the next one, where the step is seen then
    at = np.union1d(jumps, np.maximum(jumps - 1, 0)).astype(int)
    within = _sound_share(share, at) if daily else np.broadcast_to(WITHIN_PERIOD, (at.size, WITHIN_PERIOD.size))
    began = (rows["day"][at] - since[at])[:, None] + since[at][:, None] * within
    group = _blocks(rows, test, today, np.searchsorted(jumps, np.arange(len(rows)), side="right"), at)
    # A test may rightly say what the figures around it do not: only those are held against each other.
    raw, var, plain = var, var.copy(), ~test
    var[plain] = weigh.unrest(np.ascontiguousarray(ratio[plain], float), var[plain], span[plain])
    var[plain] = weigh.robust(ratio[plain], var[plain], span[plain], free[plain], 0.045)
    weight = 1 / var
    total = np.bincount(group, weight)

    def pool(values):
        return np.bincount(group, weight * values) / total

    count = np.bincount(group)
    alone = count == 1
    last = np.zeros(len(total), int)
    last[group] = np.arange(len(rows))
    covers = np.bincount(group, span)
    told = alone & (rows["told_by"][last] >= 0) & (span[last] <= 1)
    tested = tested[last]
    return _in_order(Water(
        day=pool(rows["day"].astype(float)) + np.where(alone, 0, (covers - 1) / 2),
        span=covers,
        y=pool(ratio),
        var=1 / total,
        free=pool(free),
        at=pool(rows["clearness"].astype(float)),
        gain=pool(light),
        supply=pool(supply),
        demand=pool(demand) if np.isfinite(demand).all() else np.full(len(total), np.nan),
        own_cell=rows["told_by"][last] == -1,
        tick=_ticked(rows["tick"].astype(float), group),
        raw=np.where(alone, raw[last], 1 / total),
        sky_sd=np.where(told, np.sqrt(np.maximum(weather[last], 0)), 0.0),
        began=began.ravel(),
        steep=pool(steep),
        due_var=pool(of_due) / count,
        tested=tested,
        sun=np.where(tested < 0, rows["noon_w_m2"][last], np.nan).astype(float),
        drawn=np.where(tested < 0, rows["high_l"][last], np.nan).astype(float),
        daily=bool(daily),
    ))  # fmt: skip


def _ticked(tick, group):
    """Share of the ticks of each group that say "full", NaN where there is none."""
    known = np.isfinite(tick)
    count = np.bincount(group, known)
    return np.where(count > 0, np.bincount(group, np.where(known, tick, 0.0)) / np.maximum(count, 1), np.nan)


def ticking_habit(water, today):
    """How much oftener than usual this tank was seen full before the last weeks (log odds). Who ticks the sheet every
    day whatever the tank is like says nothing by it, as judge.bank knows too."""
    seen = np.isfinite(water.tick) & np.isfinite(water.demand) & (today - water.day > HABIT_DAYS)
    due = sum(tank.full_seen(s, d, DRAW_SD) for s, d in zip(water.supply[seen], water.demand[seen], strict=True))
    return tank.leaning(float(water.tick[seen].sum()), float(due), float(seen.sum()))


def _sound_share(share, at):
    """Shares of days (at) after which something may have begun that came at once: none, and what makes the day's water
    lie between the days before and those after (a, 2)."""
    out = np.zeros((at.size, 2))
    for k, i in enumerate(at):
        before, after = share[max(i - 4, 0) : i], share[i + 1 : i + 5]
        if before.size and after.size:
            fall = np.median(before) - np.median(after)
            out[k, 1] = np.clip((share[i] - np.median(after)) / fall, 0.0, 0.98) if abs(fall) > 0.05 else 0.0
        elif before.size:  # the newest day: it may have stood from that moment on
            out[k, 1] = np.clip(share[i] / max(np.median(before), 0.05), 0.0, 0.98)
    return out


def _in_order(water):
    """Figures in order of their days: two parts of a block may stand the other way round. Those of one day keep their
    order, whatever pooling left in the last digits: a test comes after what else is known of its day."""
    order = np.argsort(np.round(water.day, 6), kind="stable")
    whole = {"began": water.began, "daily": water.daily}
    return Water(**{k: values[order] for k, values in water._asdict().items() if k not in whole}, **whole)


def _blocks(rows, test, today, part, steps):
    """Groups of rows: recent ones, tests and the days on which something began (steps) alone, older day records of one
    part some days together. Returns each row's group."""
    age = today - rows["day"]
    old = (age > RECENT_DAYS) & (rows["since"] <= 1) & ~test
    old[steps] = False
    key = np.where(old, -(10**6) - 8 * (age // BLOCK_DAYS) - part, np.arange(len(rows)))
    _, group = np.unique(key, return_inverse=True)
    return group


def covariance(day, span, load, light, level_sd, slow_sd, slow_days, quick_sd, quick_days):
    """Of own level, slow changes and dirt: (m, m).

    Slow changes are smooth, as a season is, so that what happens within days does not pass for one (Matern's covariance
    of order 3/2; Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, sec. 4.2, from memory).
    """
    middle = day - span / 2
    apart = np.abs(middle[:, None] - middle[None, :])
    near = np.sqrt(3.0) * apart / slow_days
    k = (level_sd**2 + slow_sd**2 * (1 + near) * np.exp(-near)) * np.outer(load, load)
    if quick_sd:
        k += quick_sd**2 * np.exp(-apart / quick_days) * np.outer(light, light)
    return k


def water_covariance(w, level_sd):
    """Covariance of the water channel's differences, their own variances left aside."""
    k = covariance(w.day, w.span, w.free, w.gain, level_sd, SLOW_SD, SLOW_DAYS, DIRT_SD, DIRT_DAYS)
    test = np.where(w.tested < 0, 1.0, 0.0)
    if test.any():  # what tests of a unit have in common beyond its own level
        with_days, alike = onsite.carried(level_sd)
        k += ((test[:, None] + test[None, :]) * with_days + np.outer(test, test) * alike) * np.outer(w.free, w.free)
    if w.sky_sd.any():  # weather that neighbours miss lasts
        apart = np.abs(w.day[:, None] - w.day[None, :])
        same = LASTING * np.exp(-(apart - 1) / 1.5) * np.outer(w.sky_sd, w.sky_sd)
        k += np.where((apart > 0) & (apart < 8), same, 0.0)
    bent = SHAPE_SD * (w.at - 1.0) * w.free * (1 - test)
    k += np.outer(bent, bent)
    if w.floats:
        k += covariance(w.day, w.span, 1 - w.free, None, 0.2, DRAW_SLOW, DRAW_DAYS, 0.0, 1.0)
    return k * np.outer(w.steep, w.steep)


class Noon(NamedTuple):
    """A channel of single days: covariance with the figures' own variances in it; shift: a function of the signatures
    that gives the shift of each figure by each hypothesis grown whole (h, m)."""

    day: np.ndarray
    y: np.ndarray
    covariance: np.ndarray
    shift: object
    loose: float = 0.0  # variance of the factor, about 1, by which a fault's shift may differ from the chain's


class Idle(NamedTuple):
    """Noons at which a sound unit would run: whether it stood with the sun on it, chance of that in a sound unit."""

    day: np.ndarray
    sun: np.ndarray
    stood: np.ndarray
    sound: np.ndarray
    free: np.ndarray


def noon_channels(rows, today, noon, tracking):
    """(channels of noon current, voltage and level, Idle or None) from rows and what was due at their noons."""
    bright = rows["noon_w_m2"] > BRIGHT_W_M2
    recent = bright & (rows["day"] <= today) & (rows["day"] > today - NOON_DAYS)
    idle = _idle(rows[recent], today, *(np.asarray(x, float)[recent] for x in noon[:2]))
    rows, volts, amps, level, rest = _some(rows, today, bright, *(np.asarray(x, float) for x in noon))
    out = []
    test = onsite.is_test(rows["told_by"])
    if len(rows) < 3 and not test.any():
        return out, None
    has_amps = np.isfinite(rows["noon_a"]) & (amps > 0.1)
    runs = has_amps & (rows["noon_a"] > RUNS * amps)
    with np.errstate(divide="ignore", invalid="ignore"):
        of_volts = np.log(rows["noon_v"] / volts)
    held_back = of_volts > 0.045  # the array rises above its best point: it does not limit
    stalled = of_volts < -0.5  # stands with the current through it: a matter of thresholds
    free_to_run = runs & ~(held_back & tracking)
    y = np.log(np.maximum(rows["noon_a"], 0.05 * amps) / np.maximum(amps, 1e-6))
    out += _channel(rows, free_to_run, y, CURRENT, lambda s: np.log(np.maximum(s.current, 0.05)),
                    lambda s: s.cell_of_dirt, onsite.SUN_SD)  # fmt: skip
    seen = np.isfinite(rows["noon_v"]) & (volts > 1) & free_to_run & ~stalled
    out += _channel(rows, seen, of_volts, VOLTAGE, lambda s: np.log(np.maximum(s.voltage, 0.2)))
    dip, with_flow = rows["told_by"] == onsite.DIP, test & np.isnan(rows["noon_a"]) & (rows["measured_l"] > 0)
    drawn = np.isfinite(level) & (runs | with_flow)
    rests = np.isfinite(rest) & ((has_amps & ~runs & ~stalled) | dip) & ~drawn
    return out + _levels(rows, np.isfinite(rows["noon_level_m"]) & (drawn | rests), level, rest, rests), idle


def _levels(rows, seen, level, rest, rests):
    """The channel of levels: where the water lies at rest is one figure, whether the pump runs or not."""
    y = rows["noon_level_m"] - np.where(rests, rest, level)
    still = rests[seen]

    def moved(s):
        return np.where(still, s.rest[:, :1], read_curves(s.level, SUNS, rows["noon_w_m2"][seen].astype(float)))

    more = np.where(still, 0.0, 1.0)
    return _channel(rows, seen, y, LEVEL, None, moved=moved,
                    besides=DRAWN_DOWN**2 * np.outer(more, more) + np.diag(AT_REST**2 * still))  # fmt: skip


def _idle(rows, today, volts, amps):
    """What noons say of standing, or None. Every noon counts: a pump that stands on one says little of the next."""
    test = onsite.is_test(rows["told_by"])
    has_amps = np.isfinite(rows["noon_a"]) & (amps > 0.1)
    if has_amps.sum() < 3 and not (has_amps & test).any():
        return None
    rows, volts, amps = rows[has_amps], volts[has_amps], amps[has_amps]
    runs, sun = rows["noon_a"] > RUNS * amps, rows["noon_w_m2"].astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        stalled = rows["noon_v"] < 0.6 * volts
        supply = rows["supply_l"] / np.maximum(rows["since"], 1)
        free = free_share(supply.astype(float), rows["demand_l"].astype(float))
    sound = np.clip(STANDS_BY_CHANCE + 0.7 * (1 - free), STANDS_BY_CHANCE, 0.9)
    stood = ~runs & ~stalled
    past = (rows["day"] <= today - RECENT_NOONS) & np.isfinite(rows["demand_l"])  # no float switch, no full tank
    own = (stood[past].sum() + 1) / (sound[past].sum() + 1)  # how often it stood against how often was thought
    sound = np.clip(sound * own, STANDS_BY_CHANCE, 0.9)
    return Idle(rows["day"].astype(float), sun, stood.astype(float), sound, free)


def _some(rows, today, ok, *columns):
    """The rows of noons that count: all of the last days, fewer of those before."""
    age = today - rows["day"]
    keep = ok & (age >= 0) & (age < NOON_DAYS) & ((age <= 12) | (age % 5 == 0) | onsite.is_test(rows["told_by"]))
    return rows[keep], *(c[keep] for c in columns)


def _channel(rows, seen, y, spread, signature, shared=None, sun_sd=0.0, moved=None, besides=0.0):
    """One channel, or none where too little was seen; a test on site counts alone. shared: what an own cell in the
    frame has in common with the array, a test's instrument not; sun_sd: of that instrument, as far as y rests on it."""
    test = onsite.is_test(rows["told_by"][seen])
    if seen.sum() < 3 and not test.any():
        return []
    day, y, sun = rows["day"][seen].astype(float), np.asarray(y[seen], float), rows["noon_w_m2"][seen].astype(float)
    one = np.ones(len(y))
    var = np.full(len(y), spread[3] ** 2)
    var[~test] = weigh.robust(y[~test], var[~test], one[~test], one[~test], spread[2])
    var[test] += sun_sd**2
    k = covariance(day, one, one, one, spread[0], spread[1], SLOW_DAYS, spread[2], DIRT_DAYS)
    own = spread[4] * (sun - USUAL_SUN) / BRIGHTER
    k += np.outer(own, own)
    k[np.diag_indices(len(y))] += var
    k += besides

    def shift(s):
        by_fault = read_curves(signature(s), SUNS, sun)
        return by_fault if shared is None else by_fault - np.where(test, 0.0, shared(s))

    return [Noon(day, y, k, moved or shift, LOOSE if moved is None else LOOSE_LEVEL)]


def cell_channel(rows, today, signatures_x):
    """The own cell's day against the sky that neighbours tell: a list of none or one channel."""
    with np.errstate(invalid="ignore"):
        ok = (rows["told_by"] < 0) & np.isfinite(rows["sky"]) & (rows["sky_var"] < 0.4) & np.isfinite(rows["clearness"])
    rows = _some(rows, today, ok)[0]
    if len(rows) < 6:
        return []
    x = rows["clearness"].astype(float)
    slope = 1 / (1 + np.exp(np.clip(x, -3, 3)))  # of log light along the clearness's scale
    y = (x - rows["sky"]) * slope
    one = np.ones(len(y))
    var = rows["sky_var"] * slope**2 + CELL[3] ** 2
    var = weigh.robust(y, var.astype(float), one, one, CELL[2])
    day = rows["day"].astype(float)
    k = covariance(day, one, one, one, CELL[0], CELL[1], SLOW_DAYS, CELL[2], DIRT_DAYS)
    k[np.diag_indices(len(y))] += var
    return [Noon(day, y, k, lambda s: read_curves(np.log(s.cell), signatures_x, x), LOOSE)]


def meter_channel(rows, today):
    """The meter's flow against the bucket's that was filled beside it: a list of none or one channel. It has no sun and
    no pump in it, so it speaks of the meter alone."""
    with np.errstate(invalid="ignore"):
        ok = onsite.by_bucket(rows["told_by"]) & (rows["meant"] >= 0) & (rows["day"] <= today)
    rows = rows[ok & (rows["day"] > today - REMEMBERED_DAYS)]
    if not len(rows):
        return []
    day, y = rows["day"].astype(float), np.log((np.minimum(rows["meant"], 2.0) + weigh.SOFT) / (1 + weigh.SOFT))

    def shift(s):
        shown = np.log((s.flow[:, -1:] + weigh.SOFT) / (1 + weigh.SOFT))
        return np.repeat(np.where((s.form == weigh.BOOKS)[:, None], shown, 0.0), len(day), axis=1)

    return [Noon(day, y, BESIDE[0] ** 2 + np.diag(np.full(len(day), BESIDE[1] ** 2)), shift)]


def read_curves(curves, knots, at):
    """Curves (h, k) over evenly spaced knots, read at points (m,): (h, m)."""
    place = np.clip((at - knots[0]) / (knots[1] - knots[0]), 0, len(knots) - 1.000001)
    i = place.astype(int)
    return curves[:, i] + (place - i) * (curves[:, i + 1] - curves[:, i])
