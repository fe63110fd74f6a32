"""The day's shape: how a day's water lies about noon, against what the sun of that day should have made of it.

A shade and a turned frame take their share at one end of the day, a box that is off above some sun takes the middle,
and whatever raises the sun at which water begins takes both ends: the day's total hides all of that. Only shares of a
day are compared here; how much came in all is said by the day's water.

Where the logger reads an own cell, the flow of each quarter hour is held against the sun of that quarter, and cloud
does no harm; a frame that turns its cell along with it is looked for in the cell's own course. Without a cell the
course of a day of the same clearness is all there is, and an unsteady day tells less.
"""

import warnings
from typing import NamedTuple

import numpy as np

from sizing import chain, sun
from sizing.causes import channels, table, weigh
from sizing.causes.names import NUMBER
from sizing.causes.signatures import TURN

QUARTERS = np.arange(5.125, 19, 0.25)  # middles, hours of sun time
PARTS = np.searchsorted([10.0, 12.0, 14.0], QUARTERS)  # morning, before noon, after noon, afternoon
TOLD = np.array([0, 1, 3])  # parts whose shares are compared; the fourth follows from them
NEWEST_DAYS, EVERY = 12, 5  # older days count every so many
POOLED = 4  # days taken together, of the older ones as many of those that count
FEWEST, CLEAREST_DAYS = 4, 7  # days
QUARTER_DEG = 3.75  # that the sun moves in a quarter of an hour
TRUST = 0.5  # days in a row are less independent than counted
STOOD_TRUST = 0.3  # and moments of one day less still
STANDS = 0.15  # of the flow that is due: less is standing still
MOMENTS = (11.0, 12.0, 13.0)  # at which a unit that runs that day is looked at; a low sun's shade does not reach so far
MOMENT_SUN = 550.0
SUNNY = 0.2  # clearness on the axis's scale from which such a moment counts where no cell tells its sun
STANDS_UNDER_CLOUD = 0.03  # chance of finding a sound unit stand at such a moment, though it runs in a cloud's shade
STANDS_BY_CLOUD = 0.5  # the same of one that does not, times the share of the time in it: half an hour is seldom all so
# Of a share of the day's water. From day to day; own, which is the frame's place on paper, a skyline nobody drew, the
# main that fills first; slow: the well's and the sky's seasons. Measured on simulated sound units, then widened by half
# (a judgement).
BY_CELL = (0.02, 0.03, 0.015)
BY_SKY = (0.045, 0.03, 0.025)
INNER, INNER_DAYS = 0.01, 30.0  # between the parts of a half day: how far into it a fault really reaches (a judgement)
UNSTEADY = 0.5  # what a day's own unsteadiness adds to the first


class Due(NamedTuple):
    """Of a sound unit in a month: flow (suns,) L/min and current (suns,) A at table.SUNS; light (turns + 1, k, 24) that
    its frame catches on days of each clearness, turned by each of TURN and last as it should stand, W/m2; hidden (k,
    24): what is left of the last without the sun's beam; height (quarters,) of the sun, degrees."""

    flow: np.ndarray
    current: np.ndarray
    light: np.ndarray
    hidden: np.ndarray
    height: np.ndarray


class Course(NamedTuple):
    """Days by quarter hours: day (m,); ran (m, quarters) L/min, or A where by_current; sun (m, quarters) of the own
    cell, NaN where there is none; due: of the unit in this month."""

    day: np.ndarray
    ran: np.ndarray
    sun: np.ndarray
    by_current: bool
    due: Due


def due(fleet, unit, month, air_c=table.AIR_C):
    """What is due of a sound unit in a month (0-11)."""
    one = fleet.take([unit])
    level = one.static_level_m[:, month][:, None]
    spot = chain.spot(one, table.SUNS[None, :], air_c, level)
    turned = fleet.take(np.repeat(unit, len(TURN) + 1))
    turned = turned.with_(azimuth_deg=(turned.azimuth_deg + np.array([*TURN, 0.0])) % 360)
    caught, _plane = table.days_of_each_clearness(turned, [month])
    up = sun.cos_zenith(float(one.latitude_deg[0]), sun.declination_deg(table.MID_MONTH[month]), 15 * (QUARTERS - 12))
    return Due(
        np.nan_to_num(spot.flow_l_min[0]), np.nan_to_num(spot.array_current_a[0]), caught[:, 0],
        table.light_without_beam(one, [month])[0, 0], np.degrees(np.arcsin(np.clip(up, -1, 1))),
    )  # fmt: skip


def course(day, flow, current, sun, due, today):
    """The Course up to today: by the flow where any was ever sampled, else by the current."""
    known = day <= today
    by_current = not np.isfinite(flow[known]).any()
    return Course(day[known], (current if by_current else flow)[known], sun[known], by_current, due)


