"""SenML packs resolved and named: what is carried from record to record, and each refusal with its place."""

import json

import pytest

from fleet.readings.senml import looks_like_pack, read_pack, resolve, rows_of

NOW_S = 1_700_000_000.0


def read(pack):
    text = pack if isinstance(pack, bytes | str) else json.dumps(pack)
    sent, faults = read_pack(text if isinstance(text, bytes) else text.encode())
    return ([], faults) if faults else resolve(sent, NOW_S)


def test_base_values_are_added_and_carried_until_another_comes():
    records, faults = read(
        [{"bn": "a/", "bt": 1.7e9, "bu": "V", "bv": 10, "bs": 100, "n": "x", "v": 2, "s": 5},
         {"n": "y", "t": 60}, {"bv": 0, "n": "z", "v": 3, "u": "A"}, {"bn": "b/", "bs": 0, "n": "x", "vs": "good"}]
    )  # fmt: skip
    assert not faults
    by_name = {r.name: r for r in records}
    assert (by_name["a/x"].value, by_name["a/x"].sum) == (12, 105)
    assert (by_name["a/y"].value, by_name["a/y"].sum, by_name["a/y"].unit) == (10, 100, "V")
    assert (by_name["a/z"].value, by_name["a/z"].unit) == (3, "A")
    assert (by_name["b/x"].text, by_name["b/x"].value) == ("good", None)
    assert [r.name for r in records] == ["a/x", "a/z", "b/x", "a/y"]


@pytest.mark.parametrize(
    ("at", "wanted", "relative"),
    [({}, NOW_S, True), ({"t": 0}, NOW_S, True), ({"t": -5}, NOW_S - 5, True), ({"t": 5}, NOW_S + 5, True),
     ({"bt": 1.3e9, "t": -5}, 1.3e9 - 5, False), ({"t": 2**28 - 1}, NOW_S + 2**28 - 1, True),
     ({"t": 2**28}, 2**28, False), ({"bt": 2**28, "t": -1}, NOW_S + 2**28 - 1, True)],
)  # fmt: skip
def test_times_below_two_to_the_28th_count_from_now(at, wanted, relative):
    (record,), faults = read([{"n": "x", "v": 1, **at}])
    assert not faults and (record.at_s, record.relative) == (wanted, relative)


FINE = {"n": "x", "v": 1}
WRONG = [  # pack, code, record, field, part of the sentence
    ("[{]", "not_json", None, "", "not JSON"),
    (b"\xff[]", "not_utf8", None, "", "UTF-8"),
    ("[" * 100_000, "not_json", None, "", "nested"),
    ({"n": "x", "v": 1}, "not_a_pack", None, "", "list of records"),
    ([], "empty", None, "", "no record"),
    ([FINE, 7], "not_a_record", 2, "", "object"),
    ('[{"n": "x", "v": NaN}]', "not_a_number", 1, "v", "NaN"),
    ('[{"n": "x", "v": 1}, {"n": "x", "v": 1e999}]', "not_a_number", 2, "v", "infinity"),
    ([FINE, {"n": "x", "v": "12.5"}], "not_a_number", 2, "v", "quotation marks"),
    ([{"n": "x", "v": True}], "not_a_number", 1, "v", "12.5"),
    ([{"n": "x", "v": None}], "not_a_number", 1, "v", "12.5"),
    ([{"n": "x", "v": 10**400}], "not_a_number", 1, "v", "12.5"),
    ([{"n": "x", "v": 1, "bt": "noon"}], "not_a_number", 1, "bt", "quotation marks"),
    ([{"n": "x", "v": 1, "t": [1]}], "not_a_number", 1, "t", "12.5"),
    ([{"n": "x", "v": 1.7e308, "bv": 1.7e308}], "not_a_number", 1, "v", "12.5"),
    ([{"n": 5, "v": 1}], "not_a_text", 1, "n", "quotation marks"),
    ([{"n": "x", "vb": 1}], "not_a_flag", 1, "vb", "true or false"),
    ('[{"n": "x", "v": 1, "v": 2}]', "field_twice", 1, "v", "twice"),
    ([{"v": 1}], "name", 1, "n", "letters"),
    ([{"n": "-x", "v": 1}], "name", 1, "n", "letters"),
    ([{"n": "x y", "v": 1}], "name", 1, "n", "letters"),
    ([{"n": "x\u00e9", "v": 1}], "name", 1, "n", "letters"),
    ([{"n": "x\n", "v": 1}], "name", 1, "n", "letters"),
    ([{"n": "x" * 400, "v": 1}], "name", 1, "n", "letters"),
    ([{"n": "x", "v": 1, "vs": "1"}], "two_values", 1, "vs", "v, vs"),
    ([{"n": "x"}], "no_value", 1, "", "no value"),
    ([{"n": "x", "v": 1, "bver": 11}], "version", 1, "bver", "up to 10"),
    ([{"n": "x", "v": 1, "bver": 0}], "version", 1, "bver", "above zero"),
    ([{"n": "x", "v": 1, "bver": 5.5}], "version", 1, "bver", "whole"),
    ([FINE, {"n": "x", "v": 1, "bver": 5}], "version", 2, "bver", "one version"),
    ([FINE, {"n": "x", "v": 1, "turbo_": 5}], "must_understand", 2, "turbo_", "Leave it out"),
    ([{"n": "x", "v": 1, "t": 1e30}], "time", 1, "t", "no time"),
    ([{"n": "x", "v": 1, "t": -1e30}], "time", 1, "t", "no time"),
]


