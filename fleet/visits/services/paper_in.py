"""A whole paper sheet typed in: each step that is right is kept, each that is not comes back with its sentence."""

from datetime import timedelta

from django.utils import timezone

from fleet.visits.models import Visit
from fleet.visits.services.logging import check_may_log, leave, record_step, start
from fleet.web.refusals import Refused


def type_in(*, visit, by, arrived_at, steps, left=None):
    """Keep what a sheet says. `steps`: [{code, values, skipped_why, at, cautions_seen}], empty ones left out.

    `left`: what `leave` takes, or None while the sheet is not whole. A step without a time of its own counts a minute
    after the one before it. Returns ({"arrived", "left" or a step's code: Refused}, how many steps were kept).
    """
    check_may_log(visit, by)
    faults, kept = {}, 0
    if arrived_at is not None or visit.state == Visit.State.ASSIGNED:
        try:
            visit = start(visit=visit, by=by, at=arrived_at)
        except Refused as refusal:
            return {"arrived": refusal}, 0
    last = max((record.at for record in visit.records.all()), default=visit.arrived_at or timezone.now())
    for step in steps:
        at = step["at"] or min(last + timedelta(minutes=1), timezone.now())
        try:
            record_step(
                visit=visit, step=step["code"], by=by, values=step["values"], skipped_why=step["skipped_why"], at=at,
                cautions_seen=step["cautions_seen"],
            )  # fmt: skip
        except Refused as refusal:
            faults[step["code"]] = refusal
        else:
            kept, last = kept + 1, max(last, at)
    if left is not None and not faults:
        try:
            leave(visit=visit, by=by, **left)
        except Refused as refusal:
            faults["left"] = refusal
    return faults, kept
