"""Units that have gone silent: when each last reported, and which of them should have reported since.

A judgement moves on from night to night whether or not anything comes in, so that "judged through yesterday" says
nothing of a unit that nobody has heard of. What counts as heard: a meter figure, a day's record, a spot test of a visit
(a commissioning test is made by those who hang the unit, and tells nothing of it since), even one that is in doubt.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, Subquery
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.readings.models import DayRecord, MeterReading, SpotTest
from fleet.registry.models import Installation

# Days without any figure after which a unit counts as silent: about three of its usual intervals. One that reports by
# the day is late after two or three, but a telephone without signal at the week's end makes as much; a week is more
# than that. A meter is read every week to month: ten weeks are two monthly figures that did not come, and a third that
# is due soon. (Common practice, no source.)
MOST_DAYS = {Installation.Level.METER: 70, Installation.Level.DAILY: 7, Installation.Level.LOGGER: 7}
AHEAD = timedelta(hours=14)  # no zone's day is further on; a later one is a wrong clock's, and not heard


@dataclass(frozen=True)
class Heard:
    """When a unit last reported, as its site's day (None: never since it was hung), and whether that is too long ago
    for what it is read by."""

    last: date | None
    silent: bool

    @property
    def words(self):
        """What to say of its silence; nothing where it reports, or was hung too lately to have done so."""
        if not self.silent:
            return ""
        if self.last is None:
            return _("nothing reported yet")
        return _("silent since %(day)s") % {"day": date_format(self.last, "j M Y")}


def _came(now, after=None):
    """Day records, meter readings and spot tests of an outer installation, up to now; only those after a moment."""
    of_it = {"installation": OuterRef("pk")}
    days = DayRecord.objects.filter(**of_it, day__lte=(now + AHEAD).date())
    totals = MeterReading.objects.filter(**of_it, at__lte=now)
    tests = SpotTest.objects.filter(**of_it, at__lte=now).exclude(kind=SpotTest.Kind.COMMISSIONING)
    if after is not None:
        days, totals, tests = days.filter(day__gt=after.date()), totals.filter(at__gt=after), tests.filter(at__gt=after)
    return days, totals, tests


def with_heard(installations, now=None):
    """The same queryset with what `heard` reads, in the same question."""
    days, totals, tests = _came(now or timezone.now())
    return installations.annotate(
        last_day=Subquery(days.order_by("-day").values("day")[:1]),
        last_total_at=Subquery(totals.order_by("-at").values("at")[:1]),
        last_test_at=Subquery(tests.order_by("-at").values("at")[:1]),
        site_zone=F("well__site__zone"),
    )


def heard(row, now=None):
    """Heard of an installation out of `with_heard`."""
    now = now or timezone.now()
    after, zone = now - timedelta(days=MOST_DAYS[row.instrument_level]), ZoneInfo(row.site_zone)
    moments = [at for at in (row.last_total_at, row.last_test_at) if at is not None]
    lately = (row.last_day is not None and row.last_day > after.date()) or any(at > after for at in moments)
    days = [at.astimezone(zone).date() for at in moments] + ([row.last_day] if row.last_day else [])
    return Heard(max(days, default=None), not lately and row.period.lower < after)


def silent(installations, now=None):
    """Those of a queryset that hang somewhere and are silent."""
    now, found = now or timezone.now(), Q(pk__in=[])
    for most in sorted(set(MOST_DAYS.values())):
        after = now - timedelta(days=most)
        levels = [level for level, days in MOST_DAYS.items() if days == most]
        of_these = Q(instrument_level__in=levels) & Q(period__startswith__lt=after)  # told first: they cost least
        for rows in _came(now, after):
            of_these &= ~Exists(rows)
        found |= of_these
    return installations.hanging().filter(found)
