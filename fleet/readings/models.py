"""What was measured. Slips are marked and left for a person to settle, never dropped.

Daily and finer records are many: both live in tables partitioned by month, one row per installation and day. The
partitions are made by `fleet.readings.partitions`.
"""

import uuid

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _

from fleet.readings import querysets, saying
from fleet.registry.models import Installation


class Standing(models.IntegerChoices):
    """Whether a reading counts. Only GOOD and CORRECTED readings are used for judging."""

    GOOD = 0, _("good")
    IN_DOUBT = 1, _("in doubt, waiting for a person")
    CORRECTED = 2, _("corrected by a person")
    SET_ASIDE = 3, _("set aside by a person")


class SpotTest(models.Model):
    """A set of readings at one time: commissioning, or a visit."""

    class Kind(models.TextChoices):
        COMMISSIONING = "commissioning", _("commissioning")
        VISIT = "visit", _("visit")
        AFTER_WORK = "after_work", _("after work")

    class SunBy(models.TextChoices):
        CELL = "reference_cell", _("reference cell")
        PYRANOMETER = "pyranometer", _("pyranometer")
        MODULE = "module_isc", _("short-circuit current of a module")
        CLEAR_SKY = "clear_sky", _("clear sky, no instrument")
        NONE = "none", _("not known")

    class FlowBy(models.TextChoices):
        BUCKET = "bucket", _("bucket and stopwatch")
        METER = "meter", _("water meter")
        NONE = "none", _("not measured")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False, db_comment="made where it was typed")
    installation = models.ForeignKey(Installation, models.PROTECT, related_name="spot_tests")
    kind = models.CharField(_("kind"), max_length=13, choices=Kind)
    at = models.DateTimeField(_("time"))
    sun_by = models.CharField(_("irradiance got from"), max_length=14, choices=SunBy, default=SunBy.NONE)
    irradiance_w_m2 = models.FloatField(_("in-plane irradiance, W/m²"), null=True, blank=True)
    module_isc_a = models.FloatField(_("module short-circuit current, A"), null=True, blank=True)
    cell_c = models.FloatField(_("cell temperature, °C"), null=True, blank=True)
    air_c = models.FloatField(_("air, °C"), null=True, blank=True)
    array_voltage_v = models.FloatField(_("array voltage, V"), null=True, blank=True)
    array_current_a = models.FloatField(_("array current, A"), null=True, blank=True)
    output_voltage_v = models.FloatField(
        _("voltage at the box's output, V"), null=True, blank=True, db_comment="direct voltage towards the pump"
    )
    output_current_a = models.FloatField(_("current at the box's output, A"), null=True, blank=True)
    flow_by = models.CharField(_("flow measured by"), max_length=6, choices=FlowBy, default=FlowBy.BUCKET)
    flow_l_min = models.FloatField(_("flow, L/min"), null=True, blank=True)
    meter_flow_l_min = models.FloatField(
        _("flow by the meter beside the bucket, L/min"), null=True, blank=True,
        db_comment="only where flow_l_min is the bucket's",
    )  # fmt: skip
    watched_min = models.FloatField(
        _("minutes watched without water"), null=True, blank=True, db_comment="only where no water came"
    )
    repeats = models.JSONField(_("repeats"), default=list, blank=True, db_comment="[{litres, seconds}, …] as measured")
    static_level_m = models.FloatField(_("static level below datum, m"), null=True, blank=True)
    pumping_level_m = models.FloatField(_("pumping level below datum, m"), null=True, blank=True)
    first_water_min = models.FloatField(_("minutes to first water"), null=True, blank=True)
    main_was_full = models.BooleanField(_("rising main was full at the start"), null=True, blank=True)
    insulation_mohm = models.FloatField(_("insulation, Mohm"), null=True, blank=True)
    loop_ohm = models.FloatField(_("loop resistance, ohm"), null=True, blank=True)
    string_voltages_v = models.JSONField(_("open-circuit voltage of each string, V"), default=list, blank=True)
    string_currents_a = models.JSONField(_("current of each string, A"), default=list, blank=True)
    notes = models.TextField(_("notes"), blank=True)
    instrument = models.CharField(_("instruments and their check dates"), max_length=200, blank=True)
    standing = models.SmallIntegerField(choices=Standing, default=Standing.GOOD)
    looked = models.BooleanField(
        default=False, editable=False, db_comment="slips were asked about where it was typed, or looked for since"
    )
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    kept_at = models.DateTimeField(auto_now_add=True)

    objects = querysets.ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["at"]
        indexes = [
            models.Index(fields=["installation"], name="spot_tests_to_look_at", condition=Q(looked=False)),
        ]
        constraints = [
            models.UniqueConstraint(fields=["installation", "at", "kind"], name="one_spot_test_at_a_time"),
            models.CheckConstraint(
                name="spot_test_readings_not_negative",
                condition=(Q(irradiance_w_m2=None) | Q(irradiance_w_m2__gte=0))
                & (Q(flow_l_min=None) | Q(flow_l_min__gte=0)),
            ),
            models.CheckConstraint(
                name="watched_where_no_water_came",
                condition=Q(watched_min=None) | Q(watched_min__gt=0, flow_l_min=0, flow_l_min__isnull=False),
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} {self.at:%Y-%m-%d %H:%M}"

    @property
    def no_water(self):
        """Somebody watched, and no water came."""
        return self.flow_l_min == 0


class MeterReading(models.Model):
    """The meter's total at a time."""

    installation = models.ForeignKey(Installation, models.PROTECT, related_name="meter_readings")
    at = models.DateTimeField(_("time"))
    hour_known = models.BooleanField(_("hour known"), default=True)
    total_l = models.FloatField(_("total, L"))
    new_meter = models.BooleanField(_("first reading of a new meter"), default=False)
    rolled_over = models.BooleanField(_("started again since the last reading"), default=False)
    tank_full_seen = models.BooleanField(_("tank seen full"), null=True, blank=True)
    standing = models.SmallIntegerField(choices=Standing, default=Standing.GOOD)
    written_serial = models.CharField(max_length=40, blank=True, db_comment="the serial as it stood on the paper")
    source = models.CharField(max_length=60, blank=True)
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    kept_at = models.DateTimeField(auto_now_add=True)

    objects = querysets.ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["installation", "at"], name="one_meter_reading_at_a_time"),
            models.CheckConstraint(name="meter_total_not_negative", condition=Q(total_l__gte=0)),
        ]

    def __str__(self):
        return f"{self.total_l:,.0f} L at {self.at:%Y-%m-%d %H:%M}"