@pytest.mark.parametrize(("pack", "code", "record", "field", "words"), WRONG)
def test_a_wrong_pack_is_refused_with_its_place_and_a_sentence(pack, code, record, field, words):
    _records, faults = read(pack)
    (fault,) = faults
    assert (fault.code, fault.record, fault.field) == (code, record, field)
    assert words in fault.sentence
    assert fault.path == ("" if record is None else f"/{record - 1}" + (f"/{field}" if field else ""))


def test_what_is_not_known_and_need_not_be_is_passed_over():
    (record,), faults = read([{"n": "x", "v": 1, "colour": "red", "ut": 60, "bver": 10}])
    assert not faults and record.value == 1


def test_good_records_stay_beside_a_bad_one_but_none_where_the_pack_itself_is_wrong():
    records, faults = read([FINE, {"n": "x", "v": "1"}, {"n": "y", "v": 2}])
    assert [r.number for r in records] == [1, 3] and len(faults) == 1
    records, faults = read([FINE, {"bn": 5, "n": "x", "v": 1}, {"n": "y", "v": 2}])
    assert records == [] and faults[0].whole


@pytest.mark.parametrize(("rows", "pack"), [
    ([{"n": "a/flow", "v": 1}], True), ([{"bn": "a/", "bt": 1}], True), ([{"serial": "a", "kind": "meter"}], False),
    ([{"n": "a"}], False), ([], False), ([3], False), ({"n": "a", "v": 1}, False),
])  # fmt: skip
def test_a_list_of_json_is_known_as_a_pack_by_its_labels(rows, pack):
    assert looks_like_pack(rows) is pack


# -- names and units ---------------------------------------------------------------------------------------------------

AT = 1_700_000_000


def rows(*records, serials=("RM00012", "RM/7", "Two Words")):
    resolved, faults = read([{"t": AT, **record} for record in records])
    assert not faults, faults
    return rows_of(resolved, serials)


CELLS = [  # name, rest of the record, table, column, what is kept
    ("RM00012/flow", {"u": "l/min", "v": 14.2}, "series", "flow_l_min", 14.2),
    ("RM00012/flow", {"u": "m3/s", "v": 0.0002}, "series", "flow_l_min", 12),
    ("RM00012/flow", {"u": "l/s", "v": 0.2}, "series", "flow_l_min", 12),
    ("RM00012/flow", {"u": "m3/h", "v": 0.6}, "series", "flow_l_min", 10),
    ("rm00012:voltage", {"u": "mV", "v": 52000}, "series", "voltage_v", 52),
    ("RM00012/current", {"u": "mA", "v": 6400}, "series", "current_a", 6.4),
    ("RM00012/irradiance", {"u": "W/m2", "v": 850}, "series", "irradiance_w_m2", 850),
    ("RM00012/level", {"u": "cm", "v": 2480}, "series", "level_m", 24.8),
    ("RM00012/meter", {"u": "m3", "v": 945.152}, "meter_readings", "total_l", 945152),
    ("RM00012/flow", {"u": "m3/s", "s": 945.152}, "meter_readings", "total_l", 945152),
    ("RM00012/flow", {"u": "l/min", "s": 600}, "meter_readings", "total_l", 10),
    ("RM00012/day/volume", {"u": "m3", "v": 4.25}, "daily_records", "volume_l", 4250),
    ("RM00012/day/irradiation", {"u": "J/m2", "v": 21.6e6}, "daily_records", "irradiation_kwh_m2", 6),
    ("RM00012/day/tank-full", {"vb": True}, "daily_records", "tank_full_seen", True),
    ("RM00012/noon/level", {"u": "m", "v": 24.8}, "noon_records", "level_m", 24.8),
    ("RM00012/test/cell-temperature", {"u": "K", "v": 321.15}, "spot_tests", "cell_c", 48),
    ("RM00012/test/air-temperature", {"u": "Cel", "v": 31}, "spot_tests", "air_c", 31),
    ("RM00012/test/insulation", {"u": "Ohm", "v": 110e6}, "spot_tests", "insulation_mohm", 110),
    ("RM00012/test/first-water", {"u": "s", "v": 210}, "spot_tests", "first_water_min", 3.5),
    ("RM00012/test/sun-by", {"vs": "reference_cell"}, "spot_tests", "sun_by", "reference_cell"),
    ("urn:x:RM00012/flow", {"u": "l/min", "v": 1}, "series", "flow_l_min", 1),
    ("urn:x:RM/7:flow", {"u": "l/min", "v": 1}, "series", "flow_l_min", 1),
    ("Two_Words/flow", {"u": "l/min", "v": 1}, "series", "flow_l_min", 1),
]


