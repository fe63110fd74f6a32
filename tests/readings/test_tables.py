"""Readings come in as the spreadsheets that people have."""

import json
from pathlib import Path

import pytest

from fleet.intake.services import bring_in_file
from fleet.readings.models import DayRecord, DaySeries, MeterReading, SpotTest
from tests.makers.registry import a_site, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db
MAPPINGS = Path(__file__).parents[1] / "data" / "sample_fleet_mapping"


@pytest.fixture
def installation(organisation):
    return an_installation(
        unit=a_unit(organisation, serial="RM-7"), well=a_well(a_site(organisation, zone="Africa/Nairobi"))
    )


@pytest.fixture
def bring(organisation, tmp_path):
    def brought(table, text, word="good", mapping=None):
        path = tmp_path / "file.csv"
        path.write_text(text)
        return bring_in_file(table=table, path=path, organisation=organisation, word=word, mapping=mapping)

    return brought


def sentences(outcome):
    return [(fault.line, fault.column, fault.sentence) for fault in outcome.faults]


HEADS = (
    "serial,timestamp,kind,meter_total_l,volume_l,irradiation_kwh_m2,array_voltage_v,array_current_a,irradiance_w_m2,"
    "water_level_m,tank_full_seen\n"
)
MIXED = f"""{HEADS}\
RM-7,2024-06-03T23:45:00+03:00,daily,,3210.5,5.61,,,,,
RM-7,2024-06-03T12:15:00+03:00,noon,,,,30.8,6.318,848.9,10.17,
RM-7,2024-06-04T15:30:00+03:00,meter,945152,,,,,,,1
"""


def test_one_file_of_all_kinds_goes_to_its_places(installation, bring):
    mapping = json.loads((MAPPINGS / "readings.json").read_text())
    outcome = bring("readings", MIXED, mapping=mapping)
    assert (outcome.rejected, outcome.rows) == (0, 3)
    record = DayRecord.objects.get(installation=installation)
    assert (str(record.day), record.volume_l, record.noon_current_a) == ("2024-06-03", 3210.5, 6.318)
    meter = MeterReading.objects.get()
    assert (meter.total_l, meter.tank_full_seen, meter.at.hour) == (945152, True, 12)
    again = bring("readings", MIXED, mapping=mapping)
    assert (again.new, again.changed, again.same) == (0, 0, 3)


def test_a_tick_that_was_left_out_is_neither_full_nor_not_full(installation, bring):
    bring("meter_readings", "serial,time,meter total,tank full\nRM-7,2024-06-03 14:30,1000,\n"
          "RM-7,2024-06-10 14:30,2000,yes\nRM-7,2024-06-17 14:30,3000,no\n")  # fmt: skip
    assert list(MeterReading.objects.order_by("at").values_list("tank_full_seen", flat=True)) == [None, True, False]
    bring("daily_records", "serial,day,volume_l,tank full\nRM-7,2024-06-03,3000,\nRM-7,2024-06-04,3000,no\n")
    assert list(DayRecord.objects.order_by("day").values_list("tank_full_seen", flat=True)) == [None, False]


def test_a_blank_tick_that_comes_later_takes_no_tick_away(installation, bring):
    heads = "serial,time,meter total,tank full\n"
    bring("meter_readings", f"{heads}RM-7,2024-06-03 14:30,1000,yes\n")
    bring("meter_readings", f"{heads}RM-7,2024-06-03 14:30,1000,\n")
    assert MeterReading.objects.get().tank_full_seen is True


def test_a_dry_run_keeps_nothing(installation, bring):
    outcome = bring("readings", MIXED, word="look")
    assert outcome.new + outcome.changed == 3
    assert not outcome.kept
    assert not DayRecord.objects.exists()


def test_times_without_a_zone_and_days_alone_are_the_sites(installation, bring):
    bring("meter_readings", "serial,time,meter total\nRM-7,2024-06-03 14:30,1000\nRM-7,2024-06-10,2000\n")
    first, second = MeterReading.objects.order_by("at")
    assert (first.at.hour, first.at.minute, first.hour_known) == (11, 30, True)
    assert (second.at.hour, second.hour_known) == (9, False)


