"""Who changed what, when, from what to what. Rows are written by database triggers only."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.trail.querysets import ChangeQuerySet


class Change(models.Model):
    """One change of one row of a watched table."""

    class Kind(models.TextChoices):
        ADDED = "I", _("added")
        CHANGED = "U", _("changed")
        REMOVED = "D", _("removed")

    at = models.DateTimeField(db_comment="UTC, the transaction's time")
    table = models.CharField(max_length=63)
    row_id = models.CharField(max_length=64)
    kind = models.CharField(max_length=1, choices=Kind)
    before = models.JSONField(null=True, db_comment="the changed columns as they were; the whole row where removed")
    after = models.JSONField(null=True, db_comment="the changed columns as they are; the whole row where added")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.DO_NOTHING, null=True, db_constraint=False, related_name="+"
    )
    via = models.CharField(max_length=120, blank=True, db_comment="page, task or command that asked for it")

    objects = ChangeQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["table", "row_id", "-id"], name="trail_of_a_row"),
            models.Index(fields=["-at"], name="trail_by_time"),
        ]

    def __str__(self):
        return f"{self.table} {self.row_id} {self.get_kind_display()} {self.at:%Y-%m-%d %H:%M}"
