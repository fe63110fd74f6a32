"""The verbs of long work: start, stop, take up again what was left behind."""

import logging
from functools import partial

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.jobs.models import Job
from fleet.jobs.querysets import MOST_TRIES
from fleet.jobs.waking import wake
from fleet.web.refusals import Refused

log = logging.getLogger(__name__)


def start(*, kind, title, arguments=None, by=None, organisation=None, address="", total=None):
    """Ask for long work: the row now, a worker woken after commit.

    `kind` is the name of a task made with `fleet.jobs.work.long_task`; it is given the job's id. `by` None means the
    house itself. `address` is the page that shows what came of it.
    """
    job = Job.objects.create(
        kind=kind,
        title=str(title)[:200],
        arguments=arguments or {},
        asked_by=by,
        organisation_id=_key(organisation) or getattr(by, "organisation_id", None),
        address=address,
        total=total,
    )
    transaction.on_commit(partial(wake, job.kind, str(job.pk)))
    return job


def _key(row):
    return getattr(row, "pk", row)


def claim(job_id):
    """Take a job that waits. Returns it, or None where another worker was first or it has ended.

    One conditional update is the claim: two workers with the same call cannot both win it.
    """
    now = timezone.now()
    won = Job.objects.filter(pk=job_id, state=Job.State.WAITING).update(
        state=Job.State.RUNNING, beat_at=now, tries=F("tries") + 1, done=0, step="", trouble=""
    )
    return Job.objects.get(pk=job_id) if won else None


@transaction.atomic
def stop(*, job, by):
    """Ask running work to stop; it does so at its next step, and what it had not yet kept is not kept."""
    changed = Job.objects.visible_to(by).unfinished().filter(pk=job.pk).update(
        state=Job.State.STOPPED, ended_at=timezone.now(), trouble=_("Stopped by %(name)s.") % {"name": by}
    )
    if not changed:
        raise Refused("job_ended", _("This work has ended already."))


def sweep(now=None):
    """Take up again what was left behind, up to three tries, and wake what no worker heard of. Returns how many."""
    now = now or timezone.now()
    given_up = Job.objects.left_behind(now).filter(tries__gte=MOST_TRIES).update(
        state=Job.State.FAILED,
        ended_at=now,
        trouble=_(
            "The program that did this work ended %(tries)s times before it was finished. Nothing of it was kept half "
            "done. Tell the administrator, then start it again."
        )
        % {"tries": MOST_TRIES},
    )
    if given_up:
        log.error("%s jobs were given up after %s tries.", given_up, MOST_TRIES)
    taken_up = 0
    for job in Job.objects.left_behind(now):
        # Conditional again: its worker may have been slow, not dead, and have given a sign since.
        back = Job.objects.left_behind(now).filter(pk=job.pk).update(state=Job.State.WAITING, beat_at=now)
        if back:
            wake(job.kind, str(job.pk))
            taken_up += 1
    for job in Job.objects.unheard(now):
        if Job.objects.unheard(now).filter(pk=job.pk).update(beat_at=now):
            wake(job.kind, str(job.pk))
            taken_up += 1
    return taken_up
