"""Calls, procedures, visits and what was found, parts, trips."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.output.models import Shortfall
from fleet.people.models import Organisation
from fleet.readings.models import SpotTest
from fleet.registry.models import Installation, Site, Unit


class Procedure(models.Model):
    """The steps of a kind of visit, as data. A changed procedure is a new version; old visits keep theirs."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="procedures")
    kind = models.CharField(max_length=14)
    version = models.PositiveIntegerField(default=1)
    title = models.CharField(max_length=120)
    steps = models.JSONField(
        db_comment="[{code, title, text, captures: [{code, kind, label, unit, low, high, repeats}], rule, cautions}]"
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["kind", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "kind", "version"], name="procedure_version_once"),
            models.UniqueConstraint(
                fields=["organisation", "kind"], name="one_procedure_in_use", condition=Q(in_use=True)
            ),
        ]

    def __str__(self):
        return f"{self.title} ({self.version})"


class InspectionRule(models.Model):
    """When an inspection falls due by itself."""

    class Basis(models.TextChoices):
        MONTHS = "months", _("months since the last visit")
        WATER = "water_m3", _("cubic metres pumped since the last visit")
        SUN = "sun_hours", _("sun hours since the last visit")
        AFTER_REPAIR = "after_repair", _("days after a repair")
        WARRANTY = "warranty", _("days before the warranty ends")
        FIRST = "first", _("days after commissioning")

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="inspection_rules")
    name = models.CharField(max_length=120)
    basis = models.CharField(max_length=12, choices=Basis)
    amount = models.FloatField()
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(name="inspection_rule_above_zero", condition=Q(amount__gt=0))]

    def __str__(self):
        return self.name


class Call(models.Model):
    """Someone rang."""

    class State(models.TextChoices):
        OPEN = "open", _("open")
        BY_PHONE = "by_phone", _("solved by telephone")
        VISIT = "visit", _("a visit was made of it")
        CLOSED = "closed", _("closed")

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="calls")
    site = models.ForeignKey(Site, models.PROTECT, related_name="calls")
    at = models.DateTimeField(_("when"))
    caller = models.CharField(_("who rang"), max_length=120, blank=True)
    phone = models.CharField(_("telephone"), max_length=20, blank=True)
    words = models.TextField(_("what they see, in their words"))
    answers = models.JSONField(_("asked by telephone"), default=dict, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    call_back_on = models.DateField(_("call back on"), null=True, blank=True)
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["-at"]

    def __str__(self):
        return f"{self.site.code} {self.at:%Y-%m-%d %H:%M}"


class Trip(models.Model):
    """One technician, one day, visits in order."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="trips")
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="trips")
    day = models.DateField()
    km = models.FloatField(null=True, blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["-day"]
        constraints = [models.UniqueConstraint(fields=["technician", "day"], name="one_trip_a_day")]

    def __str__(self):
        return f"{self.technician} {self.day}"


class Visit(models.Model):
    """One stay at one site."""

    class Kind(models.TextChoices):
        SURVEY = "survey", _("survey")
        COMMISSIONING = "commissioning", _("commissioning")
        INSPECTION = "inspection", _("inspection")
        REPAIR = "repair", _("repair")
        RELOCATION = "relocation", _("relocation")
        RETIREMENT = "retirement", _("retirement")

    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed")
        ASSIGNED = "assigned", _("assigned")
        UNDER_WAY = "under_way", _("under way")
        LOGGED = "logged", _("logged, not closed")
        CLOSED = "closed", _("closed")
        CANCELLED = "cancelled", _("cancelled")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="visits")
    site = models.ForeignKey(Site, models.PROTECT, related_name="visits")
    installation = models.ForeignKey(Installation, models.PROTECT, related_name="visits", null=True, blank=True)
    kind = models.CharField(_("kind"), max_length=14, choices=Kind)
    why = models.CharField(_("why"), max_length=300, blank=True)
    shortfall = models.ForeignKey(Shortfall, models.SET_NULL, null=True, blank=True, related_name="visits")
    call = models.ForeignKey(Call, models.SET_NULL, null=True, blank=True, related_name="visits")
    rule = models.ForeignKey(InspectionRule, models.SET_NULL, null=True, blank=True, related_name="+")
    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="visits", null=True)
    state = models.CharField(_("state"), max_length=9, choices=State, default=State.PROPOSED)
    due_on = models.DateField(_("due on"), null=True, blank=True)
    planned_on = models.DateField(_("planned for"), null=True, blank=True)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="visits", null=True, blank=True
    )
    trip = models.ForeignKey(Trip, models.SET_NULL, null=True, blank=True, related_name="visits")
    trip_order = models.PositiveSmallIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1, db_comment="grows with each change of the assignment")
    arrived_at = models.DateTimeField(_("arrived"), null=True, blank=True)
    left_at = models.DateTimeField(_("left"), null=True, blank=True)
    km = models.FloatField(_("kilometres"), null=True, blank=True)
    caretaker_words = models.TextField(_("caretaker's words"), blank=True)
    not_done = models.TextField(_("not done, and why"), blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    outcome = models.CharField(max_length=12, blank=True, db_comment="restored, in_order, part_awaited, …")
    proposed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["planned_on", "id"]
        constraints = [
            models.CheckConstraint(
                name="assigned_visit_has_technician_and_day",
                condition=Q(state__in=["proposed", "cancelled"])
                | Q(technician__isnull=False, planned_on__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["installation", "rule"],
                name="one_open_visit_per_rule",
                condition=Q(state__in=["proposed", "assigned", "under_way"]) & Q(rule__isnull=False),
            ),
        ]
        indexes = [
            models.Index(fields=["technician", "planned_on"], name="visits_of_a_day"),
            models.Index(fields=["organisation", "state", "planned_on"], name="visits_by_state"),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} {self.site.code}"


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
