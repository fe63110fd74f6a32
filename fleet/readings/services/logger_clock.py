"""Loggers whose clock does not go with the sun.

A logger that is fed by the modules, or writes by daylight only, wakes and falls asleep with the sun. Where the hours it
writes lie elsewhere, and day after day by as much, its clock (or the zone it writes in, or that of its site) is wrong.
The water of such a day is right all the same, as long as the day does not run over midnight of that clock; only its
hours are not. Who falls silent in the middle of the day is told from it by the water or the sun at both ends.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _

from fleet.readings import staging
from fleet.readings.services.cover import Light
from fleet.web.quantities import number

ASLEEP_S = (8 * 3600, 16 * 3600)  # the longest silence of a day, over midnight or not, if it is a night
LONGER_H, SHORTER_H = 1.5, 2.5  # than the sun is up, at most, may such a logger be awake (judgements)
QUIET, DARK = 0.1, 0.15  # of the day's most: water and sun when it wakes and falls asleep
STARTS_WITHIN_S = 3.5 * 3600  # after it woke a pump starts: fields that face the sun need less
LEAST_H, ALIKE_H, DAYS, AROUND = 1.0, 0.5, 3, 7  # how far off, how much alike, on how many of the records around
FEW_SAMPLES = 8
LOOKED_AT = 5  # of the newest days, before the others are
LOOK_BACK_DAYS = 10


@dataclass(frozen=True)
class Off:
    """hours: that the clock is ahead of the sun; by how many days that is told; when it woke and fell asleep on the
    newest of them, seconds of its clock; split: whether its days run over midnight."""

    hours: float
    days: int
    newest: date
    wakes_s: int
    sleeps_s: int
    split: bool

    @property
    def about_h(self):
        """Whole and half hours, without a sign."""
        return round(2 * abs(self.hours)) / 2

    def sentence(self):
        """What is wrong, and how to mend it."""
        words = {"hours": number(self.about_h, int(self.about_h % 1 > 0)), "wakes": _hour(self.wakes_s),
                 "sleeps": _hour(self.sleeps_s)}  # fmt: skip
        off = (
            _("By the sun the clock of this logger is about %(hours)s h ahead: it wrote from %(wakes)s to %(sleeps)s.")
            if self.hours > 0
            else _("By the sun the clock of this logger is about %(hours)s h behind: it wrote from %(wakes)s to "
                   "%(sleeps)s.")
        ) % words  # fmt: skip
        mend = _("Set its clock and the zone it writes in, and look whether the zone of the site is right.")
        until = (
            _("Its days run over midnight by that clock, so no volume of a day can be told until then.")
            if self.split
            else _("Its volumes are used meanwhile, for its days are whole; its hours are read as the sun has them.")
        )
        return f"{off} {mend} {until}"


def _hour(second):
    return f"{second // 3600:02d}:{second % 3600 // 60:02d}"


def awake(second, flow, sun):
    """(wakes, sleeps, seconds awake, split) of one day's samples, or None where they tell of no whole day of light.

    second (n,) since midnight of its clock, in order; flow, sun (n,) with NaN, or None.
    """
    second = np.asarray(second)
    if len(second) < FEW_SAMPLES:
        return None
    over_midnight, gaps = 86400 - int(second[-1]) + int(second[0]), np.diff(second)
    place = int(np.argmax(gaps))
    split = int(gaps[place]) > over_midnight
    asleep = int(gaps[place]) if split else over_midnight
    if not ASLEEP_S[0] <= asleep <= ASLEEP_S[1]:
        return None
    turn = place + 1 if split else 0
    if not (_quiet(sun, turn, DARK) if sun is not None else _starts_and_ends(flow, second, turn)):
        return None
    return int(second[turn]), int(second[turn - 1]), 86400 - asleep, split


def _quiet(values, turn, share):
    values = np.roll(np.asarray(values, float), -turn)
    values = values[~np.isnan(values)]
    if len(values) < FEW_SAMPLES or values.max() <= 0:
        return False
    return max(values[0], values[-1]) <= share * values.max()


def _starts_and_ends(flow, second, turn):
    if flow is None or not _quiet(flow, turn, QUIET):
        return False
    flow = np.roll(np.nan_to_num(np.asarray(flow, float)), -turn)
    since = (np.roll(second, -turn) - second[turn]) % 86400
    return since[np.argmax(flow > QUIET * flow.max())] <= STARTS_WITHIN_S


def offs(days, samples, light):
    """{place: Off} of one logger's days (n,) in order, samples [(second, flow, sun)] and cover.Light of each."""
    found = {}
    for n, one in enumerate(samples):
        told = awake(*one)
        if told is None:
            continue
        up_h = np.degrees(light.sunset[n]) / 7.5
        if not -SHORTER_H <= told[2] / 3600 - up_h <= LONGER_H:
            continue
        noon_h = (told[0] + told[2] / 2) / 3600 + light.shift_h[n]
        found[n] = ((noon_h) % 24 - 12, told)
    made, places = {}, list(found)
    for at, n in enumerate(places):
        around = places[max(at - AROUND, 0) : at + AROUND + 1]
        alike = [m for m in around if abs(_apart(found[m][0], found[n][0])) <= ALIKE_H]
        if abs(found[n][0]) >= LEAST_H and len(alike) >= DAYS:
            hours = found[n][0] + float(np.median([_apart(found[m][0], found[n][0]) for m in alike]))
            wakes, sleeps, _seconds, split = found[n][1]
            made[n] = Off(hours, len(alike), days[n], wakes, sleeps, split)
    return made


