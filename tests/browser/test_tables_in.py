"""A coordinator brings her own spreadsheet in: the faults by line, the good rows on her word, the rejects mended."""

import csv
import threading

import pytest
from django.db import connections

from fleet.intake import run, services, tables, tasks
from fleet.jobs import services as jobs
from fleet.jobs.models import Job
from fleet.registry import places
from fleet.registry.models import Installation, Pipe, Site, StaticLevel
from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large
from tests.intake.made import as_csv, as_xlsx, sound
from tests.makers.registry import a_module_type, a_pump_type

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = pytest.mark.parametrize("size", ["phone", "desk"])


@pytest.fixture
def catalogue(organisation):
    places.zone_at(3.1, 35.6)  # reads its tables now, and not while a page waits
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")
    return organisation


def send(page, server, table, path):
    opens(page, server + "/intake/")
    page.get_by_label("What the file holds").select_option(label=table)
    page.get_by_label("File", exact=True).set_input_files(path)
    page.get_by_role("button", name="Send and match the columns").click()
    page.get_by_role("heading", level=1).wait_for()


def looks_right(page, name, size):
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, f"tables-in-{name}-{size}")


def counts(page):
    """The tiles: {"rows read": "3", ...}."""
    words = page.locator("dl.tiles > div").all_inner_texts()
    return {line.split("\n")[0]: line.split("\n")[1] for line in words}


@SIZES
def test_faults_are_listed_good_rows_kept_on_her_word_and_the_mended_rejects_come_in(
    size, page_of, server, nadia, catalogue, tmp_path
):
    wrong = tmp_path / "our pumps.csv"
    wrong.write_bytes(as_csv([
        sound(1), sound(2, rope_length_m="39"), sound(3, well_depth_m="about 60", measured_on="2024-02-30"), sound(4),
    ]))  # fmt: skip
    page = opens(page_of(nadia, size), server + "/intake/")
    looks_right(page, "start", size)
    send(page, server, "Installed fleet, one wide table", wrong)
    looks_right(page, "match", size)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("heading", name="What to mend").wait_for()
    looks_right(page, "faults", size)
    assert not Site.objects.exists()  # looking keeps nothing
    listed = page.locator("tbody tr").all_inner_texts()
    assert len(listed) == 3
    assert all(word in listed[0] for word in ("line 4", "well_depth_m", "about 60", "Give metres as a number"))
    assert all(word in listed[1] for word in ("line 4", "measured_on", "2024-02-30", "There is no such day"))
    assert all(word in listed[2] for word in ("line 3", "rope_length_m", "second hold"))  # a warning, after the faults
    page.get_by_role("button", name="Keep the good rows only").click()
    page.get_by_text("3 rows are kept").wait_for()
    looks_right(page, "kept", size)
    assert set(Installation.objects.values_list("unit__serial", flat=True)) == {"RM-1", "RM-2", "RM-4"}
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Rejected rows as CSV").click()
    rejects = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(rejects)
    with rejects.open(encoding="utf-8-sig", newline="") as handle:
        [row] = csv.DictReader(handle)
    assert row["line"] == "4" and "well_depth_m: Give metres" in row["reason"]
    mended = tmp_path / "mended.csv"
    with mended.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(row))
        writer.writeheader()
        writer.writerow(row | {"well_depth_m": "60", "measured_on": "2024-02-28"})
    send(page, server, "Installed fleet, one wide table", mended)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("button", name="Keep the one row").click()
    page.get_by_text("One row is kept").wait_for()
    assert Installation.objects.filter(unit__serial="RM-3", well__depth_m=60).exists()


@SIZES
def test_heads_that_nobody_knows_are_matched_by_hand_with_their_unit(size, page_of, server, nadia, catalogue, tmp_path):
    path = tmp_path / "rohre.xlsx"
    path.write_bytes(as_xlsx([{"Bezeichnung": "PE 40", "aussen": "4", "Dicke": "0.37"}]))
    page = page_of(nadia, size)
    send(page, server, "Pipes", path)
    page.get_by_text("Still needed: Pipe").wait_for()
    page.get_by_role("heading", name="Say what these 3 columns are").wait_for()
    page.get_by_text("PE 40").wait_for()  # what stands in the column, to know it by
    page.get_by_label("Bezeichnung is").select_option(label="Pipe")
    page.get_by_label("aussen is").select_option("outside_mm")
    page.get_by_label("unit of aussen").select_option("cm")
    page.get_by_label("Dicke is").select_option("wall_mm")
    page.get_by_label("unit of Dicke").select_option("cm")
    looks_right(page, "by-hand", size)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("button", name="Keep the one row").click()
    page.get_by_text("One row is kept").wait_for()
    pipe = Pipe.objects.get()
    assert (pipe.name, pipe.outside_mm, pipe.wall_mm) == ("PE 40", 40, 3.7)
    send(page, server, "Pipes", path)  # the matching is remembered for the next file with the same heads
    assert page.get_by_label("aussen is").input_value() == "outside_mm"
    assert page.get_by_label("unit of aussen").input_value() == "cm"


