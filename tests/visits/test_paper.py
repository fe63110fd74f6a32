"""What stands on the sheets that go along on paper."""

import subprocess
from shutil import which
from types import SimpleNamespace

import pytest

from fleet.visits import paper, services
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

FEET = SimpleNamespace(length_unit="ft", flow_unit="m3_h")
METRES = SimpleNamespace(length_unit="m", flow_unit="l_min")
CARD = {"suns": [200, 800], "levels": [16.0, 22.5], "flow": [[None, 5.0], [20.0, 15.0]]}


def test_a_caution_stands_at_its_step_in_full_the_first_time_and_in_short_after():
    first, second, third = paper._cautions([{"cautions": ["DC"]}, {"cautions": []}, {"cautions": ["DC", "WELL"]}])
    assert "cannot be switched off" in first[0]["words"]
    assert second == []
    assert [len(third[0]["words"]) < len(first[0]["words"]), third[1]["mark"]] == [True, "WELL"]
    assert "Cover or guard the open mouth" in third[1]["words"]


def test_the_expected_card_is_in_the_units_of_who_takes_it_along():
    metric, feet = paper._card(CARD, METRES), paper._card(CARD, FEET)
    assert (metric["levels"], metric["flow"]) == (["16.0", "22.5"], [[None, "5.0"], ["20.0", "15.0"]])
    assert (feet["levels"], feet["flow"]) == (["52", "74"], [[None, "0.30"], ["1.20", "0.90"]])
    assert (feet["flow_unit"], feet["length_unit"]) == ("m³/h", "ft")
    assert metric["shares"] == feet["shares"] == [[None, 0.25], [1.0, 0.75]]
    assert paper._card(None, METRES) is None


@pytest.mark.django_db
def test_the_sheet_of_a_technician_who_likes_feet_has_feet_at_every_box(idris, organisation, tmp_path):
    idris.length_unit, idris.flow_unit = "ft", "m3_h"
    idris.save()
    services.set_up(organisation)
    visit = an_assigned_visit(an_installation(organisation), idris)
    file = tmp_path / "sheet.pdf"
    file.write_bytes(paper.visit_sheet(visit, []))
    assert file.read_bytes().startswith(b"%PDF")
    if (reader := which("pdftotext")) is None:
        pytest.skip("no pdftotext here to read the sheet with")
    words = subprocess.run([reader, "-layout", file, "-"], capture_output=True, check=True, text=True).stdout
    assert "Expected flow, m³/h, by irradiance and static level, ft" in words
    assert "Live in daylight. Isolate, lock, prove dead." in words
    assert "L/min" not in words
    assert "No water came" in words and "Minutes watched without water" in words
