"""What the timetable starts. May run twice, late, or be killed half-way."""

from celery import shared_task

from fleet.trail.watch import acting
from fleet.visits import services


@shared_task(name="visits.sweep")
def sweep():
    """Propose the inspections that fall due. Returns how many."""
    with acting(None, "visits.sweep"):
        return services.propose_due()
