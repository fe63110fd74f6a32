"""Long work: what was asked, how far it is, what came of it."""

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.jobs import querysets


class Job(models.Model):
    """One piece of long work. The row is the truth; the broker only wakes a worker for it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")
        STOPPED = "stopped", _("stopped")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey("people.Organisation", models.CASCADE, null=True, related_name="+")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="jobs")
    kind = models.CharField(max_length=60, db_comment="name of the task that does it")
    title = models.CharField(max_length=200)
    arguments = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    done = models.BigIntegerField(default=0)
    total = models.BigIntegerField(null=True)
    step = models.CharField(max_length=200, blank=True, db_comment="what it is doing, in words")
    result = models.JSONField(null=True)
    trouble = models.TextField(blank=True, db_comment="the sentence shown when it failed")
    address = models.CharField(max_length=200, blank=True, db_comment="page that shows what came of it")
    asked_at = models.DateTimeField(auto_now_add=True)
    beat_at = models.DateTimeField(null=True, db_comment="last sign of life; old and running means left behind")
    ended_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)

    objects = querysets.JobQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.CheckConstraint(
                name="job_state_known",
                condition=models.Q(state__in=["waiting", "running", "done", "failed", "stopped"]),
            )
        ]
        indexes = [
            models.Index(
                fields=["beat_at"], name="jobs_unfinished", condition=models.Q(state__in=["waiting", "running"])
            ),
            models.Index(fields=["organisation", "-asked_at"], name="jobs_by_time"),
            models.Index(fields=["asked_by", "-asked_at"], name="jobs_of_a_person"),
        ]

    def __str__(self):
        return f"{self.title} ({self.get_state_display()})"

    @property
    def unfinished(self):
        return self.state in {self.State.WAITING, self.State.RUNNING}

    @property
    def percent(self):
        """Share done, 0-100, or None while the whole is not known."""
        if not self.total:
            return None
        return min(100, int(100 * self.done / self.total))
