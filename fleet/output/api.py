"""Shortfalls and judged days for programs."""

from datetime import date

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, permissions, serializers
from rest_framework.exceptions import ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.output.models import Evaluation, Shortfall
from fleet.people.access import may, own
from fleet.readings.models import DayRecord
from fleet.registry.models import Installation

MOST_DAYS = 800


class Sees(permissions.BasePermission):
    """Whose role reads the fleet."""

    def has_permission(self, request, view):
        return may(request.user, "read_fleet")


class ShortfallRecord(serializers.ModelSerializer):
    serial = serializers.CharField(source="installation.unit.serial", read_only=True)
    site = serializers.CharField(source="installation.well.site.code", read_only=True)

    class Meta:
        model = Shortfall
        fields = [
            "id", "serial", "site", "state", "ending", "flagged_on", "since", "since_low", "since_high", "lost_l_day",
            "lost_low_l_day", "lost_high_l_day", "lost_fraction", "probability", "causes", "checks", "parts", "danger",
            "people_served", "closed_on", "explained",
        ]  # fmt: skip
        read_only_fields = fields


@extend_schema(
    tags=["judgement"], parameters=[OpenApiParameter("state", str, enum=Shortfall.State.values),
                                    OpenApiParameter("site", str)]
)  # fmt: skip
class Shortfalls(generics.ListAPIView):
    """Shortfalls in the order of the attention list: danger, then lost water times people."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    serializer_class = ShortfallRecord
    queryset = Shortfall.objects.none()
    key_order = ["-weight"]

    def get_queryset(self):
        rows = own(Shortfall.objects.all(), self.request.user, "installation__organisation").select_related(
            "installation__unit", "installation__well__site"
        )
        asked = self.request.query_params
        if asked.get("state") in Shortfall.State.values:
            rows = rows.filter(state=asked["state"])
        if asked.get("site"):
            rows = rows.filter(installation__well__site__code=asked["site"].replace("\0", ""))
        return rows


@extend_schema(tags=["judgement"])
class OneShortfall(generics.RetrieveAPIView):
    """One shortfall."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    serializer_class = ShortfallRecord
    queryset = Shortfall.objects.none()

    def get_queryset(self):
        return own(Shortfall.objects.all(), self.request.user, "installation__organisation")


class DayShape(serializers.Serializer):
    """One local day of an installation: what was due and what was reported. Null: not known."""

    day = serializers.DateField()
    expected_l = serializers.FloatField(allow_null=True)
    low_l = serializers.FloatField(allow_null=True)
    high_l = serializers.FloatField(allow_null=True)
    measured_l = serializers.FloatField(allow_null=True)
    idle = serializers.BooleanField(allow_null=True)
    sun_by = serializers.CharField(allow_null=True)
    reported_l = serializers.FloatField(allow_null=True)
    irradiation_kwh_m2 = serializers.FloatField(allow_null=True)
    standing = serializers.IntegerField(allow_null=True)


class Days(APIView):
    """Judged and reported days of one installation, at most 800 at a time, oldest first."""

    permission_classes = [permissions.IsAuthenticated, Sees]

    @extend_schema(
        tags=["judgement"], responses=DayShape(many=True),
        parameters=[OpenApiParameter("first", OpenApiTypes.DATE, required=True),
                    OpenApiParameter("last", OpenApiTypes.DATE, required=True)],
    )  # fmt: skip
    def get(self, request, pk):
        installation = get_object_or_404(own(Installation.objects.all(), request.user), pk=pk)
        ends = {}
        for name in ("first", "last"):
            try:
                ends[name] = date.fromisoformat(request.query_params.get(name, ""))
            except ValueError:
                raise ValidationError({name: "Give a day as year, month, day, like 2026-03-01."}) from None
        if not 0 <= (ends["last"] - ends["first"]).days < MOST_DAYS:
            raise ValidationError({"last": f"Give at most {MOST_DAYS} days, the first one first."})
        span = {"installation": installation, "day__range": (ends["first"], ends["last"])}
        days = {}
        for row in Evaluation.objects.filter(**span).values(
            "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by"
        ):
            days[row["day"]] = row
        for row in DayRecord.objects.filter(**span).values("day", "volume_l", "irradiation_kwh_m2", "standing"):
            days.setdefault(row["day"], {"day": row["day"]}).update(
                reported_l=row["volume_l"], irradiation_kwh_m2=row["irradiation_kwh_m2"], standing=row["standing"]
            )
        empty = dict.fromkeys(DayShape().fields)
        return Response(DayShape([empty | days[day] for day in sorted(days)], many=True).data)
