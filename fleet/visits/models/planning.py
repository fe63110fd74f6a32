"""Procedures, inspection rules, calls, trips, visits."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from fleet.output.models import Shortfall
from fleet.people.models import Organisation
from fleet.registry.models import Installation, Site
from fleet.visits import querysets


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

    objects = querysets.CallQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["organisation", "-at", "-id"], name="calls_by_time")]

    def __str__(self):
        return f"{self.site.code} {self.at:%Y-%m-%d %H:%M}"


class Base(models.Model):
    """Where trips start and end."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="bases")
    name = models.CharField(_("base"), max_length=80)
    latitude_deg = models.FloatField(_("latitude, degrees"))
    longitude_deg = models.FloatField(_("longitude, degrees"))

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="base_named_once"),
            models.CheckConstraint(
                name="base_on_the_globe",
                condition=Q(latitude_deg__gte=-90)
                & Q(latitude_deg__lte=90)
                & Q(longitude_deg__gte=-180)
                & Q(longitude_deg__lte=180),
            ),
        ]

    def __str__(self):
        return self.name


class Trip(models.Model):
    """One technician, one day, visits in order."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="trips")
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="trips")
    day = models.DateField()
    base = models.ForeignKey(Base, models.SET_NULL, null=True, blank=True, related_name="+")
    planned_km = models.FloatField(null=True, blank=True, db_comment="great circle times the road factor")
    km = models.FloatField(_("kilometres driven"), null=True, blank=True)
    notes = models.TextField(_("notes"), blank=True)

    objects = querysets.TripQuerySet.as_manager()

    class Meta:
        ordering = ["-day", "id"]
        constraints = [models.UniqueConstraint(fields=["technician", "day"], name="one_trip_a_day")]

    def __str__(self):
        return f"{self.technician} {self.day}"


class Visit(models.Model):
    """One stay at one site."""

    class Kind(models.TextChoices):
        SURVEY = "survey", _("survey")
        INSTALLATION = "installation", _("installation")
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
    cancelled_why = models.CharField(_("why it was called off"), max_length=300, blank=True)
    follows = models.ForeignKey(
        "self", models.SET_NULL, null=True, blank=True, related_name="followed_by",
        db_comment="the visit that could not be finished, for which this one was made",
    )  # fmt: skip

    objects = querysets.VisitQuerySet.as_manager()

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
                condition=Q(state__in=["proposed", "assigned", "under_way", "logged"]) & Q(rule__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["shortfall"],
                name="one_open_visit_per_shortfall",
                condition=Q(state__in=["proposed", "assigned", "under_way"]) & Q(shortfall__isnull=False),
            ),
        ]
        indexes = [
            models.Index(fields=["technician", "planned_on"], name="visits_of_a_day"),
            models.Index(fields=["organisation", "state", "planned_on"], name="visits_by_state"),
            models.Index("organisation", Coalesce("planned_on", "due_on"), "id", name="visits_by_day"),
            models.Index(fields=["installation", "state", "left_at"], name="visits_of_an_installation"),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} {self.site.code}"

    @property
    def is_open(self):
        return self.state not in {self.State.CLOSED, self.State.CANCELLED}
