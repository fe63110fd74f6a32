"""Days of a logger's samples taken out of use by a person, and put back; and the same where an import replaces days.

Samples that come are merged by second with what stands there. After a clock has been mended that is wrong: the days of
the wrong hours would stay among the right ones. What is dropped is kept beside, with the daily figures that were worked
out of it; what was reported of a day, or settled by a person, stays.
"""

from dataclasses import dataclass, field

import numpy as np
from django.db import connection, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals
from fleet.readings.models import DayRecord, DaySeries, DroppedDays, DroppedSeries, Slip, Standing
from fleet.readings.partitions import make_for
from fleet.readings.services import series
from fleet.readings.services.clock import noon_of
from fleet.readings.services.days import NOON, SUN
from fleet.readings.services.spot import _own
from fleet.registry.models import Installation
from fleet.web.refusals import Refused

MOST_DAYS = 800
FIGURES = ("volume_l", *SUN, *NOON)
SETTLED = (Standing.CORRECTED, Standing.SET_ASIDE)
SAMPLES = ("second", *series.CHANNELS)


@transaction.atomic
def drop_days(*, installation, first, last, why, by):
    """Take the samples of the days `first` to `last` out of use. Returns `DroppedDays`.

    Refuses: no reason, days out of order, more than can be meant, days without samples.
    """
    if by is not None:
        require(by, "import")
        _own(installation, by)
    why = why.strip()
    if not why:
        raise Refused("no_reason", _("Say why these days are dropped: it stays on record."), field="why")
    if first > last:
        raise Refused("wrong_order", _("The first day lies after the last. Change them over."), field="last")
    if (last - first).days >= MOST_DAYS:
        sentence = _("At most %(most)s days at a time, please.") % {"most": MOST_DAYS}
        raise Refused("too_many", sentence, field="last")
    rows = _standing(DaySeries.objects.of(installation).between(first, last))
    if not rows:
        sentence = _("No samples of a logger are kept of these days, so there is nothing to drop.")
        raise Refused("nothing_there", sentence, field="first")
    [dropped] = _drop(rows, why, by)
    return dropped


@transaction.atomic
def put_back(*, dropped, by):
    """Samples that were dropped stand again, and the daily figures worked out of them. Twice changes nothing.

    Refuses where samples have come for one of the days since. Returns `DroppedDays`.
    """
    if by is not None:
        require(by, "import")
        _own(dropped.installation, by)
    dropped = DroppedDays.objects.select_for_update().get(pk=dropped.pk)
    if dropped.put_back_at is not None:
        return dropped
    kept = list(dropped.series.order_by("day"))
    days = [row.day for row in kept]
    there = DaySeries.objects.of(dropped.installation).filter(day__in=days).order_by("day")
    came = list(there.values_list("day", flat=True))
    if came:
        sentence = _("Samples have come since for %(n)s of these days, the first on %(day)s. Drop those first.")
        words = {"n": len(came), "day": date_format(came[0], "j M Y")}
        raise Refused("came_since", sentence % words)
    make_for("readings_dayseries", np.array(days, "datetime64[D]"))
    pk = dropped.installation_id
    with connection.cursor() as cursor:
        names = ", ".join(SAMPLES)
        cursor.execute(
            f"INSERT INTO readings_dayseries (installation_id, day, {names}) "
            f"SELECT %s, day, {names} FROM readings_droppedseries WHERE dropped_id = %s",
            [pk, dropped.pk],
        )
    for row in kept:
        _put_figures_back(pk, row)
    arrivals.note_day(pk, dropped.first_day)
    dropped.put_back_by, dropped.put_back_at = by, timezone.now()
    dropped.save(update_fields=["put_back_by", "put_back_at"])
    dropped.series.all().delete()
    return dropped


@dataclass
class Replacing:
    """An import that replaces the days it covers. `done`: what it has replaced already, for a day may come in parts."""

    by: object
    why: str
    done: set = field(default_factory=set)
    dropped: int = 0

    def make_room(self, cursor, channels):
        """Drop what stands of the days in `came_series`, unless it is just that. Returns how many days."""
        differs = " OR ".join(
            f"t.{name} IS DISTINCT FROM {'c.' + name if name in channels else 'NULL'}" for name in series.CHANNELS
        )
        cursor.execute(
            f"SELECT c.installation_id, c.day, t.day IS NOT NULL AND (t.second <> c.second OR {differs}) "
            "FROM came_series c LEFT JOIN readings_dayseries t "
            "ON t.installation_id = c.installation_id AND t.day = c.day"
        )
        came = {(pk, day): stands for pk, day, stands in cursor.fetchall()}
        wanted = {key for key, stands in came.items() if stands} - self.done
        self.done |= came.keys()
        if not wanted:
            return 0
        pks, days = {pk for pk, _day in wanted}, [day for _pk, day in wanted]
        found = DaySeries.objects.filter(installation_id__in=pks, day__range=(min(days), max(days)))
        rows = [row for row in _standing(found) if row[:2] in wanted]
        _drop(rows, self.why, self.by)
        self.dropped += len(rows)
        return len(rows)


