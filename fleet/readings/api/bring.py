"""The way in for programs: JSON, CSV and SenML through the tables that files go through."""

import json
from dataclasses import asdict

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.intake import tables
from fleet.intake.errors import WrongFile
from fleet.people import rest
from fleet.readings import bringing
from fleet.readings.api import shapes
from fleet.readings.senml import looks_like_pack, names

MOST_ROWS = 20_000
MOST_BYTES = 8 * 1024 * 1024
BRINGS = rest.doing("import", gettext_lazy("Your role does not bring readings in."))
KEEP_GOOD = rest.flag("keep_good", "keep the good rows beside bad ones")
REPLACE = rest.flag("replace", "drop what stood of the days that come, instead of merging with it; it can be put back")
LOOK = rest.flag("look", "only look: every fault is told and nothing is kept")


class Raw(BaseParser):
    """The body as it came, so that each fault can be told with its place."""

    def parse(self, stream, media_type=None, parser_context=None):
        return stream.read(MOST_BYTES + 1)


class RawJSON(Raw):
    media_type = "application/json"


class RawCSV(Raw):
    media_type = "text/csv"


class RawSenML(Raw):
    media_type = "application/senml+json"


def _wrong(sentence, code="invalid", field="body"):
    return ValidationError({field: [ErrorDetail(sentence, code)]})


