"""Any list to take away, as it is filtered: CSV, XLSX, GeoJSON. Rows stream; nothing is held whole but the workbook.

    COLUMNS = [
        export.Column(_("Code"), "code"),
        export.Column(_("Depth, m"), lambda well: well.depth_m),
    ]
    if export.asked(request):
        return export.answer(request, "wells", COLUMNS, wells.iterator(chunk_size=2000))

GeoJSON needs `place`, a function of a row giving (latitude, longitude) or None.
"""

import csv
import datetime
import decimal
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass

from django.http import FileResponse, Http404, StreamingHttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

FORMATS = ("csv", "xlsx", "geojson")
BATCH = 500  # rows a piece sent
# A cell that begins so is taken for a formula by spreadsheets: an apostrophe makes it text.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Column:
    """A titled column: `value` is a function of the row, or the name of an attribute ("site.name" goes deeper)."""

    title: str
    value: Callable | str

    def read(self, row):
        if callable(self.value):
            return self.value(row)
        found = row
        for name in self.value.split("."):
            found = found.get(name) if isinstance(found, dict) else getattr(found, name, None)
            if found is None:
                return None
        return found() if callable(found) else found


def asked(request):
    return request.GET.get("format") in FORMATS


def answer(request, name, columns, rows, place=None):
    """The list in the format the address asks for. Refuses an unknown format, or GeoJSON of what has no place: 404."""
    wanted = request.GET.get("format")
    if wanted == "csv":
        return _download(csv_lines(columns, rows), f"{name}.csv", "text/csv; charset=utf-8")
    if wanted == "xlsx":
        return xlsx(name, columns, rows)
    if wanted == "geojson" and place is not None:
        return _download(geojson_parts(columns, rows, place), f"{name}.geojson", "application/geo+json")
    raise Http404(_("This list is given as CSV or XLSX."))


def _download(parts, file_name, content_type):
    response = StreamingHttpResponse(parts, content_type=content_type)
    response["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return response


def cell(value):
    """A value as a plain file holds it: numbers with a point, moments in ISO 8601 UTC, yes and no as true and false."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.datetime):
        return value.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ") if timezone.is_aware(value) else (
            value.isoformat()
        )
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, int | float | decimal.Decimal):
        return repr(float(value)) if isinstance(value, float) else str(value)
    return str(value)


def harmless(value):
    """The cell's text, with an apostrophe before what a spreadsheet would compute. Numbers stay numbers."""
    text = cell(value)
    if text.startswith(_FORMULA) and not _is_number(text):
        return "'" + text
    return text


def _is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return not text.startswith("\t")


class _Echo:
    """A file that gives back what is written to it."""

    def write(self, text):
        return text


def csv_lines(columns, rows):
    writer = csv.writer(_Echo())
    # The mark at the start tells spreadsheets that this is UTF-8; readers of CSV skip it.
    yield "\ufeff" + writer.writerow([str(c.title) for c in columns])
    batch = []
    for row in rows:
        batch.append(writer.writerow([harmless(c.read(row)) for c in columns]))
        if len(batch) >= BATCH:
            yield "".join(batch)
            batch = []
    yield "".join(batch)


def xlsx(name, columns, rows):
    """A workbook of one sheet: text as text, never a formula or a link; numbers and days as such."""
    import xlsxwriter

    kept = tempfile.TemporaryFile()  # noqa: SIM115 - handed to the response, which closes it
    options = {
        "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    }  # fmt: skip
    book = xlsxwriter.Workbook(kept, options)
    sheet = book.add_worksheet(name[:31])
    head, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    for at, column in enumerate(columns):
        sheet.write_string(0, at, str(column.title), head)
        sheet.set_column(at, at, max(12, min(len(str(column.title)) + 2, 40)))
    sheet.freeze_panes(1, 0)
    line = 0
    for line, row in enumerate(rows, start=1):  # noqa: B007 - its last value is the sheet's length
        for at, column in enumerate(columns):
            _write(sheet, line, at, column.read(row), day)
    sheet.autofilter(0, 0, line, max(len(columns) - 1, 0))
    book.close()
    kept.seek(0)
    sheet_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return FileResponse(kept, as_attachment=True, filename=f"{name}.xlsx", content_type=sheet_type)


def _write(sheet, line, at, value, day):
    if value is None or value != value or value == "":
        return
    if isinstance(value, bool):
        sheet.write_boolean(line, at, value)
    elif isinstance(value, int | float | decimal.Decimal):
        sheet.write_number(line, at, float(value))
    elif isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        sheet.write_datetime(line, at, datetime.datetime(value.year, value.month, value.day), day)
    else:
        sheet.write_string(line, at, cell(value)[:32_767])


def geojson_parts(columns, rows, place):
    """A FeatureCollection (RFC 7946): longitude first, rows without a place have an empty geometry."""
    yield '{"type":"FeatureCollection","features":['
    first, batch = True, []
    for row in rows:
        feature = {
            "type": "Feature",
            "geometry": _point(place(row)),
            "properties": {str(c.title): _json_value(c.read(row)) for c in columns},
        }
        batch.append(("" if first else ",") + json.dumps(feature, ensure_ascii=False, separators=(",", ":")))
        first = False
        if len(batch) >= BATCH:
            yield "".join(batch)
            batch = []
    yield "".join(batch) + "]}"


def _point(found):
    if found is None or found[0] is None or found[1] is None:
        return None
    return {"type": "Point", "coordinates": [round(found[1], 6), round(found[0], 6)]}


def _json_value(value):
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return value if value == value and value not in (float("inf"), float("-inf")) else None
    return cell(value)
