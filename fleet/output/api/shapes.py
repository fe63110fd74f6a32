"""How baselines, judged days, shortfalls and answers leave by the API."""

from rest_framework import serializers

from fleet.output.models import Baseline, Evaluation, Flag, Shortfall
from fleet.output.steps import STAGES
from fleet.readings.models import SpotTest
from fleet.web.rest import Figure, Moment


def _serial():
    return serializers.CharField(source="installation.unit.serial", read_only=True)


def _site():
    return serializers.CharField(source="installation.well.site.code", read_only=True)


class ShortfallRecord(serializers.ModelSerializer):
    serial, site = _serial(), _site()
    district = serializers.CharField(source="installation.well.site.district.name", read_only=True)
    pump_type = serializers.CharField(source="installation.unit.pump_type.name", read_only=True)

    class Meta:
        model = Shortfall
        fields = [
            "id", "installation", "serial", "site", "district", "pump_type", "state", "ending", "flagged_on", "since",
            "since_low", "since_high", "lost_l_day", "lost_low_l_day", "lost_high_l_day", "lost_fraction",
            "probability", "causes", "checks", "parts", "danger", "people_served", "closed_on", "explained",
        ]  # fmt: skip
        read_only_fields = fields


class FlagRecord(serializers.ModelSerializer):
    serial, site = _serial(), _site()

    class Meta:
        model = Flag
        fields = ["id", "shortfall", "installation", "serial", "site", "flagged_on", "lost_fraction", "causes"]
        read_only_fields = fields


class WholeShortfall(ShortfallRecord):
    flags = serializers.SerializerMethodField(help_text="each day it was raised, newest first")
    spot_tests = serializers.SerializerMethodField(
        help_text="the spot tests that counted: day, flow as measured, low and high of what was right there (L/min), "
        "and whether by bucket"
    )

    season = serializers.SerializerMethodField(
        help_text="what the time of the year, as the units around tell it, leaves of the unit's usual output; what is "
        "due takes it into account (1: nothing known)"
    )

    came = serializers.SerializerMethodField(
        help_text='how the loss came: how ("at_once", "grows" over about so many days, "stopped"); null: not known'
    )

    class Meta(ShortfallRecord.Meta):
        fields = [*ShortfallRecord.Meta.fields, "flags", "spot_tests", "season", "came"]
        read_only_fields = fields

    def get_flags(self, shortfall) -> list[dict]:
        rows = sorted(shortfall.flags.all(), key=lambda flag: flag.flagged_on, reverse=True)
        return [{"flagged_on": row.flagged_on.isoformat(), "causes": row.causes, "lost_fraction": row.lost_fraction}
                for row in rows]  # fmt: skip

    def get_spot_tests(self, shortfall) -> list[dict]:
        return shortfall.evidence.get("tests", [])

    def get_season(self, shortfall) -> float:
        return shortfall.evidence.get("season", 1.0)

    def get_came(self, shortfall) -> dict | None:
        return shortfall.evidence.get("came")


class EvaluationRecord(serializers.ModelSerializer):
    """One judged day of an installation: what was due, what came; idle: stopped by a full tank; dry: the water stood at
    the pump or its probe, and less came than was due. Null: not known."""

    installation = serializers.IntegerField(source="installation_id", read_only=True)
    serial = _serial()

    class Meta:
        model = Evaluation
        fields = [
            "installation", "serial", "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "dry", "sun_by",
            "span_days", "baseline_hash",
        ]  # fmt: skip
        read_only_fields = fields


BASELINE = [
    "installation", "serial", "site", "computed_at", "method", "inputs_hash", "volume_l_day", "low_l_day",
    "high_l_day", "range_l_day", "climate_source", "climate_band", "trouble", "assumed",
]  # fmt: skip


class DayRangeShape(serializers.Serializer):
    """Litres a day by month: for the climate, for unit, array and well about their records, for the instruments."""

    climate = serializers.ListField(child=serializers.FloatField(allow_null=True), default=list)
    model = serializers.ListField(child=serializers.FloatField(allow_null=True), default=list)
    instrument = serializers.ListField(child=serializers.FloatField(allow_null=True), default=list)


class BaselineRecord(serializers.ModelSerializer):
    """What an installation should give: mean litres a day by month, with the range that holds four days in five."""

    serial, site = _serial(), _site()
    range_l_day = DayRangeShape(
        read_only=True,
        help_text="how far the range reaches on either side for each reason alone; their squares add",
    )

    class Meta:
        model = Baseline
        fields = BASELINE
        read_only_fields = fields


class WholeBaseline(BaselineRecord):
    class Meta(BaselineRecord.Meta):
        fields = [*BASELINE, "by_kind_l_day", "start_hour", "stop_hour", "card"]
        read_only_fields = fields


