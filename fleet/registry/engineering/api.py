"""Choosing by the API: a survey in, every pump of the catalogue out, with why it fits or why not."""

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.registry.engineering import choice, sunlight
from fleet.registry.engineering.forms import SurveyForm
from fleet.registry.models import Site
from fleet.web.rest import Figure, Moment


def _figure(name):
    """The page's field as the API takes it, so that both refuse the same values."""
    field = SurveyForm.base_fields[name]
    return Figure(
        required=field.required, allow_null=not field.required, min_value=field.min_value, max_value=field.max_value,
        help_text=f"{field.label}, {field.unit}",
    )  # fmt: skip


FIGURES = [name for name, field in SurveyForm.base_fields.items() if hasattr(field, "unit") and name != "need_l_day"]


class _Survey(serializers.Serializer):
    """What was found at the well; null or left out where it is not known."""

    need_l_day = serializers.ListField(
        child=Figure(min_value=0, max_value=10_000_000), min_length=1, max_length=12,
        help_text="litres needed a day: one figure for the year, or twelve, January first",
    )  # fmt: skip
    order = serializers.ChoiceField(choices=["margin", "cost"], default="margin")
    site = serializers.CharField(
        required=False, max_length=24, help_text="code of a site whose own sun is taken instead of the default"
    )

    def validate_need_l_day(self, values):
        if len(values) not in (1, 12):
            raise serializers.ValidationError("Give one figure, or twelve.")
        return values


SurveyIn = type("SurveyIn", (_Survey,), {"__doc__": _Survey.__doc__, **{name: _figure(name) for name in FIGURES}})


class SizingCheckShape(serializers.Serializer):
    code = serializers.CharField()
    ok = serializers.BooleanField()
    sentence = serializers.CharField()


class SizingChoiceShape(serializers.Serializer):
    """One pump with one array, pipe and cable; null where it was not got so far."""

    pump = serializers.CharField()
    module = serializers.CharField(allow_null=True)
    in_series = serializers.IntegerField()
    strings = serializers.IntegerField()
    array_w = serializers.FloatField(allow_null=True)
    pipe = serializers.CharField(allow_null=True)
    pipe_length_m = serializers.FloatField(allow_null=True)
    cable = serializers.CharField(allow_null=True)
    cable_length_m = serializers.FloatField(allow_null=True)
    setting_depth_m = serializers.FloatField(allow_null=True)
    head_m = serializers.FloatField(allow_null=True)
    peak_flow_l_min = serializers.FloatField(allow_null=True)
    litres_day = serializers.ListField(child=serializers.FloatField(allow_null=True))
    low_l_day = serializers.ListField(child=serializers.FloatField(allow_null=True))
    worst_month = serializers.IntegerField(allow_null=True, help_text="1 to 12")
    margin = serializers.FloatField(allow_null=True, help_text="of water over need in the worst month, 0.2 is 20 %")
    margin_low = serializers.FloatField(allow_null=True, help_text="the same of what nine years in ten give at least")
    low_by_sun = serializers.FloatField(
        allow_null=True, help_text="share of that month's water that a dull year takes; its square and the next add"
    )
    low_by_model = serializers.FloatField(
        allow_null=True, help_text="share that a unit, array or well below its sheet takes"
    )
    price = serializers.FloatField(allow_null=True)
    fits = serializers.BooleanField()
    smallest = serializers.BooleanField()
    checks = SizingCheckShape(many=True)


class SizingShape(serializers.Serializer):
    """The choices in order; where the sun comes from and how sure it is; pump types left out, with why."""

    climate_source = serializers.CharField()
    climate_sigma = serializers.FloatField()
    left_out = serializers.DictField(child=serializers.CharField())
    choices = SizingChoiceShape(many=True)


