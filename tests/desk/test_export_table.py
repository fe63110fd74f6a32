"""Every list leaves the house by a command, too."""

import csv
import inspect
import io
import json
from datetime import date, timedelta

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.urls import get_resolver
from django.utils import timezone
from python_calamine import CalamineWorkbook

from fleet.desk import taking_out
from fleet.intake import services, tables
from fleet.people import services as services_of_people
from fleet.readings.services import keep_days, keep_series
from fleet.registry.models import Installation, Site
from fleet.trail.watch import acting
from fleet.visits.models import Trip
from tests.intake.made import as_csv, sound
from tests.makers.people import a_person, an_organisation
from tests.makers.registry import a_module_type, a_pump_type, a_site, an_installation


@pytest.fixture
def out(organisation, tmp_path):
    def taken(name, file="out.csv", **options):
        call_command("export_table", name, to=tmp_path / file, organisation=organisation.name, verbosity=0, **options)
        return tmp_path / file

    return taken


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


@pytest.fixture
def fleet(organisation, tmp_path):
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")
    path = tmp_path / "in.csv"
    path.write_bytes(as_csv([sound(1, caretaker_name="=1+1"), sound(2), sound(3)]))
    assert services.bring_in_file(table="fleet", path=path, organisation=organisation, word="all").kept
    return organisation


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
@pytest.mark.parametrize("name", [
    "fleet", "sites", "wells", "static_levels", "tanks", "units", "unit_points", "installations", "pump_types",
    "pump_points", "module_types", "pipes", "cables", "districts",
])  # fmt: skip
def test_a_table_taken_out_comes_in_again_and_changes_nothing(name, kind, fleet, out):
    path = out(name, f"out.{kind}")
    again = services.bring_in_file(table=name, path=path, organisation=fleet, word="all")
    assert (again.new, again.changed, again.rejected) == (0, 0, 0) and again.same > 0
    assert again.kept


def test_text_that_a_spreadsheet_would_run_goes_out_harmless_and_comes_back_as_it_was(fleet, out):
    path = out("fleet")
    assert rows_of(path)[0]["caretaker_name"] == "'=1+1"
    services.bring_in_file(table="fleet", path=path, organisation=fleet, word="all")
    assert Site.objects.get(code="NK-1").caretaker_name == "=1+1"


def test_places_go_out_as_geojson_and_what_has_no_place_says_so(fleet, out, amara):
    found = json.loads(out("fleet", "fleet.geojson").read_text())
    assert len(found["features"]) == 3
    assert found["features"][0]["geometry"] == {"type": "Point", "coordinates": [35.6071, 3.121]}
    assert json.loads(out("site_list", "s.geojson").read_text())["features"][0]["properties"]["site_code"] == "NK-1"
    with pytest.raises(CommandError, match="no places: take it out as CSV or XLSX"):
        out("pipes", "pipes.geojson")
    assert not list(out("fleet").parent.glob(".*part"))


READINGS = {"daily_records", "noon_records", "meter_readings", "series", "readings", "spot_tests"}
METER = "serial,time,meter total\nRM-1,2024-06-03 14:30,1000\nRM-1,2024-06-10,2000\nRM-2,2024-06-03 14:30,1\n"
SPOT = ("serial,time,irradiance_w_m2,voltage_v,current_a,bucket_l,seconds\n"
        "RM-1,2024-06-03T09:30:00+03:00,371,49.6,3.55,20.0,161.4\n")  # fmt: skip


@pytest.fixture
def measured(fleet, tmp_path):
    unit = Installation.objects.get(unit__serial="RM-1")
    keep_days(installations=[unit.pk] * 2, days=["2024-06-01", "2024-06-02"], columns={
        "volume_l": [3000.5, 2900.0], "noon_voltage_v": [31.0, float("nan")]})  # fmt: skip
    keep_series(installations=[unit.pk] * 3, days=["2024-06-05"] * 3, seconds=[36000, 36900, 37800],
                columns={"flow_l_min": [10.0, float("nan"), 12.0], "level_m": [20.0, 21.0, 22.0]})  # fmt: skip
    for table, text in (("meter_readings", METER), ("spot_tests", SPOT)):
        path = tmp_path / "r.csv"
        path.write_text(text)
        assert services.bring_in_file(table=table, path=path, organisation=fleet, word="all").kept
    return fleet


@pytest.mark.parametrize("name", sorted(READINGS))
def test_readings_taken_out_come_in_again_and_change_nothing(name, measured, out):
    path = out(name)
    again = services.bring_in_file(table=name, path=path, organisation=measured, word="all")
    assert (again.new, again.changed, again.rejected) == (0, 0, 0) and again.same > 0, again.faults


def test_readings_of_a_stretch_of_days_by_the_sites_own_calendar(measured, out):
    days = rows_of(out("daily_records", since=date(2024, 6, 2), through=date(2024, 6, 30)))
    assert [(r["at"], r["volume_l"]) for r in days] == [("2024-06-02", "2900.0")]
    meter = rows_of(out("meter_readings", since=date(2024, 6, 4)))
    assert [r["at"] for r in meter] == ["2024-06-10"]
    series = rows_of(out("series"))
    assert [(r["at"], r["flow_l_min"]) for r in series] == [
        ("2024-06-05T07:00:00Z", "10.0"), ("2024-06-05T07:15:00Z", ""), ("2024-06-05T07:30:00Z", "12.0"),
    ]  # fmt: skip
    with pytest.raises(CommandError, match="tables of readings only"):
        out("sites", since=date(2024, 6, 4))


