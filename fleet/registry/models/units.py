"""Units: the physical pumps, by serial."""

from django.contrib.postgres.indexes import GinIndex, OpClass
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation
from fleet.registry import querysets
from fleet.registry.models.catalogue import PumpType


class Unit(models.Model):
    class Status(models.TextChoices):
        STORED = "stored", _("in store")
        INSTALLED = "installed", _("installed")
        RETIRED = "retired", _("retired")

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="units")
    serial = models.CharField(_("serial"), max_length=40)
    pump_type = models.ForeignKey(PumpType, models.PROTECT, related_name="units", verbose_name=_("pump type"))
    batch = models.CharField(_("maker's batch"), max_length=40, blank=True)
    tested_on = models.DateField(_("maker's test date"), null=True, blank=True)
    warranty_until = models.DateField(_("warranty until"), null=True, blank=True)
    status = models.CharField(_("status"), max_length=9, choices=Status, default=Status.STORED)
    retired_why = models.CharField(_("why retired"), max_length=200, blank=True)
    notes = models.TextField(_("notes"), blank=True)

    objects = querysets.UnitQuerySet.as_manager()

    class Meta:
        ordering = ["serial"]
        constraints = [
            models.UniqueConstraint("organisation", Lower("serial"), name="serial_kept_once"),
            models.CheckConstraint(
                name="unit_status_known", condition=Q(status__in=["stored", "installed", "retired"])
            ),
        ]
        indexes = [
            models.Index(fields=["organisation", "serial"], name="units_by_serial"),
            GinIndex(OpClass(Lower("serial"), name="gin_trgm_ops"), name="unit_serial_search"),
        ]

    def __str__(self):
        return self.serial


class UnitPoint(models.Model):
    """One point of the unit's own test sheet; it scales the type's curve."""

    unit = models.ForeignKey(Unit, models.CASCADE, related_name="points")
    head_m = models.FloatField(_("head, m"))
    power_w = models.FloatField(_("power at the motor, W"))
    flow_l_min = models.FloatField(_("flow, L/min"))
    voltage_v = models.FloatField(_("voltage, V"), null=True, blank=True)
    current_a = models.FloatField(_("current, A"), null=True, blank=True)

    class Meta:
        ordering = ["head_m", "power_w"]
        constraints = [
            models.UniqueConstraint(fields=["unit", "head_m", "power_w"], name="unit_point_once"),
            models.CheckConstraint(
                name="unit_point_not_negative",
                condition=Q(head_m__gte=0) & Q(power_w__gt=0) & Q(flow_l_min__gte=0),
            ),
        ]

    def __str__(self):
        return f"{self.unit}: {self.head_m:g} m, {self.power_w:g} W, {self.flow_l_min:g} L/min"
