"""What the pages across the rooms show, for programs: attention, a unit's whole life, a technician's day, the map."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.desk import services, silence
from fleet.output.models import Shortfall
from fleet.people import rest
from fleet.registry.models import District, Installation, PumpType, Unit

TAGS = ["desk"]


class PlannedShape(serializers.Serializer):
    key = serializers.UUIDField()
    planned_on = serializers.DateField(allow_null=True)
    technician = serializers.CharField(allow_null=True)


class AttentionShape(serializers.ModelSerializer):
    serial = serializers.CharField(source="installation.unit.serial", read_only=True)
    site = serializers.CharField(source="installation.well.site.code", read_only=True)
    site_name = serializers.CharField(source="installation.well.site.name", read_only=True)
    district = serializers.CharField(source="installation.well.site.district.name", read_only=True)
    pump_type = serializers.CharField(source="installation.unit.pump_type.name", read_only=True)
    visit = PlannedShape(read_only=True, allow_null=True, help_text="the first visit planned to it")

    class Meta:
        model = Shortfall
        fields = [
            "id", "installation", "serial", "site", "site_name", "district", "pump_type", "state", "danger", "since",
            "lost_l_day", "lost_fraction", "people_served", "probability", "causes", "visit",
        ]  # fmt: skip
        read_only_fields = fields


@extend_schema(tags=TAGS, parameters=[
    rest.words("district"), rest.words("pump_type"), rest.words("state", "", ["open", "noted"]),
    rest.flag("assigned", "somebody goes"), rest.words("q", "part of a site's name, village, caretaker or serial"),
])  # fmt: skip
class Attention(generics.ListAPIView):
    """What needs attention: danger first, then lost water times people, with the visit planned to each."""

    permission_classes = rest.READS
    serializer_class = AttentionShape
    queryset = Shortfall.objects.none()
    key_order = ["-weight"]

    def get_queryset(self):
        asked, person = rest.Asked(self.request), self.request.user
        chosen = {"state": asked.choice("state", ["open", "noted"]) or "open", "assigned": asked.flag("assigned"),
                  "search": asked.text("q", 80)}  # fmt: skip
        for name, model in (("district", District), ("pump_type", PumpType)):
            if found := asked.text(name):
                row = model.objects.filter(organisation=person.organisation_id, name=found).first()
                chosen[name] = row.pk if row else -1
        return services.attention(person, **chosen)

    def paginate_queryset(self, queryset):
        rows = super().paginate_queryset(queryset)
        visits = services.planned_visits([row.installation_id for row in rows])
        for row in rows:
            planned = visits.get(row.installation_id)
            row.visit = dict(zip(("key", "planned_on", "technician"), planned, strict=True)) if planned else None
        return rows


class CountsShape(serializers.Serializer):
    today = serializers.DateField(help_text="the day at most of the organisation's sites")
    open = serializers.IntegerField()
    danger = serializers.IntegerField()
    calls = serializers.IntegerField()
    slips = serializers.IntegerField()
    visits_today = serializers.IntegerField()
    overdue_inspections = serializers.IntegerField()
    silent = serializers.IntegerField(help_text="units that should have reported since they last did")


class Counts(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, responses=CountsShape)
    def get(self, request):
        """The figures above the attention list."""
        return Response(CountsShape(services.head_of_attention(request.user)).data)


class SilentShape(serializers.ModelSerializer):
    """A unit that should have reported since it last did."""

    installation = serializers.IntegerField(source="pk", read_only=True)
    serial = serializers.CharField(source="unit.serial", read_only=True)
    site = serializers.CharField(source="well.site.code", read_only=True)
    site_name = serializers.CharField(source="well.site.name", read_only=True)
    district = serializers.CharField(source="well.site.district.name", read_only=True)
    people_served = serializers.IntegerField(source="well.site.people_served", read_only=True)
    last_reported = serializers.SerializerMethodField(help_text="null: never since it was hung")
    state = serializers.SerializerMethodField(help_text="as the map words it")

    class Meta:
        model = Installation
        fields = [
            "installation", "serial", "site", "site_name", "district", "people_served", "instrument_level",
            "last_reported", "state",
        ]  # fmt: skip
        read_only_fields = fields

    def get_last_reported(self, row) -> date | None:
        return silence.heard(row).last

    def get_state(self, row) -> str:
        return services.state_of(row)[1]


@extend_schema(tags=TAGS, parameters=[
    rest.words("district"), rest.words("q", "part of a site's name, village, caretaker or serial"),
])  # fmt: skip
class Silent(generics.ListAPIView):
    """Units that should have reported since they last did: most people served first."""

    permission_classes = rest.READS
    serializer_class = SilentShape
    queryset = Installation.objects.none()
    key_order = ["-well__site__people_served"]

    def get_queryset(self):
        asked = rest.Asked(self.request)
        chosen = {"search": asked.text("q", 80)}
        if found := asked.text("district"):
            row = District.objects.filter(organisation=self.request.user.organisation_id, name=found).first()
            chosen["district"] = row.pk if row else -1
        return services.silent_list(self.request.user, **chosen)


class FactShape(serializers.Serializer):
    name = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField()


class MomentShape(serializers.Serializer):
    at = serializers.DateTimeField()
    kind = serializers.CharField()
    title = serializers.CharField()
    text = serializers.CharField()
    facts = FactShape(many=True)


class Life(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, parameters=[rest.day("from", "left out: the last 400 days")],
                   responses=MomentShape(many=True))  # fmt: skip
    def get(self, request, pk):
        """Everything that happened to a unit, newest first, wherever it hung."""
        unit = get_object_or_404(Unit.objects.visible_to(request.user).select_related("pump_type"), pk=pk)
        since = rest.Asked(request).day("from")
        zone = ZoneInfo("UTC")
        first = timezone.datetime(since.year, since.month, since.day, tzinfo=zone) if since else (
            timezone.now() - timedelta(days=400))  # fmt: skip
        moments, _installations = services.life(unit, first=first)
        rows = [
            {"at": one.at, "kind": one.kind, "title": str(one.title), "text": str(one.text or ""),
             "facts": [{"name": str(name), "value": value, "unit": unit} for name, value, unit in one.facts]}
            for one in moments
        ]  # fmt: skip
        return Response(MomentShape(rows, many=True).data)


class StopShape(serializers.Serializer):
    """One of a technician's visits."""

    key = serializers.UUIDField()
    kind = serializers.CharField()
    state = serializers.CharField()
    why = serializers.CharField()
    planned_on = serializers.DateField(allow_null=True)
    site = serializers.CharField(source="site.code")
    site_name = serializers.CharField(source="site.name")
    latitude_deg = serializers.FloatField(source="site.latitude_deg")
    longitude_deg = serializers.FloatField(source="site.longitude_deg")
    serial = serializers.CharField(source="installation.unit.serial", allow_null=True, default=None)