class DayShape(serializers.Serializer):
    """One local day of an installation: what was due and what was reported. Null: not known."""

    day = serializers.DateField()
    expected_l = serializers.FloatField(allow_null=True)
    low_l = serializers.FloatField(allow_null=True)
    high_l = serializers.FloatField(allow_null=True)
    measured_l = serializers.FloatField(allow_null=True)
    idle = serializers.BooleanField(allow_null=True)
    dry = serializers.BooleanField(allow_null=True)
    sun_by = serializers.CharField(allow_null=True)
    reported_l = serializers.FloatField(allow_null=True)
    irradiation_kwh_m2 = serializers.FloatField(allow_null=True)
    standing = serializers.IntegerField(allow_null=True)


# -- the working -------------------------------------------------------------------------------------------------------


class StepShape(serializers.Serializer):
    stage = serializers.ChoiceField(choices=list(STAGES))
    name = serializers.CharField()
    symbol = serializers.CharField()
    value = serializers.JSONField(help_text="a figure or a word; null where there is none")
    unit = serializers.CharField()
    formula = serializers.CharField()
    source = serializers.CharField()
    origin = serializers.CharField()


class InputShape(serializers.Serializer):
    name = serializers.CharField()
    label = serializers.CharField(help_text="the name in the trade's words")
    value = serializers.FloatField(allow_null=True)
    shown = serializers.CharField(help_text="the value in words, with its unit")
    stands_with = serializers.CharField(help_text="whose row it is")
    taken_as_usual = serializers.BooleanField(help_text="nobody wrote it down")


class DayHoursShape(serializers.Serializer):
    """The day hour by hour, by sun time, in light that is even within each hour."""

    flow_l_min = serializers.ListField(child=serializers.FloatField())
    volume_l = serializers.FloatField()
    start_h = serializers.FloatField(allow_null=True, help_text="sun time of the first water")
    stop_h = serializers.FloatField(allow_null=True)
    morning_share = serializers.FloatField(allow_null=True, help_text="of the water, before solar noon")
    full_h = serializers.FloatField(help_text="hours that a full tank stops the pump")
    dry_h = serializers.FloatField(help_text="hours held to what the well gives")
    tank_l = serializers.ListField(child=serializers.FloatField(), allow_null=True)
    short_l = serializers.FloatField(help_text="draw that found no water")
    spilled_l = serializers.FloatField()
    first_water_min = serializers.FloatField(allow_null=True, help_text="from an empty main in 700 W/m²; null: never")
    full_main_min = serializers.FloatField()
    drawn = serializers.BooleanField(help_text="whether need and tank are known")


class FrameCostShape(serializers.Serializer):
    kind = serializers.CharField(help_text="azimuth or tilt")
    error_deg = serializers.IntegerField()
    by_month_l = serializers.ListField(child=serializers.FloatField(), help_text="litres a day lost")
    by_year = serializers.FloatField(help_text="share of the year's water lost, below zero a gain")


class OwnLevelShape(serializers.Serializer):
    share = serializers.FloatField(help_text="the unit's own sound output over the calculation")
    sigma = serializers.FloatField()
    tests = serializers.IntegerField()
    judged = serializers.BooleanField()


class WorkingShape(serializers.Serializer):
    """Every number between the sun and the litres of one day, with its formula, its source and its inputs."""

    installation = serializers.IntegerField()
    serial = serializers.CharField()
    day = serializers.DateField()
    sun_kwh_m2 = serializers.FloatField()
    sun_source = serializers.CharField()
    climate_band = serializers.FloatField(help_text="one sigma of a month's sun, relative")
    own_level = OwnLevelShape()
    steps = StepShape(many=True)
    inputs = InputShape(many=True)
    hours = DayHoursShape()
    frame_costs = FrameCostShape(many=True)
    evaluation = EvaluationRecord(allow_null=True)


# -- spot tests --------------------------------------------------------------------------------------------------------


class RangeShape(serializers.Serializer):
    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class StageShape(serializers.Serializer):
    """One reading against what it should be; what it costs as the waterfall has it (null: not told)."""

    stage = serializers.CharField()
    name = serializers.CharField()
    expected = serializers.FloatField()
    measured = serializers.FloatField()
    unit = serializers.CharField()
    loss_l_min = serializers.FloatField(allow_null=True)
    words = serializers.CharField()


class LossShape(serializers.Serializer):
    """What one stage costs, litres a minute, with its 80 % range."""

    stage = serializers.CharField()
    name = serializers.CharField()
    loss_l_min = serializers.FloatField()
    low_l_min = serializers.FloatField()
    high_l_min = serializers.FloatField()
    words = serializers.CharField()


class EndShape(serializers.Serializer):
    name = serializers.CharField()
    l_min = serializers.FloatField()


class MeterShape(serializers.Serializer):
    """What the meter shows of the bucket; loss and end only where the two do not agree."""

    agrees = serializers.BooleanField()
    share = serializers.FloatField(required=False)
    name = serializers.CharField(required=False)
    loss_l_min = serializers.FloatField(required=False)
    low_l_min = serializers.FloatField(required=False)
    high_l_min = serializers.FloatField(required=False)
    end = EndShape(required=False)
    words = serializers.CharField()


