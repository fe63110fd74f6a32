"""What was recorded, found and used on a visit."""

import uuid

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation
from fleet.readings.models import SpotTest
from fleet.registry.models import Unit
from fleet.visits import querysets
from fleet.visits.models.planning import Visit


class StepRecord(models.Model):
    """What was recorded at one step. Nothing is overwritten: a correction is a new row that names the old one."""

    key = models.UUIDField(default=uuid.uuid4, unique=True)
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="records")
    step = models.CharField(max_length=40)
    values = models.JSONField(default=dict)
    passed = models.BooleanField(null=True)
    skipped_why = models.CharField(max_length=300, blank=True)
    cautions_seen = models.JSONField(default=list)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    replaces = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="replaced_by")

    class Meta:
        ordering = ["at", "id"]

    def __str__(self):
        return f"{self.visit_id} {self.step}"


class VisitSpotTest(models.Model):
    """A spot test taken during a visit."""

    visit = models.ForeignKey(Visit, models.CASCADE, related_name="spot_tests")
    spot_test = models.OneToOneField(SpotTest, models.CASCADE, related_name="visit_link")
    answer = models.JSONField(default=dict, db_comment="expected range and verdict as shown on the spot")

    def __str__(self):
        return f"{self.visit_id}: {self.spot_test}"


class Finding(models.Model):
    """What was found: five separate things, never one text."""

    key = models.UUIDField(default=uuid.uuid4, unique=True)
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="findings")
    item = models.CharField(_("where"), max_length=24, blank=True)
    failure_mode = models.CharField(_("how it shows"), max_length=24)
    mechanism = models.CharField(_("what happened inside"), max_length=24, blank=True)
    cause = models.CharField(_("why"), max_length=24)
    detection = models.CharField(_("how it was found"), max_length=24, blank=True)
    action = models.CharField(_("what was done"), max_length=24)
    words = models.TextField(_("in words"), blank=True)
    warranty = models.BooleanField(_("warranty claim"), default=False)
    confirmed = models.BooleanField(_("shown by a reading"), default=True)
    noted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    noted_at = models.DateTimeField(default=timezone.now)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_why = models.CharField(max_length=300, blank=True)

    objects = querysets.FindingQuerySet.as_manager()

    class Meta:
        ordering = ["noted_at", "id"]

    def __str__(self):
        return f"{self.failure_mode}: {self.cause}"


class PartType(models.Model):
    """A part that cars carry."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="part_types")
    name = models.CharField(max_length=80)
    code = models.CharField(max_length=24)
    for_causes = models.JSONField(default=list, db_comment="causes for which it is taken along")

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["organisation", "code"], name="part_coded_once")]

    def __str__(self):
        return self.name


class PartUse(models.Model):
    """A part in, a part out."""

    key = models.UUIDField(default=uuid.uuid4, unique=True)
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="parts")
    part_type = models.ForeignKey(PartType, models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)
    serial_out = models.CharField(_("serial out"), max_length=40, blank=True)
    serial_in = models.CharField(_("serial in"), max_length=40, blank=True)
    unit_out = models.ForeignKey(Unit, models.SET_NULL, null=True, blank=True, related_name="+")
    unit_in = models.ForeignKey(Unit, models.SET_NULL, null=True, blank=True, related_name="+")
    was_aboard = models.BooleanField(_("was in the car"), default=True)

    def __str__(self):
        return f"{self.quantity} x {self.part_type}"


def photo_path(photo, name):
    return f"visits/{photo.key.hex[:2]}/{photo.key.hex}.jpg"


class Photo(models.Model):
    """Taken at a step, at a time and a place."""

    key = models.UUIDField(default=uuid.uuid4, unique=True)
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="photos")
    step = models.CharField(max_length=40, blank=True)
    file = models.FileField(upload_to=photo_path)
    taken_at = models.DateTimeField(null=True)
    latitude_deg = models.FloatField(null=True)
    longitude_deg = models.FloatField(null=True)
    sha256 = models.CharField(max_length=64, blank=True)
    caption = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["taken_at", "id"]

    def __str__(self):
        return self.caption or str(self.key)