class DayRecord(models.Model):
    """What one installation reported of one local day: volume, sun, and the quarter hour at solar noon."""

    pk = models.CompositePrimaryKey("installation_id", "day")
    installation = models.ForeignKey(Installation, models.DO_NOTHING, related_name="day_records")
    day = models.DateField(db_comment="the site's own calendar day")
    volume_l = models.FloatField(null=True)
    irradiation_kwh_m2 = models.FloatField(null=True, db_comment="in the plane of the modules")
    noon_irradiance_w_m2 = models.FloatField(null=True)
    noon_voltage_v = models.FloatField(null=True)
    noon_current_a = models.FloatField(null=True)
    noon_level_m = models.FloatField(null=True, db_comment="depth to water below ground at that moment")
    tank_full_seen = models.BooleanField(null=True)
    standing = models.SmallIntegerField(choices=Standing, default=Standing.GOOD, db_comment="of the volume")
    noon_standing = models.SmallIntegerField(choices=Standing, default=Standing.GOOD)
    derived = models.BooleanField(default=False, db_comment="worked out from a finer series, not reported as such")

    objects = querysets.DayQuerySet.as_manager()

    class Meta:
        managed = False  # partitioned by month; the migration makes it by hand
        db_table = "readings_dayrecord"

    def __str__(self):
        return f"{self.installation_id} {self.day}"


class DaySeries(models.Model):
    """Samples finer than daily: one row per installation and local day holding arrays in time order."""

    pk = models.CompositePrimaryKey("installation_id", "day")
    installation = models.ForeignKey(Installation, models.DO_NOTHING, related_name="day_series")
    day = models.DateField()
    second = ArrayField(models.IntegerField(), db_comment="seconds since the local day began")
    flow_l_min = ArrayField(models.FloatField(null=True), null=True)
    irradiance_w_m2 = ArrayField(models.FloatField(null=True), null=True)
    voltage_v = ArrayField(models.FloatField(null=True), null=True)
    current_a = ArrayField(models.FloatField(null=True), null=True)
    level_m = ArrayField(models.FloatField(null=True), null=True)

    objects = querysets.DayQuerySet.as_manager()

    class Meta:
        managed = False
        db_table = "readings_dayseries"

    def __str__(self):
        return f"{self.installation_id} {self.day}: {len(self.second)} samples"


