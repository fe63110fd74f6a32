"""Readings in by programs: JSON, CSV and SenML through the same tables; twice is once; faults with their place."""

import json
import time
from datetime import UTC, date, datetime

import pytest

from fleet.people.services import make_token, revoke_token
from fleet.readings.models import DayRecord, DaySeries, MeterReading, SpotTest
from tests.makers.registry import an_installation

ROOT = "/api/v1/"


@pytest.fixture
def one(organisation):
    return an_installation(organisation)


def sends(api, body, kind="application/json", to="readings/"):
    body = body if isinstance(body, bytes | str) else json.dumps(body)
    return api.generic("POST", ROOT + to, body, content_type=kind)


def senml(api, pack, to="readings/"):
    return sends(api, pack, "application/senml+json", to)


# -- JSON and CSV ------------------------------------------------------------------------------------------------------


def test_rows_sent_twice_are_kept_once_and_faults_name_row_and_field(one, nadia, api_of):
    api, serial = api_of(nadia), one.unit.serial
    rows = [
        {"serial": serial, "timestamp": "2026-03-05T23:45:00+03:00", "kind": "daily", "volume_l": 4200.5},
        {"serial": serial, "timestamp": "2026-03-06T16:00:00+03:00", "kind": "meter", "meter_total_l": 52000},
    ]
    first = sends(api, rows)
    assert first.status_code == 200 and first.json()["new"] == 2 and first.json()["kept"]
    assert DayRecord.objects.get(installation=one).volume_l == 4200.5
    assert sends(api, rows).json()["same"] == 2
    wrong = [*rows, {**rows[0], "serial": "NOBODYS"}, {**rows[0], "volume_l": "much"}]
    refused = sends(api, wrong)
    assert refused.status_code == 422 and not refused.json()["kept"]
    assert [(e["record"], e["path"], e["field"], e["found"]) for e in refused.json()["errors"]] == [
        (3, "/2/serial", "serial", "NOBODYS"), (4, "/3/volume_l", "volume_l", "much"),
    ]  # fmt: skip
    assert all(e["sentence"] and e["code"] for e in refused.json()["errors"])
    kept = sends(api, wrong, to="readings/?keep_good=1")
    assert kept.status_code == 200 and kept.json()["rejected"] == 2 and kept.json()["same"] == 2


def test_a_look_tells_every_fault_and_keeps_nothing(one, nadia, api_of):
    row = {"serial": one.unit.serial, "at": "2026-03-05", "volume_l": 4200}
    looked = sends(api_of(nadia), [row, row | {"volume_l": -1}], to="day-records/?look=1")
    assert looked.status_code == 200 and looked.json()["errors"] and not looked.json()["kept"]
    assert not DayRecord.objects.exists()


TABLES = [  # address, row, model, what is kept
    ("day-records/", {"at": "2026-03-05", "volume_l": 4200, "tank_full_seen": False}, DayRecord, {"volume_l": 4200}),
    ("noon-records/", {"at": "2026-03-05T12:40", "irradiance_w_m2": 850, "level_m": 24.5}, DayRecord,
     {"noon_irradiance_w_m2": 850, "noon_level_m": 24.5}),
    ("meter-readings/", {"at": "2026-03-05", "total_l": 52000}, MeterReading, {"total_l": 52000, "hour_known": False}),
    ("series/", {"at": "2026-03-05T09:00:00Z", "flow_l_min": 14.2, "voltage_v": 52}, DaySeries,
     {"second": [43200], "flow_l_min": [14.2], "voltage_v": [52]}),
    ("spot-tests/", {"at": "2026-03-05T09:00:00Z", "kind": "visit", "irradiance_w_m2": 850, "flow_l_min": 14.2},
     SpotTest, {"flow_l_min": 14.2, "kind": "visit", "irradiance_w_m2": 850}),
]  # fmt: skip


@pytest.mark.parametrize(("to", "row", "model", "kept"), TABLES, ids=[t[0] for t in TABLES])
def test_each_kind_comes_in_as_json_and_as_csv_and_is_read_back(to, row, model, kept, one, nadia, idris, otto, api_of):
    row = {"serial": one.unit.serial, **row}
    answer = sends(api_of(nadia), [row], to=to)
    assert answer.status_code == 200 and answer.json()["new"] == 1, answer.json()
    found = model.objects.get(installation=one)
    assert {name: getattr(found, name) for name in kept} == kept
    cells = ["" if v is None else str(v) for v in row.values()]
    table = ",".join(row) + "\n" + ",".join(cells) + "\n"
    assert sends(api_of(nadia), table, "text/csv", to).json()["same"] == 1
    asked = f"{ROOT}{to}?serial={one.unit.serial}&from=2026-03-01&to=2026-03-31"
    (listed,) = api_of(nadia).get(asked).json()["results"]
    assert listed["serial"] == one.unit.serial
    assert api_of(nadia).get(f"{ROOT}{to}?installation={one.pk}&from=2026-03-06").json()["results"] == []
    assert api_of(otto).get(ROOT + to).json()["results"] == []
    refused = sends(api_of(otto), [row], to=to)
    assert refused.status_code == 422 and "serial" in refused.json()["errors"][0]["field"]
    refused = sends(api_of(idris), [row], to=to)
    assert refused.status_code == 403 and "bring" in refused.json()["errors"][0]["sentence"]
    assert model.objects.count() == 1