BAD = [  # table, a row below its heads, the column named, a piece of the sentence
    ("daily_records", "XY-18,2024-06-03,3000", "serial", "No unit with this serial"),
    ("daily_records", "RM-8,2024-06-03,3000", "serial", "No unit RM-8 here; did you mean RM-7?"),
    ("daily_records", "RM-7,03/04/2024,3000", "day", "Could be"),
    ("daily_records", "RM-7,2023-06-03,3000", "day", "hung in no well then"),
    ("daily_records", "RM-7,2124-06-03,3000", "day", "year cannot be right"),
    ("daily_records", "RM-7,2099-06-03,3000", "day", "has not come yet"),
    ("daily_records", "RM-7,2024-06-03,-5", "volume_l", "0"),
    ("daily_records", "RM-7,2024-06-03,3000 L", "volume_l", "without its unit"),
    ("daily_records", "RM-7,2024-06-03,9999999", "volume_l", "500000"),
    ("daily_records", "RM-7,2024-06-03,", "", "Neither a volume"),
]


@pytest.mark.parametrize(("table", "row", "column", "piece"), BAD)
def test_what_cannot_be_is_named_by_line_and_column_and_the_good_rows_stay(
    installation, bring, table, row, column, piece
):
    outcome = bring(table, f"serial,day,volume_l\nRM-7,2024-06-01,3000\n{row}\n")
    [(line, found, sentence)] = sentences(outcome)
    assert (line, found) == (3, column)
    assert piece in sentence
    assert DayRecord.objects.count() == 1


def test_litres_in_cubic_metres_are_converted_by_their_head(installation, bring):
    bring("daily_records", "serial,day,Volume (m3)\nRM-7,2024-06-01,3.25\n")
    assert DayRecord.objects.get().volume_l == 3250


def test_decimal_commas_are_read_where_the_file_writes_them(installation, bring):
    bring("daily_records", "serial;day;volume_l\nRM-7;2024-06-01;3250,5\nRM-7;2024-06-02;12,75\n")
    assert list(DayRecord.objects.order_by("day").values_list("volume_l", flat=True)) == [3250.5, 12.75]


def test_finer_records_make_a_row_a_day(installation, bring):
    rows = "".join(f"RM-7,2024-06-03T{h:02}:{m:02}:00+03:00,10\n" for h in range(6, 18) for m in (0, 15, 30, 45))
    outcome = bring("series", "serial,time,flow_l_min\n" + rows)
    assert (outcome.rows, outcome.rejected) == (48, 0)
    assert len(DaySeries.objects.get().second) == 48
    assert DayRecord.objects.get().volume_l == pytest.approx(10 * 60 * 11.75)


def test_commissioning_tests_come_with_their_fills(installation, bring):
    text = (
        "serial,timestamp,irradiance_w_m2,ambient_c,array_voltage_v,array_current_a,flow_l_min,bucket_l,seconds,"
        "static_level_m,pumping_level_m,minutes_to_first_water,insulation_mohm\n"
        "RM-7,2024-06-03T09:30:00+03:00,371,31.2,49.6,3.55,7.44,20.0,161.4,39.4,40.5,5.2,110.5\n"
        "RM-7,2024-06-03T10:18:00+03:00,906,33.4,46.6,8.41,,20.0,67.1,,42.1,,\n"
    )
    mapping = json.loads((MAPPINGS / "commissioning.json").read_text())
    assert bring("spot_tests", text, mapping=mapping).new == 2
    first, second = SpotTest.objects.order_by("at")
    assert (first.kind, first.sun_by, first.air_c, first.first_water_min) == (
        "commissioning", "reference_cell", 31.2, 5.2,
    )  # fmt: skip
    assert second.flow_l_min == pytest.approx(20 * 60 / 67.1)
    assert bring("spot_tests", text, mapping=mapping).same == 2


def test_another_organisations_serial_is_unknown_here(other_organisation, bring, organisation):
    an_installation(unit=a_unit(other_organisation, serial="RM-9"))
    outcome = bring("daily_records", "serial,day,volume_l\nRM-9,2024-06-01,3000\n")
    assert "No unit" in outcome.faults[0].sentence


def test_a_line_under_a_mistyped_serial_keeps_its_text_and_comes_in_once_it_is_mended(installation, tmp_path):
    organisation = installation.organisation
    path, rejects = tmp_path / "came.csv", tmp_path / "rejects.csv"
    path.write_text("serial,day,volume_l\nRM-7,2024-06-01,3000\nMR-7,2024-06-02,3111\n")
    wants = {"table": "daily_records", "organisation": organisation, "word": "good"}
    outcome = bring_in_file(path=path, rejects=rejects, **wants)
    assert (outcome.new, outcome.rejected) == (1, 1)
    left = rejects.read_text(encoding="utf-8-sig")
    assert "MR-7,2024-06-02,3111,3," in left and "did you mean RM-7?" in left
    rejects.write_text(left.replace("MR-7,", "RM-7,"), encoding="utf-8-sig")
    assert bring_in_file(path=rejects, **wants).new == 1
    assert list(DayRecord.objects.order_by("day").values_list("volume_l", flat=True)) == [3000, 3111]