class Sizing(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=["registry"], request=SurveyIn, responses=SizingShape)
    def post(self, request):
        """What of the catalogue fits a surveyed well. Nothing is kept."""
        asked = rest.typed(SurveyIn, request)
        order, code = asked.pop("order"), asked.pop("site", None)
        site = get_object_or_404(Site.objects.visible_to(request.user), code=code) if code else None
        need = asked.pop("need_l_day")
        answer, left_out = choice.answer_survey(
            organisation=request.user.organisation, site=site, order=order,
            need_l_day=need if len(need) == 12 else need[0], **asked,
        )  # fmt: skip
        return Response({
            "climate_source": answer.climate_source, "climate_sigma": float(answer.climate_band), "left_out": left_out,
            "choices": choice.rows(answer),
        })  # fmt: skip


class NoonShape(serializers.Serializer):
    at = Moment()
    summer_time = serializers.BooleanField()
    height_deg = serializers.FloatField()
    bearing_deg = serializers.FloatField(help_text="of the sun then, true: 0 or 180")


class FacingShape(serializers.Serializer):
    """Where the array should look."""

    bearing_deg = serializers.FloatField(help_text="true")
    compass_deg = serializers.FloatField()
    declination_deg = serializers.FloatField()
    declination_band_deg = serializers.FloatField()
    tilt_deg = serializers.FloatField(help_text="usual for the place")
    either_way = serializers.BooleanField(help_text="so near the equator that a flat array may look north or south")


class SunNowShape(serializers.Serializer):
    at = Moment()
    bearing_deg = serializers.FloatField()
    compass_deg = serializers.FloatField()
    height_deg = serializers.FloatField(help_text="below 0 at night")


class ShadowShape(serializers.Serializer):
    """The shadow of a straight stick at solar noon, which lies on the true north-south line."""

    at = Moment()
    bearing_deg = serializers.FloatField()
    length_per_m = serializers.FloatField()
    minutes_per_deg = serializers.FloatField(help_text="being so late costs a degree")
    usable = serializers.BooleanField(help_text="false with the sun overhead: then use the pairs")
    pairs = serializers.ListField(
        child=serializers.ListField(child=Moment(), min_length=2, max_length=2),
        help_text="clock times, before and after noon, of equally long shadows",
    )


class ClockRuleShape(serializers.Serializer):
    """What "face the sun at twelve by the clock, at one in summer time" does on that day."""

    at = Moment()
    sun_bearing_deg = serializers.FloatField()
    height_deg = serializers.FloatField()
    error_deg = serializers.FloatField(help_text="clockwise positive")
    minutes_off = serializers.FloatField()


class ErrorCostShape(serializers.Serializer):
    """The share of irradiation that an error costs, 0.05 = 5 %; below 0 a gain."""

    error_deg = serializers.FloatField()
    by_year = serializers.FloatField()
    by_month = serializers.ListField(child=serializers.FloatField(), min_length=12, max_length=12)


class SunHereShape(serializers.Serializer):
    """The sun at a site today; costs are empty where the place's climate is not known."""

    zone = serializers.CharField(help_text="of the site: its clock shows the times below in it")
    noon = NoonShape()
    facing = FacingShape()
    now = SunNowShape()
    shadow = ShadowShape()
    clock_rule = ClockRuleShape()
    clock_rule_by_month = ClockRuleShape(many=True)
    today = SunNowShape(many=True, help_text="every half hour with the sun up")
    noons = NoonShape(many=True, help_text="of the coming fortnight")
    azimuth_error = ErrorCostShape(many=True)
    tilt_error = ErrorCostShape(many=True)
    climate_source = serializers.CharField(allow_blank=True)


class Sun(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=["registry"], responses=SunHereShape, operation_id="site_sun")
    def get(self, request, code):
        """Solar noon by the clock, the bearing to face, the sun's way today, and what an error costs at this site."""
        site = get_object_or_404(Site.objects.visible_to(request.user), code=code)
        return Response(SunHereShape(sunlight.as_told(site)).data)
