"""Places: districts, sites, wells with their dated levels, tanks, and a site's own sun."""

from django.contrib.postgres.indexes import GinIndex
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Func, Q, Value
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation
from fleet.registry import querysets

code_fits_an_address = RegexValidator(
    r"^(?!add$)[^/?#\\\s]+( [^/?#\\\s]+)*$",
    _("A code has no / ? # or \\ in it, and is not “add”: it stands in addresses."),
)


class Holds(Func):
    """A list kept as JSON in which no row breaks a rule, the rule as a path of PostgreSQL's."""

    output_field = models.BooleanField()

    def as_sql(self, compiler, connection, **how):
        column, path = (compiler.compile(part) for part in self.source_expressions)
        sql = f"(jsonb_typeof({column[0]}) = 'array' AND NOT jsonb_path_exists({column[0]}, {path[0]}::jsonpath))"
        return sql, (*column[1], *column[1], *path[1])


def rows_but(rule, width):
    """The path to a row that is not `width` figures that keep to the rule."""
    figures = " || ".join(f'@[{k}].type() != "number"' for k in range(width))
    return f'strict $[*] ? (@.type() != "array" || @.size() != {width} || {figures} || !({rule}))'


class District(models.Model):
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="districts")
    name = models.CharField(_("district"), max_length=80)
    p_code = models.CharField(_("P-code"), max_length=20, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["organisation", "name"], name="district_named_once")]

    def __str__(self):
        return self.name


class Site(models.Model):
    """A place where people draw water."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="sites")
    code = models.CharField(_("code"), max_length=24, validators=[code_fits_an_address])
    name = models.CharField(_("name"), max_length=120)
    village = models.CharField(_("village"), max_length=120, blank=True)
    district = models.ForeignKey(District, models.PROTECT, related_name="sites", verbose_name=_("district"))
    latitude_deg = models.FloatField(_("latitude, degrees"))
    longitude_deg = models.FloatField(_("longitude, degrees"))
    altitude_m = models.FloatField(_("altitude, m"), default=0)
    zone = models.CharField(_("time zone"), max_length=40, db_comment="IANA name, found from the coordinates")
    access_notes = models.TextField(_("the way there"), blank=True)
    drive_minutes = models.PositiveIntegerField(_("drive from the base, minutes"), null=True, blank=True)
    signal = models.CharField(_("telephone signal"), max_length=60, blank=True)
    caretaker_name = models.CharField(_("caretaker"), max_length=120, blank=True)
    caretaker_phone = models.CharField(_("caretaker's telephone"), max_length=20, blank=True)
    caretaker_language = models.CharField(_("caretaker's language"), max_length=35, blank=True)
    people_served = models.PositiveIntegerField(_("people served"), default=0)
    animals_served = models.PositiveIntegerField(_("animals served"), default=0)
    need_m3_day = models.JSONField(
        _("daily need by month, m³"), default=list, blank=True, db_comment="twelve numbers, or empty when not known"
    )
    skyline = models.JSONField(_("skyline"), default=list, blank=True, db_comment="[bearing_deg, height_deg] pairs")
    shade_windows = models.JSONField(
        _("windows of shade"), default=list, blank=True,
        db_comment="[from_h, to_h, share_lost] rows: hours of sun time, share of the direct light lost, 0 to 1",
    )  # fmt: skip
    # Filled by a trigger: code, name, village, caretaker and the serials that hang here, in lower case.
    search = models.TextField(blank=True, default="", editable=False)

    objects = querysets.SiteQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "code"], name="site_coded_once"),
            models.CheckConstraint(
                name="site_on_the_globe",
                condition=Q(latitude_deg__gte=-90)
                & Q(latitude_deg__lte=90)
                & Q(longitude_deg__gte=-180)
                & Q(longitude_deg__lte=180),
            ),
            models.CheckConstraint(
                name="skyline_of_pairs",
                condition=Holds("skyline", Value(rows_but("0 <= @[0] && @[0] <= 360 && 0 <= @[1] && @[1] <= 90", 2))),
            ),
            models.CheckConstraint(
                name="shade_windows_of_hours",
                condition=Holds(
                    "shade_windows",
                    Value(rows_but("0 <= @[0] && @[0] < @[1] && @[1] <= 24 && 0 < @[2] && @[2] <= 1", 3)),
                ),
            ),
        ]
        indexes = [GinIndex(fields=["search"], name="site_search", opclasses=["gin_trgm_ops"])]

    def __str__(self):
        return f"{self.code} {self.name}"


class MonthlyClimate(models.Model):
    """A site's own sun and air, twelve values each; replaces the coarse default by place."""

    site = models.OneToOneField(Site, models.CASCADE, related_name="climate")
    irradiation_kwh_m2_day = models.JSONField(_("daily global irradiation by month, kWh/m²"), default=list)
    air_c = models.JSONField(_("air temperature by month, °C"), default=list, blank=True)
    day_irradiation_kwh_m2 = models.JSONField(
        _("kinds of day by month, kWh/m²"), default=list, blank=True,
        db_comment="from a weather file's own days: by month the means of nine equal groups of days, dullest first; "
        "empty where only the months are known",
    )  # fmt: skip
    source = models.CharField(_("where the values come from"), max_length=200)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="kinds_of_day_by_nine",
                condition=Holds("day_irradiation_kwh_m2", Value(rows_but("!(@[*] < 0) && !(@[*] > 15)", 9))),
            ),
        ]

    def __str__(self):
        return f"{self.site}: {self.source}"