def test_lists_of_pages_as_one_person_sees_them(fleet, out, amara, idris):
    assert [len(rows_of(out("site_list", filter=[f"hanging={word}"]))) for word in ("yes", "no")] == [3, 0]
    assert len(rows_of(out("unit_list", login=idris.username))) == 3
    assert {r["Log-in name"] for r in rows_of(out("people"))} >= {amara.username, idris.username}
    with pytest.raises(CommandError, match="does not open this page"):
        out("people", login=idris.username)
    with pytest.raises(CommandError, match="has an open account stranger"):
        out("people", login="stranger")


@pytest.mark.parametrize("name", [*taking_out.PAGES, *taking_out.OF_ONE_UNIT])
@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_each_list_of_a_page_can_be_written(name, kind, measured, out, amara):
    serial = {"serial": "rm-1"} if name in taking_out.OF_ONE_UNIT else {}
    path = out(name, f"out.{kind}", **serial)
    rows = rows_of(path) if kind == "csv" else CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python()
    assert rows or name not in {"site_list", "unit_list", "people", *taking_out.OF_ONE_UNIT}


def test_no_page_that_exports_is_left_out():
    """Whatever page answers `format=csv` has its list here, or is a catalogue shelf, whose tables are."""
    listed = {address for address, _shown in taking_out.PAGES.values()} | {"readings:of", "registry:catalogue",
                                                                          "registry:shelf"}  # fmt: skip
    found = set()
    for room, (_prefix, resolver) in get_resolver().namespace_dict.items():
        for pattern in resolver.url_patterns:
            view = inspect.unwrap(getattr(pattern, "callback", None) or (lambda: None))
            if inspect.isfunction(view) and "export.asked(" in inspect.getsource(view):
                found.add(f"{room}:{pattern.name}")
    assert found == listed


def test_every_list_with_pages_can_be_taken_away():
    """A template that turns pages offers the list to take away, but for the runs of an import, which are long work."""
    lists = {path for path in (settings.BASE_DIR / "templates").rglob("*.html") if "{% pager " in path.read_text()}
    without = {path.name for path in lists if "{% exports" not in path.read_text()}
    assert len(lists) > 12 and without <= {"start.html", "upload.html"}


def test_changes_go_out_a_row_a_field_and_trips_of_either_time(measured, out, amara, nadia, idris):
    with acting(amara, "test"):
        services_of_people.set_false_alarms(organisation=amara.organisation, per_100_unit_years=25.0, by=amara)
    found = [r for r in rows_of(out("changes")) if r["After"] == "25"]
    assert [(r["Who"], r["Change"], r["Before"]) for r in found] == [(str(amara), "changed", "10")]
    today = timezone.localdate()
    for days in (-20, 3):
        Trip.objects.create(organisation=nadia.organisation, technician=idris, day=today + timedelta(days), km=12.5)
    for name, days in (("trips", 3), ("trips_past", -20)):
        (row,) = rows_of(out(name))
        assert (row["Day"], row["Technician"]) == (str(today + timedelta(days)), str(idris))
    with pytest.raises(CommandError, match="does not open this page"):
        out("changes", login=idris.username)


def test_procedures_go_out_a_row_a_step_with_their_cautions(fleet, out, amara):
    steps = rows_of(out("procedures"))
    assert len(steps) > 60 and all(r["What to do"] and r["Step"] for r in steps)
    assert any(r["Cautions"] for r in steps)
    assert {r["On"] for r in rows_of(out("inspection_rules"))} <= {"true", "false"}


def test_every_table_that_comes_in_goes_out():
    assert {t.name for t in tables.all_tables()} <= set(taking_out.names())


def test_what_is_not_there_is_refused_in_words(fleet, out, db):
    for name, options, words in [
        ("nothing", {}, "There is no list nothing"), ("unit_meter", {}, "Say of which unit"),
        ("unit_meter", {"serial": "RM-99"}, "hangs or hung anywhere"), ("attention", {}, "no administrator"),
        ("sites", {"file": "sites.pdf"}, r"must end in \.csv"),
    ]:  # fmt: skip
        with pytest.raises(CommandError, match=words):
            out(name, **options)


def test_nothing_of_another_organisation_goes_out(fleet, out, amara, otto):
    other = an_installation(otto.organisation)
    for name, column in (("fleet", "serial"), ("units", "serial"), ("unit_list", "serial")):
        found = [row.get(column) or row.get("Serial") for row in rows_of(out(name))]
        assert len(found) == 3 and other.unit.serial not in found
    with pytest.raises(CommandError, match="hangs or hung anywhere"):
        out("unit_days", serial=other.unit.serial)


def test_which_organisation_is_asked_where_there_are_several(db, tmp_path):
    one = an_organisation(name="One")
    a_person(one, username="first", role="administrator")
    a_site(one)
    call_command("export_table", "sites", to=tmp_path / "s.csv", verbosity=0)
    assert len(rows_of(tmp_path / "s.csv")) == 1
    an_organisation(name="Two")
    with pytest.raises(CommandError, match="--organisation NAME"):
        call_command("export_table", "sites", to=tmp_path / "s.csv")
    with pytest.raises(CommandError, match="no organisation “Three”"):
        call_command("export_table", "sites", to=tmp_path / "s.csv", organisation="Three")
