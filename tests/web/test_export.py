"""Lists to take away: what a spreadsheet or another program then reads."""

import csv
import datetime
import io
import json

import pytest
from django.http import Http404
from django.test import RequestFactory
from python_calamine import CalamineWorkbook

from fleet.web import export

pytestmark = pytest.mark.django_db  # a response that is closed looks after the database's connections

AT = datetime.datetime(2026, 3, 1, 9, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=3)))
ROWS = [
    {"code": "A-1", "depth": 32.5, "on": datetime.date(2026, 3, 1), "at": AT, "fenced": True, "lat": 1.25, "lon": 36.5},
    {"code": "=1+1", "depth": -4, "on": None, "at": None, "fenced": None, "lat": None, "lon": None},
    {"code": "Ndé, \"the\" well\nby the road", "depth": float("nan"), "on": None, "at": None, "fenced": False},
]
COLUMNS = [
    export.Column("Code", "code"),
    export.Column("Depth, m", lambda row: row["depth"]),
    export.Column("On", "on"),
    export.Column("At", "at"),
    export.Column("Fenced", "fenced"),
]


def answer(form, rows=ROWS, **more):
    return export.answer(RequestFactory().get("/", {"format": form}), "wells", COLUMNS, rows, **more)


def body(response):
    content = b"".join(response.streaming_content)
    response.close()
    return content


def test_csv_is_read_back_as_it_was_but_for_formulas():
    response = answer("csv")
    assert response["Content-Disposition"] == 'attachment; filename="wells.csv"'
    lines = list(csv.reader(io.StringIO(body(response).decode("utf-8-sig"))))
    assert lines == [
        ["Code", "Depth, m", "On", "At", "Fenced"],
        ["A-1", "32.5", "2026-03-01", "2026-03-01T06:30:00Z", "true"],
        ["'=1+1", "-4", "", "", ""],
        ["Ndé, \"the\" well\nby the road", "", "", "", "false"],
    ]


DANGEROUS = [
    ("=HYPERLINK(1)", "'=HYPERLINK(1)"), ("+254 700", "'+254 700"), ("-x", "'-x"), ("@sum", "'@sum"), ("\t=1", "'\t=1"),
    ("\r=1", "'\r=1"), ("-12.5", "-12.5"), ("+3", "+3"), ("-1e5", "-1e5"), ("plain", "plain"), ("", ""), (-3.5, "-3.5"),
    ("12-3", "12-3"), ("-1+cmd", "'-1+cmd"), ("'", "'"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "written"), DANGEROUS)
def test_what_a_spreadsheet_would_compute_becomes_text(value, written):
    assert export.harmless(value) == written


def test_a_workbook_holds_text_as_text_numbers_as_numbers_days_as_days():
    content = body(answer("xlsx"))
    sheet = CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_index(0).to_python()
    assert sheet[0] == ["Code", "Depth, m", "On", "At", "Fenced"]
    assert sheet[1] == ["A-1", 32.5, datetime.date(2026, 3, 1), "2026-03-01T06:30:00Z", True]
    assert sheet[2][:2] == ["=1+1", -4.0]
    assert sheet[3][1] == ""
    import zipfile

    with zipfile.ZipFile(io.BytesIO(content)) as book:
        assert b"<f>" not in book.read("xl/worksheets/sheet1.xml"), "a formula got in"


def test_geojson_has_longitude_first_and_keeps_rows_without_a_place():
    found = json.loads(body(answer("geojson", place=lambda row: (row.get("lat"), row.get("lon")))))
    assert [f["geometry"] for f in found["features"]] == [{"type": "Point", "coordinates": [36.5, 1.25]}, None, None]
    assert found["features"][1]["properties"]["Code"] == "=1+1"
    assert found["features"][2]["properties"]["Depth, m"] is None


def test_no_rows_still_make_whole_files():
    assert body(answer("csv", [])).decode("utf-8-sig") == "Code,\"Depth, m\",On,At,Fenced\r\n"
    assert json.loads(body(answer("geojson", [], place=lambda row: None)))["features"] == []
    assert CalamineWorkbook.from_filelike(io.BytesIO(body(answer("xlsx", [])))).sheet_names == ["wells"]


def test_a_format_that_the_list_cannot_have_is_not_found():
    with pytest.raises(Http404):
        answer("geojson")
    assert not export.asked(RequestFactory().get("/", {"format": "exe"}))


def test_rows_are_read_while_they_are_sent():
    read = []

    def slowly():
        for i in range(2000):
            read.append(i)
            yield {"code": f"A-{i}", "depth": 1.0, "on": None, "at": None, "fenced": None}

    parts = answer("csv", slowly()).streaming_content
    next(parts)
    next(parts)
    assert len(read) < 2000
