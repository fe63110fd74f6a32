"""The course of clear days of a unit that falls short: what each quarter hour should have given, and what it gave."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation, Judgement
from fleet.output.services.nightly import courses
from fleet.output.services.nightly.load import as_number
from fleet.output.services.nightly.packing import observations
from sizing.causes import shape

SINCE_DAYS, BEFORE_DAYS = 30, 60
FROM_H, TO_H = 6.0, 18.0  # sun time


@dataclass(frozen=True)
class DayCourse:
    """hours: of sun time, half hours; due, since, before: L/min (A where by_current) at each, NaN where not known,
    before None where there are too few days; of how many days the latter two are the medians."""

    hours: list
    due: list
    since: list
    before: list | None
    since_days: int
    before_days: int
    by_current: bool


def day_course(shortfall):
    """DayCourse of a shortfall's last clear days, or None where no quarter hours are kept."""
    pk, last = shortfall.installation_id, shortfall.closed_on or _newest(shortfall)
    end = as_number(last)
    known = courses.read([pk], end, end).get(pk)
    if known is None:
        return None
    unit = read_fleet([pk], last.year)
    if not len(unit):
        return None
    rows = observations(
        Evaluation.objects.filter(installation_id=pk, day__gt=last - timedelta(days=160), day__lte=last)
        .order_by("day")
        .values_list("observation", flat=True)
    )
    course = shape.course(*known, shape.due(unit.fleet, 0, last.month - 1), end)
    began = as_number(shortfall.since)
    now = shape.picture(course, rows, max(began, end - SINCE_DAYS), end)
    if now is None:
        return None
    then = shape.picture(course, rows, began - BEFORE_DAYS, began - 2)
    level = Judgement.objects.filter(pk=pk).values_list("level_ratio", flat=True).first()
    own = 1.0 if course.by_current or not level else level
    shown = np.flatnonzero((shape.QUARTERS > FROM_H) & (shape.QUARTERS < TO_H)).reshape(-1, 2)
    return DayCourse(
        hours=shape.QUARTERS[shown].mean(axis=1).tolist(), due=_halves(now.due * own, shown),
        since=_halves(now.came, shown), before=None if then is None else _halves(then.came, shown),
        since_days=now.days, before_days=0 if then is None else then.days, by_current=course.by_current,
    )  # fmt: skip


def _newest(shortfall):
    days = Evaluation.objects.filter(installation_id=shortfall.installation_id).order_by("-day")
    return days.values_list("day", flat=True).first() or shortfall.flagged_on


def _halves(values, pairs):
    """Means of the quarters of each half hour, of one of them where the other is not known."""
    values = values[pairs]
    there = np.isfinite(values)
    count = there.sum(axis=1)
    return np.where(count, np.where(there, values, 0).sum(axis=1) / np.maximum(count, 1), np.nan).tolist()
