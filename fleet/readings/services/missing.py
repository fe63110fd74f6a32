"""Missing periods: days of which a daily unit told nothing, and meters read far later than they usually are."""

from dataclasses import dataclass
from datetime import date
from statistics import median

from django.db import connection
from django.utils import timezone

from fleet.readings.models import MeterReading
from fleet.readings.services.clock import zone_of
from fleet.registry.models import Installation

# When a meter is read far later than usual: common practice, no source.
TIMES_THE_USUAL = 2.0
DAYS_BEYOND = 7
INTERVALS_KNOWN = 4  # before anything is usual


@dataclass
class Missing:
    """Of daily records the first and the last day without one; of a meter the days of the readings before and after,
    `last` None where it has not been read since, and the days that usually lie between two."""

    first: date
    last: date | None
    days: int
    usual_days: int | None = None


def missing_periods(installation):
    """The missing periods of an installation, newest first. One question to the database."""
    if installation.instrument_level == Installation.Level.METER:
        return _of_meter(installation)
    return _of_days(installation)


def _of_days(installation):
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT before + 1, day - 1, day - before - 1 FROM (SELECT day, lag(day) OVER (ORDER BY day) AS before "
            "FROM readings_dayrecord WHERE installation_id = %s) x WHERE day - before > 1 ORDER BY day DESC",
            [installation.pk],
        )
        return [Missing(*row) for row in cursor.fetchall()]


def _of_meter(installation):
    zone = zone_of(installation)
    moments = MeterReading.objects.of(installation).order_by("at").values_list("at", flat=True)
    days = list(dict.fromkeys(moment.astimezone(zone).date() for moment in moments))
    spans = [(later - earlier).days for earlier, later in zip(days, days[1:])]
    if len(spans) < INTERVALS_KNOWN:
        return []
    usual = round(median(spans))
    read = list(zip(days, days[1:], spans))
    if installation.period.upper is None:
        read.append((days[-1], None, (timezone.now().astimezone(zone).date() - days[-1]).days))
    late = max(TIMES_THE_USUAL * usual, usual + DAYS_BEYOND)
    return [Missing(first, last, span, usual) for first, last, span in reversed(read) if span > late]