class WaterfallShape(serializers.Serializer):
    """From what would be right by the record to what was measured; untold: what these readings leave open."""

    start = EndShape()
    steps = LossShape(many=True)
    end = EndShape()
    untold = serializers.ListField(child=serializers.CharField())
    meter = MeterShape(required=False)


class OddsShape(serializers.Serializer):
    cause = serializers.CharField()
    odds = serializers.FloatField(help_text="0 to 1, given that something is wrong")


class AnswerShape(serializers.Serializer):
    """What flow is right for this sun and this level, and what to think of what was measured."""

    verdict = serializers.ChoiceField(choices=["as_expected", "below", "above", "cannot_tell"])
    because = serializers.CharField()
    expected_l_min = RangeShape(allow_null=True)
    measured_l_min = serializers.FloatField(allow_null=True)
    ratio = serializers.FloatField(allow_null=True, required=False)
    irradiance_w_m2 = serializers.FloatField(required=False)
    static_level_m = serializers.FloatField(required=False)
    stages = StageShape(many=True)
    waterfall = WaterfallShape(required=False)
    causes = OddsShape(many=True, required=False, help_text="of a kept test on a visit that lies below what is right")
    rests_on = serializers.ListField(child=serializers.CharField())


class RepeatIn(serializers.Serializer):
    litres = Figure(min_value=0, max_value=10_000)
    seconds = Figure(min_value=0, max_value=100_000)


READ = [
    "irradiance_w_m2", "module_isc_a", "cell_c", "air_c", "array_voltage_v", "array_current_a", "output_voltage_v",
    "output_current_a", "flow_l_min", "meter_flow_l_min", "static_level_m", "pumping_level_m", "first_water_min",
    "insulation_mohm", "loop_ohm",
]  # fmt: skip


def _strings(about):
    return serializers.ListField(child=Figure(), max_length=60, required=False, help_text=about)


class SpotIn(serializers.ModelSerializer):
    """One set of readings taken in the same minutes. `key` is made where it was typed: sent twice is kept once."""

    serializer_field_mapping = serializers.ModelSerializer.serializer_field_mapping | {
        field: Figure
        for field, made in serializers.ModelSerializer.serializer_field_mapping.items()
        if made is serializers.FloatField
    }
    at = Moment()
    key = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=SpotTest.Kind.choices, required=False, default=SpotTest.Kind.VISIT)
    repeats = RepeatIn(many=True, required=False, max_length=20)
    no_water = serializers.BooleanField(
        required=False, help_text="no water came; needs watched_min, and no flow beside it"
    )
    watched_min = Figure(
        required=False, allow_null=True, min_value=0, max_value=600,
        help_text="minutes watched, from switching on, without water coming",
    )  # fmt: skip
    string_voltages_v = _strings("open-circuit voltage of each string")
    string_currents_a = _strings("current of each string")

    class Meta:
        model = SpotTest
        fields = [
            "key", "at", "kind", "sun_by", "flow_by", "repeats", "main_was_full", "instrument", "notes",
            "string_voltages_v", "string_currents_a", "no_water", "watched_min", *READ,
        ]  # fmt: skip
        validators = []


class SpotDoubt(serializers.Serializer):
    """A figure of a spot test in doubt; it is settled under its `id`."""

    id = serializers.IntegerField()
    field = serializers.CharField()
    kind = serializers.CharField()
    found = Figure()
    suggested = Figure()
    why = serializers.CharField(source="reason")


class KeptSpot(serializers.Serializer):
    """A kept spot test and its answer."""

    id = serializers.IntegerField()
    key = serializers.UUIDField()
    new = serializers.BooleanField()
    answer = AnswerShape()
    doubts = SpotDoubt(many=True, help_text="figures like a slip; the test is not used until they are settled")


class CausesSaidShape(serializers.Serializer):
    """Of the causes that were given such odds before a visit, how many it found; share null: too few to say."""

    low = serializers.FloatField()
    high = serializers.FloatField()
    said = serializers.IntegerField()
    right = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)


class FindingsHeardShape(serializers.Serializer):
    """How the findings behind it were heard; nameless: for how many of all nobody is named (any more)."""

    telephone = serializers.IntegerField()
    desk = serializers.IntegerField()
    unknown = serializers.IntegerField()
    nameless = serializers.IntegerField()


class AlarmsShape(serializers.Serializer):
    """The one setting of the judgement, about how many days a sudden loss takes to be noticed under it, and whether
    the odds of causes hold."""

    false_alarms_per_100_unit_years = serializers.FloatField()
    days_to_notice = serializers.ListField(child=serializers.DictField())
    said_and_found = CausesSaidShape(many=True)
    findings_heard = FindingsHeardShape()


class AlarmsIn(serializers.Serializer):
    false_alarms_per_100_unit_years = Figure(min_value=0.5, max_value=200)
