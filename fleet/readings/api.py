"""Readings for programs: what is kept, and the way in."""

import csv
import io
import tempfile
from pathlib import Path

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, permissions, serializers, status
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import BaseParser, JSONParser
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.intake.run import ALL, GOOD
from fleet.intake.services import bring_in_file
from fleet.people.access import may, own
from fleet.readings.models import MeterReading, Slip, SpotTest
from fleet.web.refusals import Refused

MOST_ROWS = 20_000
MOST_BYTES = 8 * 1024 * 1024


class Sees(permissions.BasePermission):
    """Whose role reads the fleet."""

    def has_permission(self, request, view):
        return may(request.user, "read_fleet")


class Brings(permissions.BasePermission):
    """Whose role may bring tables in."""

    message = "Your role does not bring readings in."

    def has_permission(self, request, view):
        return may(request.user, "import")


def _serial():
    return serializers.CharField(source="installation.unit.serial", read_only=True)


class SpotTestRecord(serializers.ModelSerializer):
    serial = _serial()

    class Meta:
        model = SpotTest
        fields = [
            "id", "serial", "kind", "at", "sun_by", "irradiance_w_m2", "cell_c", "air_c", "array_voltage_v",
            "array_current_a", "flow_by", "flow_l_min", "repeats", "static_level_m", "pumping_level_m",
            "first_water_min", "insulation_mohm", "loop_ohm", "string_voltages_v", "string_currents_a", "standing",
        ]  # fmt: skip
        read_only_fields = fields


class MeterRecord(serializers.ModelSerializer):
    serial = _serial()

    class Meta:
        model = MeterReading
        fields = [
            "id", "serial", "at", "hour_known", "total_l", "new_meter", "rolled_over", "tank_full_seen", "standing",
        ]  # fmt: skip
        read_only_fields = fields


class SlipRecord(serializers.ModelSerializer):
    serial = _serial()

    class Meta:
        model = Slip
        fields = ["id", "serial", "subject", "at", "field", "found", "suggested", "kind", "why", "state", "settled_at"]
        read_only_fields = fields


class Listed(generics.ListAPIView):
    """Of the person's own organisation, newest first, paged by key."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    key_order = ["-at"]

    def get_queryset(self):
        rows = own(self.queryset.model.objects.all(), self.request.user, "installation__organisation")
        serial = (self.request.query_params.get("serial") or "").replace("\0", "")
        if serial:
            rows = rows.filter(installation__unit__serial__iexact=serial)
        return rows.select_related("installation__unit")


BY_SERIAL = extend_schema(tags=["readings"], parameters=[OpenApiParameter("serial", str)])


@BY_SERIAL
class SpotTests(Listed):
    """Spot tests."""

    queryset, serializer_class = SpotTest.objects.none(), SpotTestRecord


@BY_SERIAL
class MeterReadings(Listed):
    """Meter readings."""

    queryset, serializer_class = MeterReading.objects.none(), MeterRecord


@BY_SERIAL
class Slips(Listed):
    """Figures in doubt, settled and waiting."""

    queryset, serializer_class = Slip.objects.none(), SlipRecord


class CsvParser(BaseParser):
    """The body as it came; the tables' own reader finds its way in it."""

    media_type = "text/csv"

    def parse(self, stream, media_type=None, parser_context=None):
        return stream.read(MOST_BYTES + 1)


class FaultShape(serializers.Serializer):
    line = serializers.IntegerField()
    column = serializers.CharField(allow_blank=True)
    found = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()


class BroughtShape(serializers.Serializer):
    """What became of the rows; with faults nothing is kept unless keep_good was asked."""

    rows = serializers.IntegerField()
    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()
    rejected = serializers.IntegerField()
    kept = serializers.BooleanField()
    faults = FaultShape(many=True)


class Bring(APIView):
    """Readings in: a JSON list of rows, or the table as CSV, with the columns of the table `readings`.

    Each row names serial, timestamp with its offset and kind (meter, daily, noon) and its figures. Sent twice changes
    nothing. Every fault is answered by line and column; good rows are kept beside bad ones only with keep_good=1.
    """

    permission_classes = [permissions.IsAuthenticated, Brings]
    parser_classes = [JSONParser, CsvParser]

    @extend_schema(
        tags=["readings"], parameters=[OpenApiParameter("keep_good", bool)],
        request={"application/json": {"type": "array", "maxItems": MOST_ROWS, "items": {"type": "object"}},
                 "text/csv": OpenApiTypes.STR},
        responses={200: BroughtShape, 422: BroughtShape},
    )  # fmt: skip
    def post(self, request):
        body = request.data if isinstance(request.data, bytes) else _as_csv(request.data)
        if len(body) > MOST_BYTES:
            raise ValidationError({"body": f"At most {MOST_BYTES // 2**20} MB at a time. Send it in parts."})
        word = GOOD if request.query_params.get("keep_good") in {"1", "true", "yes"} else ALL
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "readings.csv"
            path.write_bytes(body)
            try:
                outcome = bring_in_file(
                    table="readings", path=path, organisation=request.user.organisation, by=request.user, word=word
                )
            except Refused as refusal:
                raise ValidationError({refusal.field or "body": [str(refusal)]}) from refusal
        answer = {name: getattr(outcome, name) for name in ("rows", "new", "changed", "same", "rejected", "kept")}
        answer["faults"] = [
            {"line": f.line, "column": f.column or "", "found": f.found or "", "sentence": str(f.sentence)}
            for f in outcome.faults if not f.warning
        ]  # fmt: skip
        done = outcome.kept or not answer["faults"]
        return Response(answer, status=status.HTTP_200_OK if done else status.HTTP_422_UNPROCESSABLE_ENTITY)


def _as_csv(rows):
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise ValidationError({"body": "Send a list of rows, each an object with serial, timestamp, kind and figures."})
    if len(rows) > MOST_ROWS:
        raise ValidationError({"body": f"At most {MOST_ROWS} rows at a time. Send them in parts."})
    names = list(dict.fromkeys(str(name) for row in rows for name in row))
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in names])
    return out.getvalue().encode("utf-8", "replace")


def _cell(value):
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, int | float):
        return repr(value)
    return str(value).replace("\0", "").replace("\r", " ").replace("\n", " ")
