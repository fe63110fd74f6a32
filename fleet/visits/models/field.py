"""What comes home from telephones: the devices, the pieces they send, the parts of their photos.

A piece is kept as it came, whatever became of it, so that nothing recorded at a well is ever lost.
"""

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.visits import querysets
from fleet.visits.models.planning import Visit


class FieldDevice(models.Model):
    """A telephone on which visits are packed."""

    key = models.UUIDField(unique=True, db_comment="made on the telephone")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="field_devices")
    token_hash = models.CharField(max_length=64, blank=True, db_comment="SHA-256 of what it signs in with")
    name = models.CharField(_("telephone"), max_length=120, blank=True)
    app_version = models.CharField(max_length=40, blank=True)
    first_seen_at = models.DateTimeField(auto_now_add=True)
    last_seen_at = models.DateTimeField(null=True)
    packed_at = models.DateTimeField(null=True)
    waiting = models.PositiveIntegerField(default=0, db_comment="pieces it said it still holds")
    shut_out_at = models.DateTimeField(null=True, blank=True)
    shut_out_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")

    objects = querysets.FieldDeviceQuerySet.as_manager()

    class Meta:
        ordering = ["-last_seen_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["token_hash"], name="telephone_signs_in_alone", condition=~models.Q(token_hash="")
            )
        ]

    def __str__(self):
        return self.name or str(self.key)


class FieldPiece(models.Model):
    """One small piece of a visit's log, as it came."""

    class Kind(models.TextChoices):
        START = "start", _("arrival")
        STEP = "step", _("step")
        FINDING = "finding", _("finding")
        PART = "part", _("part")
        PHOTO = "photo", _("photo")
        LEAVE = "leave", _("departure")

    class State(models.TextChoices):
        KEPT = "kept", _("kept")
        HELD = "held", _("waits for another piece")
        TO_SETTLE = "to_settle", _("waits for a person")
        REFUSED = "refused", _("refused")
        TAKEN = "taken", _("taken over by a person")
        LEFT_OUT = "left_out", _("left out by a person")

    key = models.UUIDField(unique=True, db_comment="made on the telephone; sent twice, kept once")
    device = models.ForeignKey(FieldDevice, models.SET_NULL, null=True, related_name="pieces")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    organisation = models.ForeignKey("people.Organisation", models.CASCADE, related_name="+")
    visit = models.ForeignKey(Visit, models.CASCADE, null=True, related_name="pieces")
    visit_version = models.PositiveIntegerField(default=1, db_comment="the assignment as it was packed")
    kind = models.CharField(max_length=7, choices=Kind)
    payload = models.JSONField()
    written_at = models.DateTimeField(db_comment="by the telephone's clock, mended by what it knew of its error")
    received_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=9, choices=State, default=State.HELD)
    code = models.CharField(max_length=40, blank=True)
    sentence = models.CharField(max_length=400, blank=True)
    settled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    objects = querysets.FieldPieceQuerySet.as_manager()

    class Meta:
        ordering = ["written_at", "key"]
        indexes = [
            models.Index(
                fields=["organisation", "received_at"], name="pieces_to_settle", condition=models.Q(state="to_settle")
            ),
            models.Index(fields=["visit", "state"], name="pieces_of_a_visit"),
            models.Index(
                fields=["visit"], name="pieces_of_moved_visits",
                condition=models.Q(kind="start", code="moved_meanwhile", settled_at=None),
            ),
        ]

    def __str__(self):
        return f"{self.kind} {self.key}"


class FieldCard(models.Model):
    """The expected card of an installation for the days around, with the hash of all that it was worked out from."""

    installation = models.OneToOneField(
        "registry.Installation", models.CASCADE, primary_key=True, related_name="field_card"
    )
    inputs_hash = models.CharField(max_length=64)
    card = models.JSONField()
    cost = models.JSONField(null=True, db_comment="what turning or tilting the frame away costs")
    made_at = models.DateTimeField()
    odds = models.JSONField(null=True, db_comment="what a spot test that falls short is weighed with on the telephone")
    odds_hash = models.CharField(max_length=64, blank=True, db_default="", db_comment="of all that odds rest on")

    def __str__(self):
        return f"{self.installation_id} {self.inputs_hash[:8]}"


class PhotoChunk(models.Model):
    """A part of a photo on its way home; the parts go when the photo is whole."""

    id = models.BigAutoField(primary_key=True)
    photo_key = models.UUIDField(default=uuid.uuid4)
    place = models.PositiveIntegerField(db_comment="offset of its first byte")
    data = models.BinaryField()
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["photo_key", "place"], name="photo_chunk_once")]

    def __str__(self):
        return f"{self.photo_key} {self.place}"