@SIZES
def test_days_that_could_be_read_two_ways_are_asked(size, page_of, server, nadia, catalogue, tmp_path):
    rows = [sound(n, measured_on=f"{n}/4/2024", commissioned_on=f"{n + 11}/4/2024") for n in range(1, 4)]
    path = tmp_path / "days.csv"
    path.write_bytes(as_csv(rows))
    page = page_of(nadia, size)
    send(page, server, "Installed fleet, one wide table", path)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("heading", name="Which comes first, the day or the month?").wait_for()
    page.get_by_text("“commissioned_on” writes the day first, as 13/4/2024 in line 3 shows.").wait_for()
    looks_right(page, "days", size)
    page.get_by_label("measured_on").select_option(label="1 April 2024 (day first)")
    page.get_by_role("button", name="Look it through again").click()
    page.get_by_role("button", name="Keep all 3 rows").click()
    page.get_by_text("3 rows are kept").wait_for()
    assert [f"{level.measured_on}" for level in StaticLevel.objects.order_by("measured_on")] == [
        "2024-04-01", "2024-04-02", "2024-04-03",
    ]  # fmt: skip


class Gate:
    """Stops the reading of a file before its third chunk until it is opened."""

    def __init__(self, monkeypatch):
        self.reached, self.open = threading.Event(), threading.Event()
        chunks, keep = [], run._Reading._chunk

        def chunk(reading, rows):
            chunks.append(rows)
            if len(chunks) == 3:
                self.reached.set()
                self.open.wait(60)
            keep(reading, rows)

        monkeypatch.setattr(run._Reading, "_chunk", chunk)
        monkeypatch.setattr(tables.find("pipes"), "chunk", 50, raising=False)


@pytest.fixture
def worker(monkeypatch):
    """Work is done behind, by a thread that the test starts."""
    monkeypatch.setattr(services, "AT_ONCE_BYTES", 0)
    monkeypatch.setattr(jobs, "wake", lambda *arguments: True)

    def begun():
        def work():
            try:
                tasks.read(str(Job.objects.get(state="waiting").pk))
            finally:
                connections.close_all()

        thread = threading.Thread(target=work)
        thread.start()
        return thread

    return begun


@SIZES
def test_a_large_file_shows_how_far_it_is_and_goes_on_when_the_browser_is_closed(
    size, page_of, server, nadia, organisation, tmp_path, worker, monkeypatch, request
):
    path = tmp_path / "many.csv"
    path.write_bytes(as_csv([{"name": f"Pipe {n}", "outside_mm": "32", "wall_mm": "3.0"} for n in range(400)]))
    gate = Gate(monkeypatch)
    page = page_of(nadia, size)
    send(page, server, "Pipes", path)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_text("Waiting for a worker").wait_for()
    thread = worker()
    request.addfinalizer(lambda: (gate.open.set(), thread.join(60)))  # whatever else fails, it ends with the test
    assert gate.reached.wait(30)
    page.get_by_text("reading rows").wait_for()
    page.get_by_text("51 done of 402").wait_for()  # lines of the file, told once a second at most
    page.get_by_text("You can close this page; the work goes on").wait_for()
    looks_right(page, "progress", size)
    page.close()
    gate.open.set()
    thread.join(60)
    again = opens(page_of(nadia, size), server + "/jobs/")
    again.get_by_role("link", name="Looking through many.csv").click()
    again.get_by_role("link", name="What came of it").click()
    again.get_by_role("button", name="Keep all 400 rows").wait_for()
    looks_right(again, "looked-behind", size)
    assert counts(again)["rows read"] == "400" and not Pipe.objects.exists()