def _standing(found):
    """Rows (installation, day, second, *CHANNELS) in order, held until the end of the transaction."""
    held = found.select_for_update().order_by("installation_id", "day")
    return list(held.values_list("installation_id", "day", *SAMPLES))


def _drop(rows, why, by):
    """Move these rows out of use, a `DroppedDays` an installation; the judgement goes back to the first of each."""
    withdrawn = _withdraw(rows)
    made = []
    for pk in sorted({row[0] for row in rows}):
        own = [row for row in rows if row[0] == pk]
        days = [row[1] for row in own]
        made.append(DroppedDays.objects.create(
            installation_id=pk, first_day=days[0], last_day=days[-1], days=len(days), why=why[:200], by=by
        ))  # fmt: skip
        DroppedSeries.objects.bulk_create(
            [DroppedSeries(dropped=made[-1], day=row[1], **dict(zip(SAMPLES, row[2:], strict=True)),
                           **withdrawn.get(row[:2], {})) for row in own],
            batch_size=200,
        )  # fmt: skip
        DaySeries.objects.filter(installation_id=pk, day__in=days).delete()
        arrivals.note_day(pk, days[0])
    return made


def _withdraw(rows):
    """Take back of the daily records what was worked out of these samples. Returns {(installation, day): {figures,
    derived}}."""
    laid = series.laid_out(rows)
    given = series.beside_the_volume(*laid) if laid[3] else {}
    days = [row[1] for row in rows]
    records = {
        (r.installation_id, r.day): r for r in DayRecord.objects.select_for_update().filter(
            installation_id__in={row[0] for row in rows}, day__range=(min(days), max(days))
        ).order_by("installation_id", "day")
    }  # fmt: skip
    withdrawn, let_go = {}, []
    for n, row in enumerate(rows):
        record = records.get(row[:2])
        if record is None:
            continue
        goes = [name for name in FIGURES if _came_of_it(record, name, given.get(name), n)]
        withdrawn[row[:2]] = {"figures": {name: getattr(record, name) for name in goes}, "derived": record.derived}
        _without(record, goes)
        let_go += [(row[0], row[1], name) for name in goes]
    _let_go(let_go)
    return withdrawn


def _came_of_it(record, name, given, n):
    """Whether a figure of the day was worked out of its samples: all of a day of which nothing was reported, else what
    is just what the samples give. What a person settled is theirs."""
    stands = getattr(record, name)
    standing = record.noon_standing if name in NOON else record.standing if name == "volume_l" else Standing.GOOD
    if stands is None or standing in SETTLED:
        return False
    if record.derived:
        return True
    return name != "volume_l" and given is not None and bool(np.isclose(stands, given[n], rtol=1e-9, atol=0))


def _without(record, goes):
    row = DayRecord.objects.filter(installation_id=record.installation_id, day=record.day)
    changes = dict.fromkeys(goes)
    if "volume_l" in goes:
        changes["standing"] = Standing.GOOD
    if set(goes) & set(NOON):
        changes["noon_standing"] = Standing.GOOD
    left = any(getattr(record, name) is not None for name in FIGURES if name not in goes)
    if not left and record.tank_full_seen is None:
        row.delete()
    elif changes:
        row.update(**changes)


def _let_go(figures):
    """Doubts of figures that are gone ask nothing any more; the trail keeps them."""
    if not figures:
        return
    owners = Installation.objects.select_related("well__site").in_bulk(list({pk for pk, _day, _name in figures}))
    gone = {(pk, noon_of(owners[pk], day), name) for pk, day, name in figures}
    waiting = Slip.objects.waiting().filter(installation_id__in=list(owners), subject__in=("day", "noon"))
    pks = [s.pk for s in waiting if (s.installation_id, s.at, s.field) in gone]
    Slip.objects.filter(pk__in=pks).delete()


def _put_figures_back(pk, row):
    """Where nothing else has come for the day since, what was worked out of its samples stands again."""
    if not row.figures:
        return
    make_for("readings_dayrecord", np.array([row.day], "datetime64[D]"))
    there = DayRecord.objects.select_for_update().filter(installation_id=pk, day=row.day)
    record = there.first()
    if record is None:
        DayRecord.objects.create(installation_id=pk, day=row.day, derived=row.derived, **row.figures)
        return
    changes = {name: value for name, value in row.figures.items() if getattr(record, name) is None}
    if "volume_l" in changes:
        changes["derived"] = row.derived
    if changes:
        there.update(**changes)
