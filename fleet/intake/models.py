"""Tables on their way in: the file, how its columns are matched, what was found wrong with it."""

import uuid
from pathlib import PurePath

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.jobs.models import Job


def upload_path(upload, name):
    """Kept under the upload's own key: what a file was called on somebody's machine never becomes a path."""
    return f"intake/{upload.pk.hex[:2]}/{upload.pk.hex}{PurePath(name).suffix.lower()[:8]}"


class UploadQuerySet(models.QuerySet):
    def visible_to(self, person):
        """The uploads of the person's own organisation."""
        if not person.is_authenticated or not person.organisation_id:
            return self.none()
        return self.filter(organisation_id=person.organisation_id)


class Upload(models.Model):
    """A file that somebody wants to bring in."""

    class State(models.TextChoices):
        ARRIVED = "arrived", _("columns to match")
        LOOKED = "looked", _("looked through, nothing kept yet")
        KEPT = "kept", _("kept")
        FAILED = "failed", _("could not be read")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey("people.Organisation", models.CASCADE, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    table = models.CharField(max_length=40, db_comment="name of the table it is brought into")
    name = models.CharField(max_length=200, db_comment="what the file was called")
    file = models.FileField(upload_to=upload_path)
    size = models.BigIntegerField(db_comment="bytes")
    sha256 = models.CharField(max_length=64)
    heads = models.JSONField(default=list)
    mapping = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.ARRIVED)
    result = models.JSONField(default=dict, blank=True, db_comment="counts and notes of the last look or keep")
    rejects = models.FileField(upload_to=upload_path, blank=True)
    trouble = models.TextField(blank=True)
    job = models.ForeignKey(Job, models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)
    kept_at = models.DateTimeField(null=True)

    objects = UploadQuerySet.as_manager()

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["organisation", "-at"], name="uploads_by_time")]

    def __str__(self):
        return f"{self.name} ({self.table})"


class Fault(models.Model):
    """One thing wrong with one cell, or with a whole row (no column)."""

    upload = models.ForeignKey(Upload, models.CASCADE, related_name="faults")
    line = models.PositiveIntegerField()
    column = models.CharField(max_length=80, blank=True)
    found = models.CharField(max_length=120, blank=True)
    sentence = models.TextField()
    warning = models.BooleanField(default=False)

    class Meta:
        ordering = ["warning", "line", "id"]
        indexes = [models.Index(fields=["upload", "warning", "line", "id"], name="faults_in_order")]

    def __str__(self):
        return f"{self.line} {self.column}: {self.sentence}"


class SavedMapping(models.Model):
    """How columns were matched last time a file with these heads came."""

    organisation = models.ForeignKey("people.Organisation", models.CASCADE, related_name="+")
    table = models.CharField(max_length=40)
    heads_hash = models.CharField(max_length=64)
    mapping = models.JSONField(default=dict)
    at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "table", "heads_hash"], name="mapping_saved_once")
        ]

    def __str__(self):
        return f"{self.table} {self.heads_hash[:8]}"
