"""What beat asks every few minutes: whose inputs changed, whose day has ended; workers are woken for it."""

from datetime import timedelta

from django.db import connection
from django.utils import timezone

from fleet.jobs.waking import wake
from fleet.output.models import Mark
from fleet.output.services.baselines import changed_since
from fleet.output.services.gone import end_gone
from fleet.output.services.judging import due
from fleet.readings.partitions import make_months
from fleet.registry.models import Installation

AHEAD = timedelta(days=40)
AT_ONCE = 500  # installations of one task of baselines


def sweep(now=None):
    """Book what is due. May run twice: each task looks for itself whether anything is left to do. Returns counts."""
    now = now or timezone.now()
    for table in ("readings_dayrecord", "readings_dayseries", "output_evaluation"):
        make_months(table, now.date(), (now + AHEAD).date())
    end_gone()
    ids = _baselines_due(now)
    batches = due(now)
    for batch, day in batches:
        wake("output.judge_batch", batch, day.isoformat())
    return {"baselines": len(ids), "batches": len(batches)}


def _baselines_due(now):
    """Wake workers for baselines; the look is remembered only when every call went out. Returns the ids."""
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
    # Once a day all are looked at: a call may be lost with its broker, and a long import may have taken its numbers of
    # the trail before others and shown them after. What has not changed costs only the look.
    all_seen, _made = Mark.objects.get_or_create(name="every baseline")
    today = now.date().toordinal()
    if all_seen.value != today:
        changed |= set(Installation.objects.filter(period__upper_inf=True).values_list("id", flat=True))
    ids = sorted(changed)
    sent = [wake("output.baselines", ids[start : start + AT_ONCE], now.year) for start in range(0, len(ids), AT_ONCE)]
    if all(sent):
        # A change that commits later with an earlier number would be passed over, so the look goes back a little.
        Mark.objects.filter(pk=mark.pk).update(value=max(mark.value, last - LOOK_BACK))
        Mark.objects.filter(pk=all_seen.pk).update(value=today)
    return ids


LOOK_BACK = 2000  # entries of the trail
