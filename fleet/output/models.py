"""What should have been measured, and what follows from the difference."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.output import querysets
from fleet.registry.models import Installation


class Baseline(models.Model):
    """What an installation should give, with the hash of the inputs it came from."""

    installation = models.OneToOneField(Installation, models.CASCADE, related_name="baseline", primary_key=True)
    inputs_hash = models.CharField(max_length=64)
    computed_at = models.DateTimeField()
    method = models.CharField(max_length=20, db_comment="version of the calculation")
    volume_l_day = models.JSONField(default=list, db_comment="by month: mean litres a day")
    low_l_day = models.JSONField(
        default=list, db_comment="by month: lower end of the range that holds four days in five"
    )
    high_l_day = models.JSONField(default=list)
    range_l_day = models.JSONField(
        default=dict, db_comment="climate, model, instrument: how far each alone would reach, by month; squares add"
    )
    by_kind_l_day = models.JSONField(default=list, db_comment="12 x kinds of day, dullest first")
    start_hour = models.JSONField(default=list, db_comment="by month, true solar time")
    stop_hour = models.JSONField(default=list)
    card = models.JSONField(default=dict, db_comment="flow, volts, amps by irradiance and static level")
    climate_source = models.CharField(max_length=200, blank=True)
    climate_band = models.FloatField(default=0.15, db_comment="one sigma of the monthly sun, relative")
    trouble = models.TextField(blank=True, db_comment="why nothing could be computed")
    assumed = models.JSONField(default=list, db_comment="names of the values nobody wrote down, taken as usual")
    table = models.BinaryField(null=True, db_comment="water by month and clearness, for the nightly judgement; float32")

    objects = querysets.OutputQuerySet.as_manager()

    def __str__(self):
        return f"baseline of {self.installation_id}"


class Evaluation(models.Model):
    """One installation and one local day: expected and measured."""

    pk = models.CompositePrimaryKey("installation_id", "day")
    installation = models.ForeignKey(Installation, models.DO_NOTHING, related_name="evaluations")
    day = models.DateField()
    expected_l = models.FloatField(null=True)
    low_l = models.FloatField(null=True, db_comment="lower end of the range that holds four days in five")
    high_l = models.FloatField(null=True)
    measured_l = models.FloatField(null=True, db_comment="a day's share where the meter gives a period")
    idle = models.BooleanField(default=False, db_comment="stopped by a full tank")
    dry = models.BooleanField(default=False, db_comment="the water stood at the pump or its probe, and less came")
    sun_by = models.CharField(max_length=10, blank=True, db_comment="own, neighbour, import, fleet, climate")
    baseline_hash = models.CharField(max_length=16, blank=True)
    span_days = models.SmallIntegerField(default=1, db_comment="days of the reading of which this is one day's share")
    observation = models.BinaryField(null=True, db_comment="what the day's readings said, as the judgement keeps it")

    objects = querysets.DayQuerySet.as_manager()

    class Meta:
        managed = False  # partitioned by month; the migration makes it by hand
        db_table = "output_evaluation"

    def __str__(self):
        return f"{self.installation_id} {self.day}"


class Judgement(models.Model):
    """The evidence carried on from night to night for one installation."""

    installation = models.OneToOneField(Installation, models.CASCADE, related_name="judgement", primary_key=True)
    through = models.DateField(null=True, db_comment="last local day that was judged")
    state = models.BinaryField(null=True, db_comment="the running evidence as the engineering package keeps it")
    case = models.JSONField(default=dict, db_comment="the open case as it was last put forward")
    trouble = models.CharField(max_length=300, blank=True, db_comment="why it cannot be judged")
    sound_since = models.DateField(null=True, db_comment="last put right: no fault of today began before")
    level_ratio = models.FloatField(null=True, db_comment="its own healthy level against the calculation")
    recent_ratio = models.FloatField(null=True, db_comment="measured over expected, last 30 days, idle days left out")
    judged_at = models.DateTimeField(null=True)
    claimed_until = models.DateTimeField(null=True, db_comment="a worker is at it until then")

    objects = querysets.OutputQuerySet.as_manager()

    def __str__(self):
        return f"judged through {self.through}"


class Snapshot(models.Model):
    """The evidence as it stood after some day, so that a figure that comes late costs days of judging, not years."""

    pk = models.CompositePrimaryKey("installation_id", "day")
    installation = models.ForeignKey(Installation, models.CASCADE, related_name="+")
    day = models.DateField()
    state = models.BinaryField()
    case = models.JSONField(default=dict)

    def __str__(self):
        return f"{self.installation_id} after {self.day}"


class Shortfall(models.Model):
    """A unit gives less than it should: since when, how much, how surely, probably why."""

    class State(models.TextChoices):
        OPEN = "open", _("open")
        NOTED = "noted", _("noted, not a fault")
        CLOSED = "closed", _("closed")

    class Ending(models.TextChoices):
        NONE = "", _("—")
        RECOVERED = "recovered", _("output is back")
        REPAIRED = "repaired", _("repaired")
        EXPLAINED = "explained", _("explained by a visit")
        WITHDRAWN = "withdrawn", _("the evidence went away")
        GONE = "gone", _("the pump hangs there no more")

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="shortfalls")
    state = models.CharField(max_length=6, choices=State, default=State.OPEN)
    ending = models.CharField(max_length=9, choices=Ending, default=Ending.NONE, blank=True)
    flagged_on = models.DateField(db_comment="the local day whose readings raised it")
    since = models.DateField(db_comment="estimated onset")
    since_low = models.DateField(null=True)
    since_high = models.DateField(null=True)
    lost_l_day = models.FloatField()
    lost_low_l_day = models.FloatField(null=True)
    lost_high_l_day = models.FloatField(null=True)
    lost_fraction = models.FloatField(null=True)
    probability = models.FloatField(db_comment="how sure that something is wrong")
    causes = models.JSONField(default=list, db_comment="[{cause, odds}] best first")
    checks = models.JSONField(default=list, db_comment="what to check first on site")
    parts = models.JSONField(default=list, db_comment="parts to take")
    danger = models.PositiveSmallIntegerField(default=0, db_comment="0 none, 1 caution, 2 stop now")
    people_served = models.PositiveIntegerField(default=0)
    weight = models.FloatField(default=0, db_comment="orders the list: danger first, then lost litres x people")
    evidence = models.JSONField(default=dict, db_comment="what the picture shows")
    closed_on = models.DateField(null=True)
    explained = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    objects = querysets.ShortfallQuerySet.as_manager()

    class Meta:
        ordering = ["-weight", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["installation"], name="one_open_shortfall", condition=Q(state__in=["open", "noted"])
            ),
            models.CheckConstraint(name="probability_is_one", condition=Q(probability__gte=0) & Q(probability__lte=1)),
        ]
        indexes = [models.Index(fields=["-weight", "id"], name="attention_order", condition=Q(state="open"))]

    def __str__(self):
        return f"{self.installation_id}: {self.lost_l_day:,.0f} L a day since {self.since}"


class Flag(models.Model):
    """Each time a shortfall was raised or raised again: the day, the causes as they stood then."""

    shortfall = models.ForeignKey(Shortfall, models.CASCADE, related_name="flags")
    installation = models.ForeignKey(Installation, models.CASCADE, related_name="flags")
    flagged_on = models.DateField()
    causes = models.JSONField(default=list)
    lost_fraction = models.FloatField(null=True)

    class Meta:
        ordering = ["flagged_on"]
        constraints = [models.UniqueConstraint(fields=["installation", "flagged_on"], name="one_flag_a_day")]

    def __str__(self):
        return f"{self.installation_id} {self.flagged_on}"


class Mark(models.Model):
    """How far something has been looked through."""

    name = models.CharField(max_length=20, unique=True)
    value = models.BigIntegerField(default=0)

    def __str__(self):
        return f"{self.name}: {self.value}"


class CauseCount(models.Model):
    """How often a cause was really found, by pump kind: it teaches the odds of the next diagnosis."""

    organisation = models.ForeignKey("people.Organisation", models.CASCADE, related_name="+")
    cause = models.CharField(max_length=24)
    pump_kind = models.CharField(max_length=12)
    district_key = models.BigIntegerField(default=0, db_comment="the site's district; 0: not known")
    month = models.PositiveSmallIntegerField(default=0, db_comment="1-12, when it was found; 0: not known")
    found = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "cause", "pump_kind", "district_key", "month"], name="one_count_a_cause"
            )
        ]

    def __str__(self):
        return f"{self.cause}, {self.pump_kind}: {self.found}"


class FindingHeard(models.Model):
    """A finding that taught the odds; kept so that the same finding never teaches twice."""

    class Way(models.TextChoices):
        TELEPHONE = "telephone", _("on a telephone")
        DESK = "desk", _("at the desk")

    organisation = models.ForeignKey("people.Organisation", models.CASCADE, null=True, related_name="+")
    way = models.CharField(
        max_length=9, choices=Way, blank=True,
        db_comment="how it was heard: where the finding was written down; empty: not known",
    )  # fmt: skip
    finding_key = models.CharField(max_length=40, unique=True)
    cause = models.CharField(max_length=24)
    pump_kind = models.CharField(max_length=12)
    suspected = models.JSONField(default=list, db_comment="the causes and odds shown before the visit")
    heard_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    heard_at = models.DateTimeField(auto_now_add=True)

    def __str__(self):
        return self.finding_key
