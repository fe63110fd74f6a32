"""Installations: a unit in a well for a period, as it was built; labels and attachments."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.contrib.postgres.indexes import GistIndex
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation
from fleet.registry import querysets
from fleet.registry.models.catalogue import Cable, ModuleType, Pipe
from fleet.registry.models.places import Well
from fleet.registry.models.units import Unit


class Installation(models.Model):
    """A unit in a well for a period; an open end means it hangs there now."""

    class Level(models.TextChoices):
        METER = "meter", _("meter read now and then")
        DAILY = "daily", _("daily volumes")
        LOGGER = "logger", _("noon or finer records")

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="installations")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="installations", verbose_name=_("unit"))
    well = models.ForeignKey(Well, models.PROTECT, related_name="installations", verbose_name=_("well"))
    period = DateTimeRangeField(_("period"), db_comment="UTC, start included, end excluded")
    closed_why = models.CharField(_("why it ended"), max_length=200, blank=True)

    module_type = models.ForeignKey(ModuleType, models.PROTECT, verbose_name=_("module type"), null=True, blank=True)
    modules_in_series = models.PositiveSmallIntegerField(_("modules in series"), default=1)
    strings = models.PositiveSmallIntegerField(_("strings"), default=1)
    tilt_deg = models.FloatField(_("tilt, degrees from flat"), default=15)
    azimuth_deg = models.FloatField(_("azimuth, degrees from true north"), default=180)
    mounting_height_m = models.FloatField(_("lower edge of modules above ground, m"), null=True, blank=True)
    fenced = models.BooleanField(_("fenced"), default=False)
    boxes_shaded = models.BooleanField(_("boxes in the shade of the modules"), null=True, blank=True)

    pipe = models.ForeignKey(Pipe, models.PROTECT, verbose_name=_("pipe"), null=True, blank=True)
    pipe_length_m = models.FloatField(_("rising main in the well, m"), null=True, blank=True)
    rope_length_m = models.FloatField(_("safety rope, m"), null=True, blank=True)
    cable = models.ForeignKey(Cable, models.PROTECT, verbose_name=_("drop cable"), null=True, blank=True)
    cable_length_m = models.FloatField(_("drop cable, m"), null=True, blank=True)
    setting_depth_m = models.FloatField(_("setting depth below datum, m"), null=True, blank=True)
    dry_run_probe = models.BooleanField(_("dry-run probe"), default=False)
    controller = models.CharField(_("controller"), max_length=80, blank=True)
    controller_serial = models.CharField(_("controller serial"), max_length=40, blank=True)
    controller_max_voltage_v = models.FloatField(_("controller's highest voltage, V"), null=True, blank=True)
    meter_rollover_l = models.FloatField(_("meter starts again at, L"), null=True, blank=True)
    instrument_level = models.CharField(_("what is measured"), max_length=6, choices=Level, default=Level.METER)

    installer = models.CharField(_("installed by"), max_length=80, blank=True)
    commissioned_on = models.DateField(_("commissioned on"), null=True, blank=True)
    handed_over_on = models.DateField(_("handed over on"), null=True, blank=True)
    next_inspection_on = models.DateField(_("next inspection due"), null=True, blank=True)
    notes = models.TextField(_("notes"), blank=True)

    objects = querysets.InstallationQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            ExclusionConstraint(
                name="unit_in_one_well_at_a_time",
                expressions=[("unit", RangeOperators.EQUAL), ("period", RangeOperators.OVERLAPS)],
                violation_error_code="unit_elsewhere",
                violation_error_message=_("This unit hangs in another well then. Close that installation first."),
            ),
            ExclusionConstraint(
                name="well_holds_one_unit_at_a_time",
                expressions=[("well", RangeOperators.EQUAL), ("period", RangeOperators.OVERLAPS)],
                violation_error_code="well_taken",
                violation_error_message=_("Another unit hangs in this well then. Close that installation first."),
            ),
            models.CheckConstraint(
                name="installation_period_has_a_start",
                condition=Q(period__isempty=False) & Q(period__lower_inf=False),
            ),
            models.CheckConstraint(
                name="installation_angles_in_range",
                condition=Q(tilt_deg__gte=0) & Q(tilt_deg__lte=90) & Q(azimuth_deg__gte=0) & Q(azimuth_deg__lt=360),
            ),
            models.CheckConstraint(
                name="installation_has_modules", condition=Q(modules_in_series__gte=1) & Q(strings__gte=1)
            ),
        ]
        indexes = [
            GistIndex(fields=["period"], name="installation_period"),
            models.Index(
                fields=["next_inspection_on"], name="inspection_due", condition=Q(period__upper_inf=True)
            ),
        ]

    def __str__(self):
        return f"{self.unit.serial} in {self.well}"

    @property
    def hangs_now(self):
        return self.period.upper is None


class Label(models.Model):
    """The short code printed on a unit, with its check character; it leads to the unit's page."""

    unit = models.OneToOneField(Unit, models.CASCADE, related_name="label")
    code = models.CharField(max_length=8, unique=True)
    printed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self):
        return self.code


def attachment_path(attachment, name):
    """Stored under a random name: what a file was called on someone's phone stays a matter of record, not of paths."""
    import uuid
    from pathlib import PurePath

    return f"attachments/{uuid.uuid4().hex[:2]}/{uuid.uuid4().hex}{PurePath(name).suffix.lower()[:8]}"


class Attachment(models.Model):
    """A photo or document of a site or an installation."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="attachments", null=True, blank=True)
    installation = models.ForeignKey(
        Installation, models.PROTECT, related_name="attachments", null=True, blank=True
    )
    file = models.FileField(upload_to=attachment_path)
    name = models.CharField(max_length=120)
    is_image = models.BooleanField(default=False)
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-added_at"]

    def __str__(self):
        return self.caption or self.name
