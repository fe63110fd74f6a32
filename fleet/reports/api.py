"""The manager's figures for programs."""

from datetime import date

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.permissions import BasePermission
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people.access import may
from fleet.reports.services import read


class ReadsReports(BasePermission):
    message = "Your role does not read reports."

    def has_permission(self, request, view):
        return may(request.user, "read_reports")


class FiguresSerializer(serializers.Serializer):
    """One row of figures; null where it cannot be told."""

    units = serializers.IntegerField()
    delivered_m3 = serializers.FloatField()
    expected_m3 = serializers.FloatField()
    low_m3 = serializers.FloatField()
    high_m3 = serializers.FloatField()
    need_m3 = serializers.FloatField()
    output_ratio = serializers.FloatField(allow_null=True)
    need_ratio = serializers.FloatField(allow_null=True)
    availability = serializers.FloatField(allow_null=True)
    hung = serializers.IntegerField(allow_null=True)
    reported = serializers.IntegerField(allow_null=True)
    down = serializers.IntegerField(allow_null=True)
    idle = serializers.IntegerField(allow_null=True)
    disabled = serializers.IntegerField(allow_null=True)


class MonthSerializer(FiguresSerializer):
    month = serializers.DateField()


class GroupSerializer(FiguresSerializer):
    group = serializers.CharField(allow_null=True)


def _parameters():
    return [
        OpenApiParameter("first", OpenApiTypes.DATE, description="any day of the first month"),
        OpenApiParameter("last", OpenApiTypes.DATE, description="any day of the last month"),
        OpenApiParameter("district", str, description="a district's name"),
        OpenApiParameter("type", str, description="a pump type's name"),
    ]


class _Figures(APIView):
    permission_classes = [ReadsReports]

    def scope(self, request):
        today = timezone.now().date()
        days = {"last": today.replace(day=1), "first": today.replace(year=today.year - 1, day=1)}
        for name in days:
            if name in request.query_params:
                try:
                    days[name] = date.fromisoformat(request.query_params[name])
                except ValueError:
                    raise ValidationError({name: "Give a day as year, month, day, like 2026-03-01."}) from None
        if days["first"] > days["last"] or days["last"].year > 9000:
            raise ValidationError({"last": "The last month lies before the first, or far ahead."})
        filters = {name: request.query_params.get(name) for name in ("district", "type")}
        if any("\x00" in (value or "") for value in filters.values()):
            raise ValidationError({"district": "A name has no empty characters."})
        return read.Scope(request.user.organisation, days["first"], days["last"], filters)


class Summary(_Figures):
    """The whole of the chosen months and part of the fleet in one row."""

    @extend_schema(tags=["figures"], parameters=_parameters(), responses=FiguresSerializer)
    def get(self, request):
        return Response(FiguresSerializer(read.summary(self.scope(request))).data)


class Months(_Figures):
    """One row a month."""

    @extend_schema(tags=["figures"], parameters=_parameters(), responses=MonthSerializer(many=True))
    def get(self, request):
        return Response(MonthSerializer(read.by_month(self.scope(request)), many=True).data)


class Groups(_Figures):
    """One row a group, lowest output ratio first. Groups: type, district, installer, batch, age."""

    @extend_schema(tags=["figures"], parameters=_parameters(), responses=GroupSerializer(many=True))
    def get(self, request, group):
        if group not in read.GROUPS:
            raise NotFound("Groups are: " + ", ".join(read.GROUPS) + ".")
        return Response(GroupSerializer(read.by_group(self.scope(request), group), many=True).data)


class InspectionsSerializer(serializers.Serializer):
    """Inspections due in the chosen months, and how many were made by their day."""

    due = serializers.IntegerField()
    on_time = serializers.IntegerField()
    late = serializers.IntegerField()
    open = serializers.IntegerField()
    overdue_now = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)


class RestorationSerializer(serializers.Serializer):
    """From failure to water again, for shortfalls that ended by a repair in the chosen months; medians in days."""

    cases = serializers.IntegerField()
    detection_days = serializers.FloatField(allow_null=True)
    waiting_days = serializers.FloatField(allow_null=True)
    work_days = serializers.FloatField(allow_null=True)
    total_days = serializers.FloatField(allow_null=True)
    first_visit_share = serializers.FloatField(allow_null=True)


class Inspections(_Figures):
    """Inspections on time."""

    @extend_schema(tags=["figures"], parameters=_parameters(), responses=InspectionsSerializer)
    def get(self, request):
        return Response(InspectionsSerializer(read.inspections(self.scope(request))).data)


class Restoration(_Figures):
    """How fast water came back."""

    @extend_schema(tags=["figures"], parameters=_parameters(), responses=RestorationSerializer)
    def get(self, request):
        return Response(RestorationSerializer(read.restoration(self.scope(request))).data)