def counted(day, today):
    """Whether a day counts today: all of the newest, fewer of those before."""
    age = today - np.asarray(day)
    return (age >= 0) & (age < channels.NOON_DAYS) & ((age < NEWEST_DAYS) | (np.asarray(day) % EVERY == 0))


def by_quarters(place, hour, values, days):
    """Means of samples by quarter hours, (days, quarters), NaN where none fell. place (s,): row of each sample's day;
    hour (s,): sun time; values (s,), NaN left out."""
    quarter = np.floor((hour - QUARTERS[0] + 0.125) * 4 + 1e-6).astype(int)
    there = np.isfinite(values) & (quarter >= 0) & (quarter < QUARTERS.size)
    cell = place[there] * QUARTERS.size + quarter[there]
    size = days * QUARTERS.size
    count = np.bincount(cell, minlength=size)
    total = np.bincount(cell, values[there], minlength=size)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / np.maximum(count, 1), np.nan).reshape(days, QUARTERS.size)


def typical(course, clearness):
    """The light of days of that clearness (m,) in the frame as it should stand and turned: (turns + 1, m, quarters)."""
    place = np.clip((clearness - table.X[0]) / (table.X[1] - table.X[0]), 0, table.X.size - 1.000001)
    k = place.astype(int)
    share = (place - k)[None, :, None]
    light = course.due.light[:, k] * (1 - share) + course.due.light[:, k + 1] * share
    return hours_to_quarters(light)


def hours_to_quarters(values):
    """Values at the middles of 24 hours, (..., 24), at QUARTERS."""
    place = QUARTERS - 0.5
    k = place.astype(int)
    return values[..., k] + (place - k) * (values[..., k + 1] - values[..., k])


class Picture(NamedTuple):
    """Medians over some clear days by quarter hours (quarters,), NaN where nothing is known: what was due and what
    came, L/min or A, and of how many days."""

    due: np.ndarray
    came: np.ndarray
    days: int


def picture(course, rows, first, last):
    """The Picture of the clearest days first..last, or None where fewer than FEWEST are known. Of a unit with a float
    switch the quarters that a full tank may have stopped are left out."""
    keep = (course.day >= first) & (course.day <= last)
    course, rows = _alike(course, rows, keep)
    if len(course.day) < FEWEST:
        return None
    clearest = np.sort(np.argsort(-rows["clearness"], kind="stable")[:CLEAREST_DAYS])
    ran, sun, rows = course.ran[clearest], course.sun[clearest], rows[clearest]
    lit = np.where(np.isfinite(sun), sun, typical(course, rows["clearness"].astype(float))[-1])
    expected = _read(course.due.current if course.by_current else course.due.flow, lit)
    counts = _counts(ran, expected, np.isfinite(rows["demand_l"]))
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # quarters of which nothing is known
        due, came = (np.nanmedian(np.where(counts, x, np.nan), axis=0) for x in (expected, ran))
    return Picture(due, came, len(clearest))


def channel(course, rows, today, sig):
    """Channels of the day's shape, [Noon], and at what bright moments the unit stood, Idle or None."""
    course, rows = _of_days(course, rows, today)
    if len(course.day) < FEWEST:
        return [], None
    curve = course.due.current if course.by_current else course.due.flow
    by_cell = np.isfinite(course.sun).sum(axis=1) > 0.6 * np.isfinite(course.ran).sum(axis=1)
    clear = rows["clearness"].astype(float)
    light = typical(course, clear)
    lit = np.where(by_cell[:, None], np.nan_to_num(course.sun), light[-1])
    expected = _read(curve, lit)
    floats = np.isfinite(rows["demand_l"])
    counts = _counts(course.ran, expected, floats)
    seen = np.where(by_cell[:, None], np.isfinite(course.sun), True)
    counts &= seen
    weight = np.where(counts, expected, 0.0)
    whole = np.maximum(np.where(seen, expected, 0).sum(axis=1), 1e-9)
    halves = np.minimum(weight[:, PARTS < 2].sum(axis=1), weight[:, PARTS > 1].sum(axis=1))
    came = np.where(counts, course.ran, 0.0)
    good = (halves > 0.15 * whole) & (weight.sum(axis=1) > 0.5 * whole)
    good &= came.sum(axis=1) > STANDS * 0.5 * weight.sum(axis=1)
    out, h = [], len(sig.cause)
    for own, spread in ((True, BY_CELL), (False, BY_SKY)):
        some = good & (by_cell == own)
        if some.sum() >= FEWEST:
            moved = _moved(sig, lit[some], counts[some], light[:, some], own, curve, course)
            out.append(_shares(course.day[some], came[some], moved, spread, None if own else came[some], h))
    full = by_cell & (np.isfinite(course.sun).sum(axis=1) > 0.5 * QUARTERS.size) & (np.nansum(course.sun, axis=1) > 800)
    if full.sum() >= FEWEST:
        at, caught = np.nan_to_num(course.sun[full]), light[:, full]
        along = np.flatnonzero((sig.cause == NUMBER["frame_turned"]) & (sig.cell_sees == 0))
        turned = Moved(caught[-1], caught[[TURN.index(size) for size in sig.size[along]]], along)
        out.append(_shares(course.day[full], at, turned, BY_SKY, at, h))
    return out, _moments(course, clear, lit, expected, by_cell, good & ~floats)


