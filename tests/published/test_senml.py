"""The example packs of RFC 8428 (August 2018), section 5.1, and their resolved records, as the standard prints them.

`data/senml.json` holds the packs as seen in the standard's own source; what is left to the reader there ("now") is
given here.
"""

import json
from pathlib import Path

import pytest

from fleet.readings.senml import read_pack, resolve

NOW_S = 1_700_000_000.0
PUBLISHED = json.loads((Path(__file__).parent / "data" / "senml.json").read_text())
PACKS = [name for name in PUBLISHED if not name.startswith("_")]


def resolved(name):
    sent, faults = read_pack(json.dumps(PUBLISHED[name]["pack"]).encode())
    records, wrong = resolve(sent, NOW_S)
    assert not faults and not wrong, (faults, wrong)
    return records


def test_there_are_four_packs():
    assert PACKS == ["single_point", "two_readings", "base_time_and_version", "mixed_units"]


def test_a_single_point_without_a_time_was_measured_now():
    (record,) = resolved("single_point")
    assert (record.name, record.unit, record.value) == ("urn:dev:ow:10e2073a01080063", "Cel", 23.1)
    assert record.at_s == NOW_S and record.relative


def test_the_base_name_stands_before_each_name():
    voltage, current = resolved("two_readings")
    assert (voltage.name, voltage.unit, voltage.value) == ("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1)
    assert (current.name, current.unit, current.value) == ("urn:dev:ow:10e2073a01080063:current", "A", 1.2)


def test_base_time_unit_and_version_are_carried_on_and_records_come_in_order_of_time():
    records = resolved("base_time_and_version")
    wanted = sorted(PUBLISHED["base_time_and_version"]["resolved"], key=lambda record: record["t"])
    assert [(r.name, r.unit, r.value) for r in records if r.name.endswith("current")] == [
        (w["n"], w["u"], w["v"]) for w in wanted if w["n"].endswith("current")
    ]
    assert [r.at_s for r in records] == pytest.approx([w["t"] for w in wanted], abs=1e-6)
    assert {(r.name, r.unit, r.value) for r in records} == {(w["n"], w["u"], w["v"]) for w in wanted}
    assert {r.version for r in records} == {5} and not any(r.relative for r in records)


def test_a_record_says_its_own_unit_and_keeps_the_base_name_and_time():
    records = resolved("mixed_units")
    published = PUBLISHED["mixed_units"]
    assert len(records) == published["resolved_count"]
    assert [r.at_s for r in records] == published["resolved_times"]
    assert {r.name for r in records} == {"urn:dev:ow:10e2073a01080063"}
    assert [r.value for r in records if r.unit == "%RH"] == [20, 20.3, 20.7, 21.2]
    assert [r.value for r in records if r.unit == "%EL"] == [98]
    assert [r.value for r in records if r.unit == "lon"] == [24.30621, 24.30622, 24.30623, 24.30628]


@pytest.mark.parametrize("name", PACKS)
def test_a_resolved_pack_resolves_to_itself(name):
    records = resolved(name)
    again, faults = resolve(
        [{"n": r.name, "t": r.at_s, "u": r.unit, "v": r.value, "bver": r.version} for r in records], NOW_S + 500
    )
    assert not faults
    assert [(r.name, r.at_s, r.unit, r.value) for r in again] == [(r.name, r.at_s, r.unit, r.value) for r in records]