def test_a_csv_fault_names_its_line_and_a_column_that_is_missing_is_named(one, nadia, api_of):
    table = f"serial,at,volume_l\n{one.unit.serial},2026-03-05,4100\n{one.unit.serial},2026-03-06,much\n"
    answer = sends(api_of(nadia), table, "text/csv", "day-records/")
    (error,) = answer.json()["errors"]
    assert answer.status_code == 422 and (error["line"], error["field"], error["found"]) == (3, "volume_l", "much")
    answer = sends(api_of(nadia), [{"volume_l": 5, "at": "2026-03-05"}], to="day-records/")
    (error,) = answer.json()["errors"]
    assert error["field"] == "serial" and error["record"] is None and error["path"] == ""


def test_names_that_no_column_has_are_told_and_not_guessed_at_in_silence(one, nadia, api_of):
    row = {"serial": one.unit.serial, "at": "2026-03-05", "volume_l": 4200, "mood": "good"}
    answer = sends(api_of(nadia), [row], to="day-records/")
    assert answer.status_code == 200 and answer.json()["ignored"] == ["mood"]


ODD = ["NaN", "1e999", "-1e999", '"much"', "[1]", '{"a": 1}', "true", '"\\ud800"', '"a\\u0000b"', "1" * 400,
       '"12,5"']  # fmt: skip


@pytest.mark.parametrize("value", ODD)
def test_odd_values_are_refused_or_kept_but_never_break(value, one, nadia, api_of):
    for name in ("volume_l", "serial", "at", "tank_full_seen", "od\\ud800d"):
        row = {"serial": f'"{one.unit.serial}"', "at": '"2026-03-05"', "volume_l": "5"} | {name: value}
        body = "[{" + ", ".join(f'"{k}": {v}' for k, v in row.items()) + "}]"
        answer = sends(api_of(nadia), body, to="day-records/")
        assert answer.status_code in {200, 422}, answer.content
        if answer.status_code == 422:
            assert answer.json()["errors"][0]["sentence"]


BODIES = [("", "empty"), ("{", "not_json"), ("[" * 100_000, "not_json"), ('{"not": "a list"}', "not_a_list"),
          ("[]", "too_many"), ("[1]", "not_a_row"), (b"\xed\xa0\x80", "not_json")]  # fmt: skip