def put_right(days, samples, light):
    """(days that may be used, hours that each clock is ahead), both (n,), of one logger's days as `offs` takes them.

    Days that run over midnight by a clock that is wrong are of no use. A logger whose newest days go with the sun, or
    that writes all night, costs next to nothing.
    """
    good, ahead = np.ones(len(days), bool), np.zeros(len(days))
    if not any(awake(*one) for one in samples[-LOOKED_AT:]):
        return good, ahead
    for n, off in offs(days, samples, light).items():
        good[n], ahead[n] = not off.split, off.hours
    return good, ahead


def _apart(hours, other):
    return (hours - other + 12) % 24 - 12


def wrong_hours(installations, first, last):
    """{(installation, day): Off} of the days `first` to `last` and some before, of those that keep samples of flow or
    sun."""
    rows = staging.fetch_rows(
        "SELECT installation_id, day, second, flow_l_min, irradiance_w_m2 FROM readings_dayseries "
        "WHERE installation_id = ANY(%s) AND day BETWEEN %s AND %s AND num_nonnulls(flow_l_min, irradiance_w_m2) > 0 "
        "ORDER BY installation_id, day",
        [[int(pk) for pk in installations], first - timedelta(days=LOOK_BACK_DAYS), last],
    )
    rows = list(rows)
    if not rows:
        return {}
    light = Light.over(np.array([r[0] for r in rows]), np.array([r[1] for r in rows], dtype="datetime64[D]"))
    found = {}
    for pk in {row[0] for row in rows}:
        mine = [n for n, row in enumerate(rows) if row[0] == pk]
        told = offs([rows[n][1] for n in mine], [sampled(rows[n][2:]) for n in mine], light.of(mine))
        found |= {(pk, rows[mine[n]][1]): off for n, off in told.items()}
    return found


def sampled(row):
    """second, flow and sun as they are stored, as `awake` takes them."""
    return row[0], *(None if values is None else np.array(values, dtype=float) for values in row[1:])


def clocks_of(installations, first, last):
    """{installation: its newest Off from the day `first` to `last`} of those whose clock does not go with the sun."""
    newest = {}
    for (pk, day), off in sorted(wrong_hours(installations, first, last).items()):
        if first <= day <= last:
            newest[pk] = off
    return newest


def clock_of(installation, first, last):
    """The same of one installation, or None."""
    return clocks_of([installation.pk], first, last).get(installation.pk)