class Brings:
    """A view that takes rows of one table by POST."""

    table = ""
    senml = False
    replaces = False

    def bring(self, request):
        body = request.data if isinstance(request.data, bytes) else b""
        if not body:
            raise _wrong(_("There is nothing in the body."), "empty")
        if len(body) > MOST_BYTES:
            sentence = _("At most %(most)d MB at a time. Send it in parts.") % {"most": MOST_BYTES // 2**20}
            raise _wrong(sentence, "too_big")
        asked = rest.Asked(request)
        word = bringing.word_for(keep_good=asked.flag("keep_good"), look=asked.flag("look"))
        kind = request.content_type.partition(";")[0].strip().lower()
        try:
            replace = {"replace": bool(asked.flag("replace"))} if self.replaces else {}
            brought = self._brought(kind, body, request.user, word, replace)
        except WrongFile as refusal:
            raise _wrong(str(refusal), refusal.code) from refusal
        looked = word == bringing.LOOK
        bad = brought.errors and not brought.kept and not looked
        code = status.HTTP_422_UNPROCESSABLE_ENTITY if bad else status.HTTP_200_OK
        return Response(shapes.BroughtShape(asdict(brought)).data, status=code)

    def _brought(self, kind, body, person, word, replace):
        if kind == "text/csv":
            return bringing.bring_csv(table=self.table, body=body, by=person, word=word, **replace)
        if kind == "application/senml+json":
            return bringing.bring_senml(body=body, by=person, word=word)
        rows = _rows(body)
        if self.senml and looks_like_pack(rows):
            return bringing.bring_senml(body=body, by=person, word=word)
        for number, row in enumerate(rows, 1):
            if not isinstance(row, dict):
                sentence = _("Row %(number)d is no object. Send a list of objects, one a row.") % {"number": number}
                raise _wrong(sentence, "not_a_row")
        return bringing.bring_json(table=self.table, rows=rows, by=person, word=word, **replace)


def _rows(body):
    try:
        rows = json.loads(body.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        sentence = _("This is not JSON: %(why)s.") % {"why": str(error).encode("utf-8", "replace").decode()[:120]}
        raise _wrong(sentence, "not_json") from None
    if not isinstance(rows, list):
        raise _wrong(_("Send a list of objects, one a row."), "not_a_list")
    if not 0 < len(rows) <= MOST_ROWS:
        raise _wrong(_("Send between 1 and %(most)d rows at a time.") % {"most": MOST_ROWS}, "too_many")
    return rows


# -- how it stands in the description ----------------------------------------------------------------------------------


def row_schema(name):
    """The columns of a table as a JSON object."""
    table = tables.find(name)
    properties = {column.name: _property(column) for column in table.columns}
    needed = [column.name for column in table.columns if column.required]
    return {"type": "object", "properties": properties, "required": needed, "title": str(table.title)}


def _property(column):
    choices = getattr(column.read, "choices", None)
    about = ", ".join(filter(None, [str(column.title), column.wanted_unit, str(column.note)]))
    if choices:
        return {"type": "string", "enum": list(choices), "description": about}
    if column.read.__name__ == "yes_no":
        return {"type": "boolean", "nullable": True, "description": about}
    if column.read.__module__.endswith("numbers"):
        return {"type": "number", "nullable": True, "description": about, "example": _figure(column.shown_example)}
    return {"type": "string", "description": about, "example": column.shown_example}


def _figure(text):
    try:
        return float(text)
    except ValueError:
        return None


SENML = {
    "type": "array", "minItems": 1,
    "items": {
        "type": "object",
        "properties": {
            "bn": {"type": "string", "example": "RM00012/"}, "bt": {"type": "number"}, "bu": {"type": "string"},
            "bv": {"type": "number"}, "bs": {"type": "number"}, "bver": {"type": "integer", "minimum": 1},
            "n": {"type": "string", "example": "flow"}, "u": {"type": "string", "example": "l/min"},
            "v": {"type": "number", "example": 14.2}, "vs": {"type": "string"}, "vb": {"type": "boolean"},
            "vd": {"type": "string"}, "s": {"type": "number"}, "t": {"type": "number"}, "ut": {"type": "number"},
        },
    },
}  # fmt: skip


def _told():
    """What the guide says about sending readings; the names as the code knows them."""
    lines = [
        "Readings in: rows of several kinds as JSON or CSV, or a SenML pack (RFC 8428).",
        "Each row names serial, time and kind (meter, daily, noon) and its figures; the same rows by kind go to "
        "`meter-readings/`, `day-records/`, `noon-records/`, `series/` and `spot-tests/`. Sent twice changes nothing. "
        "With an error nothing is kept, unless `keep_good=1` asks for the good rows.",
        "**SenML names** are `SERIAL/quantity`; anything may stand before the serial that ends in `/` or `:`, and a "
        "sign of the serial that SenML does not allow in names is written `_`. Times below 2^28 count from now. A "
        "field that is not known is passed over, unless it ends in `_`. Names without a group are samples of a logger; "
        "`day/` is the local day the time is in, `noon/` the mean of the quarter hour at solar noon, and all `test/` "
        "of one moment make one spot test, of a visit unless `test/kind` says otherwise. The sum `s` of a flow, its "
        "value over seconds, is the meter's total.",
        "| name | sent as | kept in |\n|---|---|---|\n" + "\n".join(
            f"| `{name}` | {_sent(quantity.units)} | `{quantity.table}`: `{quantity.column}` |"
            for name, quantity in names.NAMES.items()
        ),
    ]  # fmt: skip
    return "\n\n".join(lines)


def _sent(units):
    if units is names.TEXT:
        return "`vs`"
    if units is names.FLAG:
        return "`vb`"
    return "`v` in " + ", ".join(f"`{unit}`" for unit in units)


NAMES_TOLD = _told()


def taking(table, *, senml=False, replaces=False, description=None):
    """The decorator that describes a POST of rows."""
    rows = {"type": "array", "minItems": 1, "maxItems": MOST_ROWS, "items": row_schema(table)}
    request = {"application/json": rows, "text/csv": OpenApiTypes.STR}
    if senml:
        request["application/senml+json"] = SENML
    return extend_schema(
        tags=["readings"], parameters=[KEEP_GOOD, LOOK, *([REPLACE] if replaces else [])], request=request,
        responses={200: shapes.BroughtShape, 422: shapes.BroughtShape}, description=description,
    )  # fmt: skip


class Bring(Brings, APIView):
    """Readings of several kinds."""

    permission_classes = BRINGS
    parser_classes = [RawJSON, RawCSV, RawSenML]
    table, senml = "readings", True

    @taking("readings", senml=True, description=NAMES_TOLD)
    def post(self, request):
        return self.bring(request)
