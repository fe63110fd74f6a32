"""What beat asks every few minutes: whose inputs changed, whose day has ended; workers are woken for it."""

import logging
from datetime import timedelta

from celery import signature
from django.db import connection
from django.utils import timezone

from fleet.output.models import Mark
from fleet.output.services.baselines import changed_since
from fleet.output.services.gone import end_gone
from fleet.output.services.judging import due
from fleet.readings.partitions import make_months

log = logging.getLogger(__name__)

AHEAD = timedelta(days=40)
AT_ONCE = 500  # installations of one task of baselines


def sweep(now=None):
    """Book what is due. May run twice: each task looks for itself whether anything is left to do. Returns counts."""
    now = now or timezone.now()
    for table in ("readings_dayrecord", "readings_dayseries", "output_evaluation"):
        make_months(table, now.date(), (now + AHEAD).date())
    end_gone()
    ids = _whose_baseline(now)
    for start in range(0, len(ids), AT_ONCE):
        _wake("output.baselines", ids[start : start + AT_ONCE], now.year)
    batches = due(now)
    for batch, day in batches:
        _wake("output.judge_batch", batch, day.isoformat())
    return {"baselines": len(ids), "batches": len(batches)}


def _whose_baseline(now):
    """Installations whose inputs changed since the last look, that have no baseline yet, or one of another year."""
    mark, _made = Mark.objects.get_or_create(name="trail")
    changed, last = changed_since(mark.value)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT i.id FROM registry_installation i LEFT JOIN output_baseline b ON b.installation_id = i.id "
            "WHERE upper_inf(i.period) AND (b.installation_id IS NULL OR "
            "extract(year FROM b.computed_at AT TIME ZONE 'UTC') < %s)",
            [now.year],
        )
        changed |= {row[0] for row in cursor.fetchall()}
    # A change that commits later with an earlier number would be passed over, so the look goes back a little each time.
    Mark.objects.filter(pk=mark.pk).update(value=max(mark.value, last - LOOK_BACK))
    return sorted(changed)


LOOK_BACK = 2000  # entries of the trail


def _wake(name, *arguments):
    try:
        signature(name, args=arguments).delay()
    except Exception:  # every transport raises its own
        log.warning("The broker could not be reached; %s waits for the next sweep.", name, exc_info=True)
