"""Lists and records of readings, with the same visibility as the pages; rows come in at the same addresses."""

from datetime import UTC, datetime, time, timedelta

from django.db.models import Q
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.people.access import own
from fleet.readings import services
from fleet.readings.api import shapes
from fleet.readings.api.bring import BRINGS, Brings, RawCSV, RawJSON, taking
from fleet.readings.models import DayRecord, DaySeries, Decision, DroppedDays, MeterReading, Slip, SpotTest, Standing
from fleet.registry.models import Installation
from fleet.registry.narrowing import WHOSE, of_installations

STANDINGS = {"good": Standing.GOOD, "in_doubt": Standing.IN_DOUBT, "corrected": Standing.CORRECTED,
             "set_aside": Standing.SET_ASIDE}  # fmt: skip
BESIDE_A_SLIP = ("other__unit", "settled_by", "decision__taken_back_by")
NOON = ("noon_irradiance_w_m2", "noon_voltage_v", "noon_current_a", "noon_level_m")


class Listed(generics.ListAPIView):
    """Of the person's own organisation, paged by key."""

    permission_classes = rest.READS
    key_order = ["installation_id", "at"]  # as the tables' own keys stand: by time alone the whole table would be read
    standing = "standing"

    def get_queryset(self):
        asked = rest.Asked(self.request)
        rows = of_installations(self.queryset.model.objects.all(), asked, self.request.user)
        if self.standing and (word := asked.choice("standing", STANDINGS)):
            rows = rows.filter(**{self.standing: STANDINGS[word]})
        return self.narrowed(rows, asked).select_related("installation__unit")

    def narrowed(self, rows, asked):
        first, last = asked.days()
        if first:
            rows = rows.filter(at__gte=datetime.combine(first, time(), UTC))
        return rows.filter(at__lt=datetime.combine(last, time(), UTC) + timedelta(days=1)) if last else rows


class ListedDays(Listed):
    """By installation and day, oldest first."""

    key_order = ["installation_id", "day"]

    def narrowed(self, rows, asked):
        first, last = asked.days()
        if first:
            rows = rows.filter(day__gte=first)
        return rows.filter(day__lte=last) if last else rows


class Taking(rest.ByMethod, Brings):
    """A list that takes rows in as well."""

    parser_classes = [RawJSON, RawCSV]
    writing = BRINGS


def listed(*more):
    return extend_schema(tags=["readings"], parameters=[*WHOSE, *rest.days(), *more])


BY_STANDING = rest.words("standing", "whether the figure counts", list(STANDINGS))


class SpotTests(Taking, Listed):
    queryset, serializer_class, table = SpotTest.objects.none(), shapes.SpotTestRecord, "spot_tests"

    @listed(BY_STANDING, rest.words("kind", "", SpotTest.Kind.values))
    def get(self, request):
        """Spot tests, by installation, oldest first; days are counted in UTC."""
        return self.list(request)

    def narrowed(self, rows, asked):
        kind = asked.choice("kind", SpotTest.Kind.values)
        rows = super().narrowed(rows, asked)
        return rows.filter(kind=kind) if kind else rows

    @taking("spot_tests")
    def post(self, request):
        """Spot tests in, many at once."""
        return self.bring(request)


class MeterReadings(Taking, Listed):
    queryset, serializer_class, table = MeterReading.objects.none(), shapes.MeterRecord, "meter_readings"

    @listed(BY_STANDING)
    def get(self, request):
        """Meter readings, by installation, oldest first; days are counted in UTC."""
        return self.list(request)

    @taking("meter_readings")
    def post(self, request):
        """Meter readings in, many at once."""
        return self.bring(request)


class DayRecords(Taking, ListedDays):
    queryset, serializer_class, table = DayRecord.objects.none(), shapes.DayRecordShape, "daily_records"

    @listed(BY_STANDING)
    def get(self, request):
        """What was reported of each local day, by installation, oldest first."""
        return self.list(request)

    @taking("daily_records")
    def post(self, request):
        """Daily volumes in, many at once."""
        return self.bring(request)