class PartShape(serializers.Serializer):
    part = serializers.CharField()
    visits = serializers.IntegerField(help_text="how many of the day's visits want it")


class MyDayShape(serializers.Serializer):
    day = serializers.DateField()
    today = StopShape(many=True)
    waiting = StopShape(many=True)
    coming = StopShape(many=True)
    parts = PartShape(many=True)


class MyDay(APIView):
    permission_classes = rest.doing("own_day")

    @extend_schema(tags=TAGS, parameters=[rest.day("day", "left out: today at most sites")],
                   responses=MyDayShape)  # fmt: skip
    def get(self, request):
        """Your own visits of a day in the order they are driven, what waits from before, and what to put in the car."""
        today = timezone.now().astimezone(ZoneInfo(services.zone_of(request.user))).date()
        day = rest.Asked(request).day("day") or today
        found = services.day_of(request.user, day)
        parts = [{"part": str(part), "visits": n} for part, n in services.parts_for(found["today"])]
        return Response(MyDayShape({"day": day, **found, "parts": parts}).data)


class Places(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, responses={(200, "application/geo+json"): OpenApiTypes.OBJECT})
    def get(self, request):
        """The fleet's places and states as GeoJSON (RFC 7946), all at once."""
        return Response(services.map_features(request.user), content_type="application/geo+json")