class Well(models.Model):
    """The hole. One unit hangs in it at a time."""

    class Kind(models.TextChoices):
        DRILLED = "drilled", _("drilled")
        DUG = "dug", _("dug")

    class Law(models.TextChoices):
        LINEAR = "linear", _("in proportion to flow")
        STEP = "step", _("from a step test, B and C")

    site = models.ForeignKey(Site, models.PROTECT, related_name="wells")
    name = models.CharField(_("well"), max_length=60, default="1")
    kind = models.CharField(_("kind"), max_length=8, choices=Kind, default=Kind.DRILLED)
    inside_diameter_mm = models.FloatField(_("inside diameter, mm"), null=True, blank=True)
    depth_m = models.FloatField(_("depth, m"), null=True, blank=True)
    datum_above_ground_m = models.FloatField(_("datum above ground, m"), default=0)
    drawdown_law = models.CharField(_("drawdown"), max_length=8, choices=Law, default=Law.LINEAR)
    specific_capacity_m3_h_m = models.FloatField(_("specific capacity, m³/h per m"), null=True, blank=True)
    drawdown_b_d_m2 = models.FloatField(_("step test B, d/m²"), null=True, blank=True)
    drawdown_c_d2_m5 = models.FloatField(_("step test C, d²/m⁵"), null=True, blank=True)
    safe_yield_m3_h = models.FloatField(_("safe yield, m³/h"), null=True, blank=True)
    water_quality = models.JSONField(_("water quality"), default=dict, blank=True)

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="well_named_once"),
            models.CheckConstraint(
                name="well_sizes_above_zero",
                condition=(Q(inside_diameter_mm=None) | Q(inside_diameter_mm__gt=0))
                & (Q(depth_m=None) | Q(depth_m__gt=0))
                & (Q(specific_capacity_m3_h_m=None) | Q(specific_capacity_m3_h_m__gt=0)),
            ),
        ]

    def __str__(self):
        return f"{self.site.code} well {self.name}"


class StaticLevel(models.Model):
    """Rested water level below datum on a day; it moves with the season."""

    well = models.ForeignKey(Well, models.CASCADE, related_name="static_levels")
    measured_on = models.DateField(_("measured on"))
    level_m = models.FloatField(_("static level below datum, m"))
    hours_since_pumped = models.FloatField(_("hours since last pumped"), null=True, blank=True)

    class Meta:
        ordering = ["measured_on"]
        constraints = [
            models.UniqueConstraint(fields=["well", "measured_on"], name="one_static_level_a_day"),
            models.CheckConstraint(name="static_level_below_datum", condition=Q(level_m__gte=-5)),
        ]

    def __str__(self):
        return f"{self.level_m:g} m on {self.measured_on}"


class Tank(models.Model):
    """The store the rising main leads to."""

    well = models.OneToOneField(Well, models.CASCADE, related_name="tank")
    rise_m = models.FloatField(_("rise from well head to tank inlet, m"), default=0)
    pipe_run_m = models.FloatField(_("run of pipe from well head, m"), default=0)
    capacity_m3 = models.FloatField(_("capacity, m³"), null=True, blank=True)
    float_switch = models.BooleanField(_("float switch"), default=False)
    fittings_k = models.FloatField(_("fittings, sum of loss coefficients"), default=5.0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="tank_run_not_negative",
                condition=Q(pipe_run_m__gte=0) & (Q(capacity_m3=None) | Q(capacity_m3__gt=0)),
            )
        ]

    def __str__(self):
        return f"tank of {self.well}"