def _of_days(course, rows, today):
    """Course and observations of the same days, those that count today."""
    return _alike(course, rows, counted(course.day, today))


def _alike(course, rows, keep):
    of_days = (rows["since"] <= 1) & (rows["told_by"] >= -1)
    ok = of_days & (rows["mistake"] == 0) & np.isfinite(rows["clearness"] + rows["measured_l"])
    rows = rows[ok]
    _, here, there = np.intersect1d(course.day[keep], rows["day"], return_indices=True)
    index = np.flatnonzero(keep)[here]
    return course._replace(day=course.day[index], ran=course.ran[index], sun=course.sun[index]), rows[there]


def _read(curve, sun):
    return np.interp(sun, table.SUNS, curve)


def _counts(ran, expected, floats):
    """Quarter hours that count: with a float switch those amid running ones only, for a full tank stops at any hour."""
    known = np.isfinite(ran)
    runs = known & (np.nan_to_num(ran) > STANDS * expected) & (expected > 0)
    around = runs.copy()
    around[:, 1:] &= runs[:, :-1] | ~known[:, :-1]
    around[:, :-1] &= runs[:, 1:] | ~known[:, 1:]
    return np.where(floats[:, None], around, known)


class Moved(NamedTuple):
    """What is due in the quarters that count (m, quarters), and what each hypothesis of `which` leaves of it when grown
    whole (len(which), m, quarters), in litres or light; the others move nothing within the day."""

    due: np.ndarray
    left: np.ndarray
    which: np.ndarray


def _moved(sig, light, counts, frame, by_cell, curve, course):
    """Moved of the flow. light (m, quarters) W/m2: of the cell, or of a day of that clearness where none tells; frame
    (turns + 1, m, quarters): of the frame in each place."""
    cause, of_sun = sig.cause, sig.current if course.by_current else sig.flow
    lit = np.where(counts, light, 0.0)
    curves = np.vstack([of_sun * curve, curve])
    curves[:, 0] = 0.0
    bent = np.ptp(of_sun[:, 8:40], axis=1) > 0.02
    shades = np.isin(cause, [NUMBER["shade_before_noon"], NUMBER["shade_after_noon"]])
    turns = (cause == NUMBER["frame_turned"]) & ((sig.cell_sees > 0) | (not by_cell))
    which = np.flatnonzero(bent | shades | turns)
    plain = np.flatnonzero((bent & ~shades & ~turns)[which])
    place = np.clip(lit / table.SUNS[1], 0, table.SUNS.size - 1.000001)
    k = place.astype(int)
    part = place - k
    left = np.empty((which.size, *light.shape))
    asked = curves[which[plain]]
    left[plain] = asked[:, k] * (1 - part) + asked[:, k + 1] * part
    if by_cell:  # the cell shares the dirt: the true sun is brighter than it says
        for i in np.flatnonzero(cause[which] == NUMBER["dirt"]):
            left[i] = _read(curves[which[i]], lit / sig.cell[which[i], 0])
    beam = lit - _without_beam(course.due, lit)
    for i in np.flatnonzero(shades[which]):
        before = cause[which[i]] == NUMBER["shade_before_noon"]
        under = np.clip((sig.size[which[i]] - course.due.height) / QUARTER_DEG + 0.5, 0, 1)
        left[i] = _read(curve, lit - under * ((QUARTERS < 12) == before) * beam)
    for i in np.flatnonzero(turns[which]):
        turned = frame[TURN.index(sig.size[which[i]])] / np.maximum(frame[-1], 1.0)
        left[i] = _read(curve, np.minimum(lit * turned, table.SUNS[-1]))
    return Moved(curves[-1][k] * (1 - part) + curves[-1][k + 1] * part, left, which)


def _without_beam(due, lit):
    """What is left of the light of each quarter without the sun's beam, by days that have as much at that hour."""
    whole, hidden = hours_to_quarters(due.light[-1]), hours_to_quarters(due.hidden)
    return np.stack([np.interp(lit[:, q], whole[:, q], hidden[:, q]) for q in range(QUARTERS.size)], axis=1)