@pytest.mark.parametrize(("name", "rest", "table", "column", "kept"), CELLS)
def test_a_name_says_whose_reading_it_is_and_of_what(name, rest, table, column, kept):
    found, faults = rows({"n": name, **rest})
    assert not faults
    (row,) = found[table]
    assert row.cells[column] == (pytest.approx(kept) if isinstance(kept, float | int) else kept)
    assert row.at.timestamp() == AT


def test_records_of_one_unit_and_moment_make_one_row():
    volts = {"n": "RM00012/voltage", "u": "V", "v": 52}
    flow = {"n": "RM00012/flow", "u": "l/min", "v": 14, "s": 0}
    found, faults = rows(flow, volts, volts | {"v": 53, "t": AT + 60})
    assert not faults
    assert [row.cells for row in found["series"]] == [{"flow_l_min": 14, "voltage_v": 52}, {"voltage_v": 53}]
    assert found["series"][0].records == {"flow_l_min": (1, "v"), "voltage_v": (2, "v")}
    assert [row.cells for row in found["meter_readings"]] == [{"total_l": 0}]


UNPLACED = [
    ({"n": "RM00012/depth", "u": "m", "v": 1}, "unknown_quantity", "n", "Known are: flow"),
    ({"n": "flow", "u": "l/min", "v": 1}, "unknown_serial", "n", "SERIAL/flow"),
    ({"n": "RM99/flow", "u": "l/min", "v": 1}, "unknown_serial", "n", "RM99"),
    ({"n": "urn:x:RM00021/flow", "u": "l/min", "v": 1}, "unknown_serial", "n", "did you mean RM00012?"),
    ({"n": "day/volume", "u": "m3", "v": 1}, "unknown_serial", "n", "SERIAL/day/volume"),
    ({"n": "RM00012/flow", "v": 1}, "wrong_unit", "u", "needs its unit"),
    ({"n": "RM00012/flow", "u": "V", "v": 1}, "wrong_unit", "u", "l/min"),
    ({"n": "RM00012/voltage", "u": "Cel", "v": 1}, "wrong_unit", "u", "V, mV"),
    ({"n": "RM00012/flow", "u": "l/min", "vs": "fast"}, "wrong_kind", "vs", "“v”"),
    ({"n": "RM00012/test/kind", "v": 1}, "wrong_kind", "v", "“vs”"),
    ({"n": "RM00012/day/tank-full", "v": 1}, "wrong_kind", "v", "“vb”"),
    ({"n": "RM00012/irradiance", "u": "W/m2", "s": 5}, "no_sum", "s", "“flow” only"),
    ({"n": "Same-one/flow", "u": "l/min", "v": 1}, "serial_unclear", "n", "JSON or CSV"),
]


@pytest.mark.parametrize(("record", "code", "field", "words"), UNPLACED)
def test_a_record_that_belongs_nowhere_is_refused_with_its_place_and_a_sentence(record, code, field, words):
    found, (fault,) = rows(record, serials=["RM00012", "Same-one", "SAME-ONE", "Same-One"])
    assert found == {} and (fault.code, fault.record, fault.field) == (code, 1, field)
    assert words in fault.sentence


def test_the_same_name_and_moment_twice_is_refused_where_the_figures_differ():
    one = {"n": "RM00012/flow", "u": "l/min", "v": 14}
    found, faults = rows(one, one)
    assert not faults and len(found["series"]) == 1
    _found, (fault,) = rows(one, one | {"v": 15})
    assert (fault.code, fault.record) == ("said_twice", 2) and "Record 1" in fault.sentence
