"""Baselines, judged days, flags and shortfalls for programs: lists by key and single records."""

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema
from rest_framework import generics
from rest_framework.exceptions import ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.output.advice import CAUSES
from fleet.output.api import shapes
from fleet.output.models import Baseline, Evaluation, Flag, Shortfall
from fleet.people import rest
from fleet.people.access import own
from fleet.readings.models import DayRecord
from fleet.registry.models import Installation
from fleet.registry.narrowing import WHOSE, of_installations

TAGS = ["judgement"]
MOST_DAYS = 800


class Listed(generics.ListAPIView):
    permission_classes = rest.READS
    joined = ("installation__unit", "installation__well__site")
    day = "day"

    def get_queryset(self):
        asked = rest.Asked(self.request)
        rows = of_installations(self.queryset.model.objects.all(), asked, self.request.user)
        if self.day:
            first, last = asked.days()
            rows = rows.filter(**{f"{self.day}__gte": first}) if first else rows
            rows = rows.filter(**{f"{self.day}__lte": last}) if last else rows
        return self.narrowed(rows, asked).select_related(*self.joined)

    def narrowed(self, rows, asked):
        return rows


class Shortfalls(Listed):
    queryset, serializer_class, key_order = Shortfall.objects.none(), shapes.ShortfallRecord, ["-weight"]
    joined = ("installation__unit__pump_type", "installation__well__site__district")
    day = "flagged_on"

    @extend_schema(tags=TAGS, parameters=[
        *WHOSE, *rest.days(), rest.words("state", "", Shortfall.State.values),
        rest.words("cause", "the likeliest one", list(CAUSES)),
        rest.figure("min_probability", 0, 1, "at least so sure that something is wrong"),
        rest.figure("min_lost_l_day", 0, 1e6, "at least so much water a day"),
    ])  # fmt: skip
    def get(self, request):
        """Shortfalls in the order of the attention list: danger, then lost water times people. Days: flagged on."""
        return self.list(request)

    def narrowed(self, rows, asked):
        if state := asked.choice("state", Shortfall.State.values):
            rows = rows.filter(state=state)
        if cause := asked.choice("cause", list(CAUSES)):
            rows = rows.filter(causes__0__cause=cause)
        for name, path, high in (("min_probability", "probability", 1), ("min_lost_l_day", "lost_l_day", 1e6)):
            least = asked.figure(name, 0, high)
            rows = rows.filter(**{f"{path}__gte": least}) if least is not None else rows
        return rows


@extend_schema(tags=TAGS)
class OneShortfall(generics.RetrieveAPIView):
    """One shortfall, with each day on which it was raised."""

    permission_classes = rest.READS
    serializer_class, queryset = shapes.WholeShortfall, Shortfall.objects.none()

    def get_queryset(self):
        rows = own(Shortfall.objects.all(), self.request.user, "installation__organisation")
        return rows.select_related(*Shortfalls.joined).prefetch_related(Prefetch("flags", Flag.objects.all()))


class Flags(Listed):
    queryset, serializer_class, key_order = Flag.objects.none(), shapes.FlagRecord, ["-flagged_on"]
    day = "flagged_on"

    @extend_schema(tags=TAGS, parameters=[*WHOSE, *rest.days()])
    def get(self, request):
        """Each day on which a shortfall was raised or raised again, newest first."""
        return self.list(request)


class Evaluations(Listed):
    queryset, serializer_class = Evaluation.objects.none(), shapes.EvaluationRecord
    key_order, joined = ["installation_id", "day"], ("installation__unit",)

    @extend_schema(tags=TAGS, parameters=[*WHOSE, *rest.days()])
    def get(self, request):
        """Judged days over the fleet, by installation, oldest first: what was due and what came."""
        return self.list(request)

    def narrowed(self, rows, asked):
        return rows.defer("observation")


class Baselines(Listed):
    queryset, serializer_class, key_order = Baseline.objects.none(), shapes.BaselineRecord, ["installation_id"]
    day = None

    @extend_schema(tags=TAGS, parameters=[*WHOSE, rest.flag("trouble", "of which nothing can be computed, with why"),
                                          rest.flag("hanging")])  # fmt: skip
    def get(self, request):
        """What each installation should give, by installation."""
        return self.list(request)

    def narrowed(self, rows, asked):
        trouble, hanging = asked.flag("trouble"), asked.flag("hanging")
        if trouble is not None:
            rows = rows.in_trouble() if trouble else rows.computed()
        if hanging is not None:
            rows = rows.filter(installation__period__upper_inf=hanging)
        return rows.defer("table", "card", "by_kind_l_day", "start_hour", "stop_hour")


@extend_schema(tags=TAGS)
class OneBaseline(generics.RetrieveAPIView):
    """What one installation should give, with its card of flow by sun and level. Known by the installation's id."""

    permission_classes = rest.READS
    serializer_class, queryset = shapes.WholeBaseline, Baseline.objects.none()

    def get_queryset(self):
        rows = own(Baseline.objects.defer("table"), self.request.user, "installation__organisation")
        return rows.select_related("installation__unit", "installation__well__site")


class Days(APIView):
    """Judged and reported days of one installation, at most 800 at a time, oldest first."""

    permission_classes = rest.READS

    @extend_schema(
        tags=TAGS, responses=shapes.DayShape(many=True),
        parameters=[rest.day("first", required=True), rest.day("last", required=True)],
    )  # fmt: skip
    def get(self, request, pk):
        installation = get_object_or_404(own(Installation.objects.all(), request.user), pk=pk)
        asked = rest.Asked(request)
        ends = {name: asked.needed_day(name) for name in ("first", "last")}
        if not 0 <= (ends["last"] - ends["first"]).days < MOST_DAYS:
            raise ValidationError({"last": rest.at_most_days(MOST_DAYS)})
        span = {"installation": installation, "day__range": (ends["first"], ends["last"])}
        days = {}
        for row in Evaluation.objects.filter(**span).values(
            "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "dry", "sun_by"
        ):
            days[row["day"]] = row
        for row in DayRecord.objects.filter(**span).values("day", "volume_l", "irradiation_kwh_m2", "standing"):
            days.setdefault(row["day"], {"day": row["day"]}).update(
                reported_l=row["volume_l"], irradiation_kwh_m2=row["irradiation_kwh_m2"], standing=row["standing"]
            )
        empty = dict.fromkeys(shapes.DayShape().fields)
        return Response(shapes.DayShape([empty | days[day] for day in sorted(days)], many=True).data)