def _shares(day, came, moved, spread, unsteady, hypotheses):
    """The channel of shares, in pools of days. came (m, quarters): what came; unsteady (m, quarters): whose unrest
    makes a day tell less, or None; hypotheses: how many there are."""
    parts = np.eye(4)[PARTS]
    m = len(day)
    due_by_part, left = moved.due @ parts, moved.left @ parts
    whole = due_by_part.sum(axis=1, keepdims=True)
    usual = due_by_part / whole
    share = (came @ parts) / np.maximum(came.sum(axis=1), 1e-9)[:, None]
    total = left.sum(axis=2, keepdims=True)
    shift = np.where(total > 0.02 * whole, left / np.maximum(total, 1e-9) - usual, 0.0)
    var = np.full(m, spread[0] ** 2)
    if unsteady is not None:
        var += (UNSTEADY * _unsteady(unsteady)) ** 2
    off, one = np.ascontiguousarray((share - usual).T[TOLD]), np.ones(m)
    var = np.mean([weigh.unrest(y, var, one) for y in off], axis=0)  # days that are wild tell less, whatever made them
    pool = np.arange(m)[::-1] // POOLED  # the newest pool is whole
    into = np.eye(pool.max() + 1)[pool.max() - pool] / var[:, None]
    total = into.sum(axis=0)
    into /= total
    when = day @ into
    y = (off @ into).T
    g = np.zeros((hypotheses, when.size, TOLD.size))
    g[moved.which] = np.einsum("mp,hmt->hpt", into, shift[:, :, TOLD], optimize=True)
    one = np.ones(when.size)
    lean = np.ascontiguousarray(y[:, 0] - y[:, 2])
    var = weigh.robust(lean, 1 / total, one, one, spread[0]) if m > POOLED else 1 / total
    apart = np.abs(when[:, None] - when[None])
    slow = spread[1] ** 2 + spread[2] ** 2 * np.exp(-apart / channels.SLOW_DAYS) + np.diag(var)
    among = np.where(np.eye(TOLD.size) > 0, 1.0, -1 / 3)  # shares of one day: what one gains the others lose
    within = np.array([[1.0, -1.0, 0.0], [-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    k = np.kron(slow, among) + np.kron(INNER**2 * np.exp(-apart / INNER_DAYS), within)
    g = g.reshape(hypotheses, -1)
    return channels.Noon(np.repeat(when, TOLD.size), y.ravel(), k, lambda _sig: g)


def _unsteady(values):
    """How unsteady a day was: its bends from quarter to quarter against all of it, (m,)."""
    values = np.nan_to_num(values)
    bends = np.abs(values[:, 2:] - 2 * values[:, 1:-1] + values[:, :-2]).sum(axis=1)
    return np.minimum(bends / np.maximum(values.sum(axis=1), 1e-9) / 4, 1.0)


def _moments(course, clear, lit, expected, by_cell, good):
    """Moments of strong sun on days on which it ran, and whether it stood then: Idle or None."""
    days, suns, stood, chance = [], [], [], []
    for hour in MOMENTS:
        at = np.flatnonzero(np.abs(QUARTERS - hour) < 0.25)
        ran, due_then, light = (x[:, at].mean(axis=1) for x in (course.ran, expected, lit))
        some = good & np.isfinite(ran) & (light > MOMENT_SUN) & (due_then > 0)
        some &= np.where(by_cell, hour != 12.0, clear > SUNNY)  # at noon a logger with a cell has its noon readings
        days.append(course.day[some])
        suns.append(light[some])
        stood.append(ran[some] < STANDS * due_then[some])
        chance.append(np.where(by_cell, channels.STANDS_BY_CHANCE, _stands_in_cloud(course, at, light, due_then))[some])
    day = np.concatenate(days)
    if day.size < 6:
        return None
    order = np.argsort(day, kind="stable")
    suns, stood, chance = (np.concatenate(x)[order].astype(float) for x in (suns, stood, chance))
    return channels.Idle(day[order].astype(float), suns, stood, chance, np.ones(day.size))


def _stands_in_cloud(course, at, light, due_then):
    """Chance that a sound unit stands at a moment of a day whose light is known by its clearness alone (m,)."""
    curve = course.due.current if course.by_current else course.due.flow
    clear = int(np.argmin(np.abs(table.CLEARNESS - table.BRIGHT)))
    bright = hours_to_quarters(course.due.light[-1, clear])[at].mean()
    dull = table.CLOUD * bright
    cloudy = np.clip((bright - light) / max(bright - dull, 1e-6), 0, 1)
    return STANDS_UNDER_CLOUD + STANDS_BY_CLOUD * cloudy * (_read(curve, dull) < STANDS * due_then)
