"""The catalogue: pump types with their test-sheet points, module types, standard pipes and cables."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation


class PumpType(models.Model):
    class Kind(models.TextChoices):
        HELICAL = "helical", _("positive displacement, helical")
        DIAPHRAGM = "diaphragm", _("positive displacement, diaphragm")
        PISTON = "piston", _("positive displacement, piston")
        CENTRIFUGAL = "centrifugal", _("centrifugal")

    class Coupling(models.TextChoices):
        DIRECT = "direct", _("directly to the modules")
        TRACKING = "tracking", _("through a tracking controller")

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="pump_types")
    name = models.CharField(_("type"), max_length=60)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
    kind = models.CharField(_("kind"), max_length=12, choices=Kind)
    coupling = models.CharField(_("fed"), max_length=8, choices=Coupling)
    outside_diameter_mm = models.FloatField(_("outside diameter, mm"), null=True, blank=True)
    mass_kg = models.FloatField(_("mass, kg"), null=True, blank=True)
    min_voltage_v = models.FloatField(_("lowest working voltage, V"), null=True, blank=True)
    max_voltage_v = models.FloatField(_("highest voltage, V"), null=True, blank=True)
    max_power_w = models.FloatField(_("highest power, W"), null=True, blank=True)
    max_head_m = models.FloatField(_("highest head, m"), null=True, blank=True)
    controller_efficiency = models.FloatField(_("controller efficiency"), null=True, blank=True)
    start_power_w = models.FloatField(_("starting power, W"), null=True, blank=True)
    motor_ohm = models.FloatField(_("motor resistance, ohm"), null=True, blank=True)
    price = models.DecimalField(_("price"), max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(_("currency"), max_length=3, blank=True, db_comment="ISO 4217")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="pump_type_named_once"),
            models.CheckConstraint(
                name="pump_type_sizes_above_zero",
                condition=(Q(outside_diameter_mm=None) | Q(outside_diameter_mm__gt=0))
                & (Q(max_voltage_v=None) | Q(max_voltage_v__gt=0))
                & (Q(max_power_w=None) | Q(max_power_w__gt=0))
                & (Q(max_head_m=None) | Q(max_head_m__gt=0)),
            ),
            models.CheckConstraint(
                name="controller_efficiency_up_to_one",
                condition=Q(controller_efficiency=None)
                | (Q(controller_efficiency__gt=0) & Q(controller_efficiency__lte=1)),
            ),
        ]

    def __str__(self):
        return self.name


class PumpPoint(models.Model):
    """One point of a type's test sheet: at this head and electrical power, this flow."""

    pump_type = models.ForeignKey(PumpType, models.CASCADE, related_name="points")
    head_m = models.FloatField(_("head, m"))
    power_w = models.FloatField(_("power at the motor, W"))
    flow_l_min = models.FloatField(_("flow, L/min"))
    voltage_v = models.FloatField(_("voltage, V"), null=True, blank=True)
    current_a = models.FloatField(_("current, A"), null=True, blank=True)

    class Meta:
        ordering = ["head_m", "power_w"]
        constraints = [
            models.UniqueConstraint(fields=["pump_type", "head_m", "power_w"], name="one_flow_per_head_and_power"),
            models.CheckConstraint(
                name="pump_point_not_negative",
                condition=Q(head_m__gte=0) & Q(power_w__gt=0) & Q(flow_l_min__gte=0),
            ),
        ]

    def __str__(self):
        return f"{self.pump_type}: {self.head_m:g} m, {self.power_w:g} W, {self.flow_l_min:g} L/min"


class ModuleType(models.Model):
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="module_types")
    name = models.CharField(_("type"), max_length=60)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
    cells = models.PositiveSmallIntegerField(_("cells in series"))
    p_stc_w = models.FloatField(_("power at standard conditions, W"))
    v_mp_v = models.FloatField(_("voltage at highest power, V"))
    i_mp_a = models.FloatField(_("current at highest power, A"))
    v_oc_v = models.FloatField(_("open-circuit voltage, V"))
    i_sc_a = models.FloatField(_("short-circuit current, A"))
    alpha_isc_pct_k = models.FloatField(_("short-circuit current, %/K"), default=0.05)
    beta_voc_pct_k = models.FloatField(_("open-circuit voltage, %/K"), default=-0.31)
    gamma_p_pct_k = models.FloatField(_("power, %/K"), default=-0.4)
    noct_c = models.FloatField(_("nominal operating cell temperature, °C"), default=46)
    price = models.DecimalField(_("price"), max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(_("currency"), max_length=3, blank=True, db_comment="ISO 4217")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="module_type_named_once"),
            models.CheckConstraint(
                name="module_values_in_order",
                condition=Q(cells__gt=0)
                & Q(p_stc_w__gt=0)
                & Q(v_mp_v__gt=0)
                & Q(i_mp_a__gt=0)
                & Q(v_oc_v__gt=models.F("v_mp_v"))
                & Q(i_sc_a__gte=models.F("i_mp_a")),
            ),
        ]

    def __str__(self):
        return self.name


class Pipe(models.Model):
    """A standard pipe: outside diameter and wall. ISO 4427 sizes come with the first set-up."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="pipes")
    name = models.CharField(_("pipe"), max_length=60)
    outside_mm = models.FloatField(_("outside diameter, mm"))
    wall_mm = models.FloatField(_("wall, mm"))
    pressure_bar = models.FloatField(_("nominal pressure, bar"), null=True, blank=True)
    material = models.CharField(_("material"), max_length=20, default="PE 100")
    price_per_m = models.DecimalField(_("price per metre"), max_digits=10, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["outside_mm", "wall_mm"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="pipe_named_once"),
            models.CheckConstraint(
                name="pipe_has_a_bore",
                condition=Q(wall_mm__gt=0) & Q(outside_mm__gt=models.F("wall_mm") * 2),
            ),
        ]

    def __str__(self):
        return self.name

    @property
    def inside_mm(self):
        return self.outside_mm - 2 * self.wall_mm


class Cable(models.Model):
    """A standard drop cable: conductor section and class of IEC 60228."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="cables")
    name = models.CharField(_("cable"), max_length=60)
    area_mm2 = models.FloatField(_("conductor section, mm²"))
    conductor_class = models.PositiveSmallIntegerField(_("conductor class"), default=5)
    price_per_m = models.DecimalField(_("price per metre"), max_digits=10, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["area_mm2"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="cable_named_once"),
            models.CheckConstraint(
                name="cable_of_a_known_class", condition=Q(area_mm2__gt=0) & Q(conductor_class__in=[2, 5])
            ),
        ]

    def __str__(self):
        return self.name
