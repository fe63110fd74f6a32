"""How long work is written.

    @long_task("intake.check")
    def check(work, upload_id):
        for chunk in chunks:
            ...
            work.progress(done, total, _("reading rows"))
        return {"rows": n}              # kept as the job's result

The frame claims the job (so a second call of the same job does nothing), gives signs of life from a thread of its own,
keeps the result, and turns a refusal into the job's trouble. Work may be killed at any point and started again: write
it so that a second run overwrites the first.
"""

import logging
import threading
import time
from contextlib import contextmanager

from celery import shared_task
from django.db import OperationalError, connection, connections
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.jobs import services
from fleet.jobs.models import Job
from fleet.trail.watch import acting
from fleet.web.refusals import Refused

log = logging.getLogger(__name__)
BEAT_S = 15.0
SHOW_S = 1.0


class Stopped(Exception):
    """The job was stopped, or another worker has taken it up; this run ends and keeps nothing more."""


class Work:
    """One run of a job."""

    def __init__(self, job):
        self.job = job
        self.result = None
        # Progress must be seen while the work holds a transaction open, so it goes through a connection of its own
        # then. Where the frame itself already stands in a transaction (tests), the row is only visible inside it.
        self._framed = connection.in_atomic_block
        self._side = None
        self._shown = 0.0

    def _rows(self):
        rows = Job.objects.filter(pk=self.job.pk, state=Job.State.RUNNING, tries=self.job.tries)
        if connection.in_atomic_block and not self._framed:
            if self._side is None:
                self._side = f"side_{self.job.pk.hex}"
                connections[self._side] = connection.copy(self._side)
            return rows.using(self._side)
        return rows

    def progress(self, done, total=None, step=""):
        """Show how far it is, at most once a second; raises Stopped where the work is no longer ours to do."""
        now = time.monotonic()
        if now - self._shown < SHOW_S and step == self.job.step:
            return
        self._shown, self.job.step = now, step
        changes = {"done": done, "step": str(step)[:200], "beat_at": timezone.now()}
        if total is not None:
            changes["total"] = total
        if not self._rows().update(**changes):
            raise Stopped

    def close(self):
        if self._side is not None:
            connections[self._side].close()
            del connections[self._side]


def _beat(job, ended):
    """Signs of life while one long statement gives none."""
    while not ended.wait(BEAT_S):
        try:
            Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, tries=job.tries).update(beat_at=timezone.now())
        except OperationalError:
            log.warning("No sign of life could be given for job %s.", job.pk)
        finally:
            connection.close()


@contextmanager
def running(job_id):
    """The frame of one run; yields a Work, or None where there is nothing to do. Set `work.result` inside."""
    job = services.claim(job_id)
    if job is None:
        yield None
        return
    work, ended = Work(job), threading.Event()
    beat = threading.Thread(target=_beat, args=(job, ended), daemon=True)
    beat.start()
    try:
        with acting(job.asked_by_id, f"job {job.title}"):
            yield work
    except Stopped:
        log.info("Job %s was stopped.", job.pk)
    except Refused as refusal:
        _end(job, Job.State.FAILED, trouble=str(refusal), result=work.result)
    except OperationalError:
        # The database went away: nothing can be said to it now. The sweep takes the job up again.
        log.exception("The database was lost during job %s.", job.pk)
    except Exception:  # whatever went wrong, the row must say so, or the job would look alive for ever
        log.exception("Job %s failed.", job.pk)
        _end(job, Job.State.FAILED, trouble=_(
            "Something went wrong in the program itself. Nothing was kept half done. The log names it as job %(id)s; "
            "tell the administrator."
        ) % {"id": job.pk})  # fmt: skip
    else:
        _end(job, Job.State.DONE, result=work.result)
    finally:
        ended.set()
        work.close()


def _end(job, state, trouble="", result=None):
    rows = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, tries=job.tries)
    now = timezone.now()
    if state == Job.State.DONE:
        rows.filter(total=None).update(total=0)
    rows.update(state=state, trouble=trouble, result=result, ended_at=now, beat_at=now)


def long_task(name):
    """Makes a Celery task of a function (work, **arguments of the job); its return value is the job's result."""

    def wrap(function):
        def task(job_id):
            with running(job_id) as work:
                if work is not None:
                    work.result = function(work, **work.job.arguments)

        task.__name__ = function.__name__
        task.__doc__ = function.__doc__
        return shared_task(name=name, acks_late=True)(task)

    return wrap