class DroppedDays(models.Model):
    """Samples of some days that a person took out of use, and why: those of a clock that was wrong, say. They are kept
    beside, and can be put back."""

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="dropped_days")
    first_day = models.DateField(db_comment="the site's own calendar day")
    last_day = models.DateField()
    days = models.PositiveIntegerField(db_comment="that had samples")
    why = models.CharField(_("why"), max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)
    put_back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    put_back_at = models.DateTimeField(null=True)

    objects = querysets.DroppedQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["installation", "-at"], name="dropped_of_an_installation")]
        constraints = [
            models.CheckConstraint(
                name="dropped_days_in_order", condition=Q(first_day__lte=models.F("last_day"), days__gte=1)
            ),
            models.CheckConstraint(name="dropped_for_a_reason", condition=~Q(why="")),
        ]

    def __str__(self):
        return f"{self.installation_id} {self.first_day} – {self.last_day}"


class DroppedSeries(models.Model):
    """The samples of one dropped day as they were, with what was worked out of them and went with them."""

    dropped = models.ForeignKey(DroppedDays, models.CASCADE, related_name="series")
    day = models.DateField()
    second = ArrayField(models.IntegerField())
    flow_l_min = ArrayField(models.FloatField(null=True), null=True)
    irradiance_w_m2 = ArrayField(models.FloatField(null=True), null=True)
    voltage_v = ArrayField(models.FloatField(null=True), null=True)
    current_a = ArrayField(models.FloatField(null=True), null=True)
    level_m = ArrayField(models.FloatField(null=True), null=True)
    figures = models.JSONField(default=dict, db_comment="{column of the daily record: figure} that was withdrawn")
    derived = models.BooleanField(default=False, db_comment="the daily record was worked out of the samples")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["dropped", "day"], name="one_series_a_dropped_day")]

    def __str__(self):
        return f"{self.dropped_id} {self.day}: {len(self.second)} samples"


class Arrival(models.Model):
    """Something new was kept for an installation: the earliest day concerned since its judgement last looked.

    The judgement is carried from night to night; a figure that comes late, or is corrected, sends it back to that day.
    """

    installation = models.OneToOneField(Installation, models.CASCADE, primary_key=True, related_name="arrival")
    first_day = models.DateField(db_comment="the site's own calendar day")
    at = models.DateTimeField(db_default=Now())

    class Meta:
        indexes = [models.Index(fields=["at"], name="arrivals_by_time")]

    def __str__(self):
        return f"{self.installation_id} from {self.first_day}"


class WeatherPlace(models.Model):
    """A place whose daily weather is known: a station of one's own, or a point of an open weather service."""

    organisation = models.ForeignKey("people.Organisation", models.CASCADE, related_name="weather_places")
    name = models.CharField(max_length=80)
    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    source = models.CharField(max_length=120)
    relative_error = models.FloatField(default=0.12, db_comment="one sigma of a day's irradiation over the truth")
    covers_km = models.FloatField(default=0, db_comment="side of the ground it stands for; 0: one point")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "name"], name="weather_place_named_once"),
            models.CheckConstraint(
                name="weather_place_on_the_globe",
                condition=Q(latitude_deg__range=(-90, 90)) & Q(longitude_deg__range=(-180, 180)),
            ),
        ]

    def __str__(self):
        return self.name


class WeatherDay(models.Model):
    """Irradiation and air of a day at a weather place."""

    place = models.ForeignKey(WeatherPlace, models.CASCADE, related_name="days")
    day = models.DateField()
    irradiation_kwh_m2 = models.FloatField(db_comment="global, level")
    air_c = models.FloatField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "day"], name="one_weather_a_place_and_day"),
            models.CheckConstraint(
                name="weather_irradiation_is_possible", condition=Q(irradiation_kwh_m2__range=(0, 13))
            ),
        ]

    def __str__(self):
        return f"{self.place} {self.day}"


class Decision(models.Model):
    """What a person made of one or more figures in doubt, with the rows it touched, so that it can be taken back."""

    class How(models.TextChoices):
        AS_SUGGESTED = "as_suggested", _("as suggested")
        OTHER = "other", _("another figure")
        KEEP = "keep", _("kept as written")
        ASIDE = "aside", _("set aside")

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="decisions")
    how = models.CharField(max_length=12, choices=How)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField()
    touched = models.JSONField(default=list, db_comment="[{table, row, was, became}, …], in the order of the changes")
    suggested = models.JSONField(default=dict, db_comment="{slip: what was suggested before}")
    taken_back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True)

    objects = querysets.DecisionQuerySet.as_manager()

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["by", "-at"], name="decisions_of_a_person")]
        constraints = [
            models.CheckConstraint(
                name="decision_taken_back_after_it_was_made",
                condition=Q(taken_back_at=None) | Q(taken_back_at__gte=models.F("at")),
            )
        ]

    def __str__(self):
        return f"{self.get_how_display()} {self.at:%Y-%m-%d %H:%M}"