@pytest.mark.parametrize(("body", "code"), BODIES, ids=[code for _b, code in BODIES])
def test_a_body_that_is_no_list_of_rows_is_refused_with_a_sentence(body, code, nadia, api_of):
    answer = sends(api_of(nadia), body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == code and answer.json()["errors"][0]["field"] == "body"


def test_a_body_nested_too_deeply_is_refused_everywhere(nadia, api_of):
    answer = sends(api_of(nadia), "[" * 100_000, to="calls/")
    assert answer.status_code == 400 and "nested" in answer.json()["errors"][0]["sentence"]


def test_other_types_and_files_that_are_no_table_are_refused(nadia, api_of):
    answer = sends(api_of(nadia), "<a/>", "application/xml")
    assert answer.status_code == 415 and answer.json()["errors"][0]["code"] == "unsupported_media_type"
    for body in (b"\x89PNG\r\n", b"PK\x03\x04 no workbook", b"%PDF-1.4"):
        answer = sends(api_of(nadia), body, "text/csv")
        assert answer.status_code == 400 and answer.json()["errors"][0]["sentence"]


def test_a_program_sends_with_a_token_until_it_is_revoked(one, nadia, client):
    token, key = make_token(person=nadia, name="logger")
    row = json.dumps([{"serial": one.unit.serial, "at": "2026-03-05", "volume_l": 4200}])

    def sent():
        return client.post(f"{ROOT}day-records/", row, "application/json", headers={"Authorization": f"Token {key}"})

    assert sent().status_code == 200
    revoke_token(by=nadia, token=token)
    assert sent().status_code == 401


# -- SenML -------------------------------------------------------------------------------------------------------------

AT = datetime(2026, 3, 5, 9, 0, tzinfo=UTC).timestamp()


def a_pack(serial, **more):
    return [
        {"bn": f"{serial}/", "bt": AT, "n": "flow", "u": "l/s", "v": 0.2, **more},
        {"n": "voltage", "u": "V", "v": 52}, {"n": "flow", "u": "l/s", "t": 60, "v": 0.25},
        {"n": "meter", "u": "m3", "v": 52.5}, {"n": "day/volume", "u": "m3", "v": 4.2},
        {"n": "day/tank-full", "vb": True}, {"n": "noon/irradiance", "u": "W/m2", "v": 850},
        {"n": "test/flow", "u": "l/min", "v": 14.2}, {"n": "test/cell-temperature", "u": "Cel", "v": 48},
    ]  # fmt: skip


@pytest.mark.parametrize("kind", ["application/senml+json", "application/senml+json; charset=utf-8",
                                  "application/json"])  # fmt: skip
def test_a_pack_is_kept_in_its_tables_and_twice_is_once(kind, one, nadia, api_of):
    pack = a_pack(one.unit.serial)
    first = sends(api_of(nadia), pack, kind)
    assert first.status_code == 200, first.json()
    assert first.json()["records"] == 9 and first.json()["kept"] and not first.json()["errors"]
    series = DaySeries.objects.get()
    assert (series.day, series.second) == (date(2026, 3, 5), [43200, 43260])
    assert (series.flow_l_min, series.voltage_v) == ([12, 15], [52, None])
    assert MeterReading.objects.get().total_l == 52500
    day = DayRecord.objects.get()
    assert (day.volume_l, day.tank_full_seen, day.noon_irradiance_w_m2) == (4200, True, 850)
    test = SpotTest.objects.get()
    assert (test.kind, test.flow_l_min, test.cell_c, test.at.timestamp()) == ("visit", 14.2, 48, AT)
    again = sends(api_of(nadia), pack, kind).json()
    assert (again["new"], again["changed"]) == (0, 0) and again["same"] == again["rows"] > 0


def test_a_pack_without_a_clock_counts_from_now(one, nadia, api_of):
    before = time.time()
    answer = senml(api_of(nadia), [{"n": f"{one.unit.serial}/meter", "u": "m3", "v": 7, "t": -30}])
    assert answer.status_code == 200
    assert before - 31 <= MeterReading.objects.get().at.timestamp() <= time.time() - 29


def test_one_bad_record_keeps_the_whole_pack_out_unless_the_good_ones_are_asked_for(one, nadia, api_of):
    pack = [*a_pack(one.unit.serial), {"n": "voltage", "u": "V", "v": "52"}, {"n": "depth", "u": "m", "v": 1},
            {"n": "voltage", "u": "V", "v": 5200, "t": 5}]  # fmt: skip
    refused = senml(api_of(nadia), pack)
    assert refused.status_code == 422 and not refused.json()["kept"] and refused.json()["rejected"] == 3
    places = {(e["code"], e["record"], e["path"]) for e in refused.json()["errors"]}
    assert places == {("not_a_number", 10, "/9/v"), ("unknown_quantity", 11, "/10/n"), ("cannot_keep", 12, "/11/v")}
    assert all(e["sentence"] for e in refused.json()["errors"])
    assert not DaySeries.objects.exists() and not MeterReading.objects.exists() and not SpotTest.objects.exists()
    kept = senml(api_of(nadia), pack, "readings/?keep_good=1")
    assert kept.status_code == 200 and kept.json()["kept"] and kept.json()["rejected"] == 3
    assert DaySeries.objects.get().voltage_v == [52, None]


def test_a_fault_of_the_pack_keeps_nothing_even_of_the_good_records(one, nadia, api_of):
    for wrong in ({"bver": 11}, {"must_": 1}, {"bt": "noon"}):
        answer = senml(api_of(nadia), a_pack(one.unit.serial, **wrong), "readings/?keep_good=1")
        assert answer.status_code == 422 and not answer.json()["kept"]
        assert answer.json()["errors"][0]["record"] == 1
    assert not DaySeries.objects.exists()


def test_moments_at_which_the_unit_hung_nowhere_or_that_are_to_come_are_refused(one, nadia, api_of):
    for at, words in ((datetime(2020, 1, 1, tzinfo=UTC).timestamp(), "hung in no well"), (4e9, "not come yet")):
        answer = senml(api_of(nadia), [{"n": f"{one.unit.serial}/flow", "u": "l/s", "v": 0.2, "t": at}])
        (error,) = answer.json()["errors"]
        assert answer.status_code == 422 and words in error["sentence"]
        assert (error["record"], error["path"], error["field"]) == (1, "/0/t", "t")


def test_another_organisation_and_another_role_send_nothing(one, otto, idris, wanja, api_of):
    answer = senml(api_of(otto), a_pack(one.unit.serial))
    assert answer.status_code == 422 and answer.json()["errors"][0]["code"] == "unknown_serial"
    for person in (idris, wanja):
        assert senml(api_of(person), a_pack(one.unit.serial)).status_code == 403
    assert not DaySeries.objects.exists() and not MeterReading.objects.exists()


def test_the_standards_own_packs_are_read_and_their_names_are_not_ours(nadia, api_of):
    from tests.published.test_senml import PACKS, PUBLISHED

    for name in PACKS:
        answer = senml(api_of(nadia), PUBLISHED[name]["pack"])
        assert answer.status_code == 422
        assert {e["code"] for e in answer.json()["errors"]} <= {"unknown_quantity", "unknown_serial"}
        assert answer.json()["records"] == len(PUBLISHED[name]["pack"]) == answer.json()["rejected"]