class NoonRecords(Taking, ListedDays):
    queryset, serializer_class, table = DayRecord.objects.none(), shapes.NoonRecordShape, "noon_records"
    standing = "noon_standing"

    @listed(BY_STANDING)
    def get(self, request):
        """Noon records, by installation, oldest first."""
        return self.list(request)

    def narrowed(self, rows, asked):
        there = Q()
        for name in NOON:
            there |= Q(**{f"{name}__isnull": False})
        return super().narrowed(rows, asked).filter(there)

    @taking("noon_records")
    def post(self, request):
        """Noon records in, many at once."""
        return self.bring(request)


class Series(Taking, ListedDays):
    queryset, serializer_class, table = DaySeries.objects.none(), shapes.SeriesShape, "series"
    standing, replaces = "", True

    @listed()
    def get(self, request):
        """Records finer than daily: a row an installation and local day, oldest first, at most 100 a page."""
        self.paginator.most = 100
        return self.list(request)

    @taking("series", replaces=True)
    def post(self, request):
        """Records finer than daily in, a row a moment."""
        return self.bring(request)


class Slips(Listed):
    queryset, serializer_class, standing, key_order = Slip.objects.none(), shapes.SlipRecord, "", ["-at"]

    @listed(
        rest.words("state", "", [*Slip.State.values, "settled"]), rest.words("kind", "", Slip.Kind.values),
        rest.words("subject", "", Slip.Subject.values),
    )  # fmt: skip
    def get(self, request):
        """Figures in doubt, settled and waiting, newest first."""
        return self.list(request)

    def narrowed(self, rows, asked):
        state = asked.choice("state", [*Slip.State.values, "settled"])
        if state:
            rows = rows.settled() if state == "settled" else rows.filter(state=state)
        for name, values in (("kind", Slip.Kind.values), ("subject", Slip.Subject.values)):
            if found := asked.choice(name, values):
                rows = rows.filter(**{name: found})
        return super().narrowed(rows, asked).with_other_half().select_related(*BESIDE_A_SLIP)


class One(generics.RetrieveAPIView):
    permission_classes = rest.READS

    def get_queryset(self):
        rows = own(self.queryset.model.objects.all(), self.request.user, "installation__organisation")
        return rows.select_related("installation__unit")


@extend_schema(tags=["readings"])
class OneSpotTest(One):
    """One spot test."""

    queryset, serializer_class = SpotTest.objects.none(), shapes.SpotTestRecord


@extend_schema(tags=["readings"])
class OneMeterReading(One):
    """One meter reading."""

    queryset, serializer_class = MeterReading.objects.none(), shapes.MeterRecord


@extend_schema(tags=["readings"])
class OneSlip(One):
    """One figure in doubt."""

    queryset, serializer_class = Slip.objects.none(), shapes.SlipRecord

    def get_queryset(self):
        return super().get_queryset().with_other_half().select_related(*BESIDE_A_SLIP)


class Settle(APIView):
    permission_classes = rest.doing("settle", gettext_lazy("Your role does not settle figures."))

    @extend_schema(tags=["readings"], request=shapes.SettleIn, responses=shapes.SlipRecord)
    def post(self, request, pk):
        """Settle a figure in doubt: as suggested, another figure, keep it as written, or set it aside.

        As suggested, an exchange of two units' readings settles both, and a meter that started again remembers its
        round and settles every total less than the one before that this explains.
        """
        slip = get_object_or_404(Slip.objects.visible_to(request.user), pk=pk)
        done = services.settle(slip=slip, by=request.user, **rest.typed(shapes.SettleIn, request))
        return Response(shapes.SlipRecord(done).data)


