"""What the timetable starts. May run twice, late, or be killed half-way."""

from celery import shared_task

from fleet.trail.watch import acting
from fleet.visits import services
from fleet.visits.models import FieldPiece


@shared_task(name="visits.sweep")
def sweep():
    """Propose the inspections that fall due. Returns how many."""
    with acting(None, "visits.sweep"):
        return services.propose_due()


@shared_task(name="visits.put_together")
def put_together(visit_id):
    """Put what came from telephones into its visit. Returns how many pieces."""
    with acting(None, "visits.put_together"):
        return services.put_together(visit_id)


@shared_task(name="visits.sweep_pieces")
def sweep_pieces():
    """Visits whose pieces wait because a worker was killed or the broker was away. Returns how many were put in."""
    held = FieldPiece.objects.filter(state=FieldPiece.State.HELD)
    waiting = held.order_by("visit_id").values_list("visit_id").distinct()
    return sum(put_together(visit_id) for (visit_id,) in waiting)


@shared_task(name="visits.warm_cards")
def warm_cards(installation_ids=None):
    """Make the expected cards that telephones will be packed with. Returns how many were looked at."""
    return services.warm_cards(installation_ids)