class Slip(models.Model):
    """A likely recording mistake: what stands there, what would fit, and what a person made of it."""

    class Kind(models.TextChoices):
        SLIP_OF_TEN = "slip_of_ten", _("a slip of ten")
        SWAPPED_DIGITS = "swapped_digits", _("two digits swapped")
        VOLTS_FOR_AMPS = "volts_for_amps", _("volts and amps in each other's place")
        WRONG_SERIAL = "wrong_serial", _("written under the wrong serial")
        SWAPPED_READINGS = "swapped_readings", _("two units' readings exchanged")
        DUPLICATE = "duplicate", _("the same reading twice")
        ROLLOVER = "rollover", _("the meter started again")
        BACKWARDS = "backwards", _("the total is less than before")
        IMPOSSIBLE = "impossible", _("more than this unit can give")
        WRONG_UNIT = "wrong_unit", _("another unit of measure")
        BAD_CLOCK = "bad_clock", _("the time cannot be right")

    class State(models.TextChoices):
        OPEN = "open", _("waiting")
        CORRECTED = "corrected", _("corrected as suggested")
        AMENDED = "amended", _("corrected otherwise")
        KEPT = "kept", _("kept as written")
        ASIDE = "aside", _("set aside")

    class Subject(models.TextChoices):
        METER = "meter", _("meter reading")
        DAY = "day", _("daily record")
        NOON = "noon", _("noon record")
        SPOT = "spot", _("spot test")

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="slips")
    other = models.ForeignKey(Installation, models.CASCADE, related_name="+", null=True, blank=True)
    subject = models.CharField(max_length=5, choices=Subject)
    meter_reading = models.ForeignKey(MeterReading, models.CASCADE, null=True, blank=True, related_name="slips")
    spot_test = models.ForeignKey(SpotTest, models.CASCADE, null=True, blank=True, related_name="slips")
    at = models.DateTimeField()
    field = models.CharField(max_length=30, db_comment="the model's field in doubt")
    found = models.FloatField(null=True)
    suggested = models.FloatField(null=True)
    kind = models.CharField(max_length=16, choices=Kind)
    why = models.CharField(max_length=300, blank=True, db_comment="written down; empty: said from the facts")
    facts = models.JSONField(default=dict, blank=True, db_comment="due_l, days; before_l, before_on; usual; right")
    state = models.CharField(max_length=9, choices=State, default=State.OPEN)
    settled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)
    decision = models.ForeignKey(Decision, models.SET_NULL, null=True, blank=True, related_name="slips")
    marked_at = models.DateTimeField(auto_now_add=True)

    objects = querysets.SlipQuerySet.as_manager()

    class Meta:
        ordering = ["-at"]
        constraints = [
            models.UniqueConstraint(fields=["installation", "subject", "at", "field"], name="one_slip_a_figure")
        ]
        indexes = [models.Index(fields=["installation", "-at"], name="slips_open", condition=Q(state="open"))]

    def __str__(self):
        return f"{self.get_kind_display()}: {self.found}"

    @property
    def reason(self):
        """Why it is in doubt: what was due, what stands there, what would fit."""
        return saying.why(self)

    @property
    def will(self):
        """What settling it as suggested will do; empty where nothing is suggested, or half an exchange is settled."""
        exchange = self.kind in (self.Kind.SWAPPED_READINGS, self.Kind.VOLTS_FOR_AMPS)
        halved = exchange and not getattr(self, "other_waits", True)
        return "" if halved else saying.will(self)

    @property
    def can_be_taken_back(self):
        """Settled by a person, and what that changed is known."""
        return self.state != self.State.OPEN and self.decision_id is not None

    @property
    def figure(self):
        return saying.figure_of(self)

    @property
    def unit(self):
        return saying.unit_of(self)

    @property
    def found_words(self):
        return saying.written(self, self.found)

    @property
    def fits_words(self):
        """What would fit, where it is the figure that does not."""
        return saying.written(self, None if self.kind == self.Kind.ROLLOVER else self.suggested)