class TakeBack(APIView):
    permission_classes = rest.doing("settle", gettext_lazy("Your role does not settle figures."))

    @extend_schema(tags=["readings"], request=shapes.TakeBackIn, responses=shapes.SlipRecord)
    def post(self, request, pk):
        """Take a settling back, with all that it settled at once: the readings stand as they did, the figures wait
        again, and the judgement goes back to them. Twice changes nothing. Refused where a reading has been changed,
        removed or judged anew since.
        """
        slip = get_object_or_404(Slip.objects.visible_to(request.user), pk=pk)
        typed = rest.typed(shapes.TakeBackIn, request)
        decision = get_object_or_404(
            Decision.objects.visible_to(request.user).filter(slips=slip), pk=typed["decision"]
        )
        services.take_back(decision=decision, by=request.user)
        rows = Slip.objects.with_other_half().select_related("installation__unit", *BESIDE_A_SLIP)
        return Response(shapes.SlipRecord(rows.get(pk=slip.pk)).data)


class AddMeterReading(APIView):
    permission_classes = rest.doing("log", gettext_lazy("Your role does not enter readings."))

    @extend_schema(tags=["readings"], request=shapes.MeterIn, responses={201: shapes.MeterRecord})
    def post(self, request, pk):
        """One figure of the meter, as somebody reads it; a figure lower than the one before is kept in doubt."""
        found = Installation.objects.visible_to(request.user).select_related("unit", "well__site")
        installation = get_object_or_404(found, pk=pk)
        typed = rest.typed(shapes.MeterIn, request)
        reading = services.keep_meter_reading(installation=installation, by=request.user, **typed)
        return Response(shapes.MeterRecord(reading).data, status=status.HTTP_201_CREATED)


class MissingPeriods(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=["readings"], responses=shapes.MissingShape(many=True))
    def get(self, request, pk):
        """Days without a record, or a meter read far later than usual, newest first."""
        found = Installation.objects.visible_to(request.user).select_related("well__site")
        periods = services.missing_periods(get_object_or_404(found, pk=pk))
        return Response(shapes.MissingShape(periods, many=True).data)


class DaysDropped(rest.ByMethod, APIView):
    writing = rest.doing("import", gettext_lazy("Your role does not drop days."))

    def _installation(self, request, pk):
        found = Installation.objects.visible_to(request.user).select_related("well__site")
        return get_object_or_404(found, pk=pk)

    @extend_schema(tags=["readings"], responses=shapes.DroppedShape(many=True), operation_id="dropped_days")
    def get(self, request, pk):
        """Days of which a logger's samples were dropped, the newest deed first; those that were put back too."""
        rows = DroppedDays.objects.of(self._installation(request, pk)).select_related("by", "put_back_by")
        return Response(shapes.DroppedShape(rows, many=True).data)

    @extend_schema(tags=["readings"], request=shapes.DropIn, responses={201: shapes.DroppedShape})
    def post(self, request, pk):
        """Take a logger's samples of some days out of use, with the daily figures worked out of them; they are kept
        beside. What was reported of a day as such, or settled by a person, stays."""
        installation, typed = self._installation(request, pk), rest.typed(shapes.DropIn, request)
        dropped = services.drop_days(
            installation=installation, first=typed["first_day"], last=typed["last_day"], why=typed["why"],
            by=request.user,
        )  # fmt: skip
        return Response(shapes.DroppedShape(dropped).data, status=status.HTTP_201_CREATED)


class PutBack(APIView):
    permission_classes = rest.doing("import", gettext_lazy("Your role does not drop days."))

    @extend_schema(tags=["readings"], request=None, responses=shapes.DroppedShape)
    def post(self, request, pk):
        """Put dropped samples back. Twice changes nothing; refused where samples have come for these days since."""
        dropped = get_object_or_404(DroppedDays.objects.visible_to(request.user), pk=pk)
        return Response(shapes.DroppedShape(services.put_back(dropped=dropped, by=request.user)).data)
