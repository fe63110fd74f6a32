"""What a serial that nobody knows was probably meant to be."""

import pytest

from fleet.readings.hung import Hung
from fleet.readings.serials import ASKED_AT_MOST, Near
from tests.makers.registry import a_unit

FLEET = ["S10002", "S10702", "S10920", "S20000", "Pump-7"]


@pytest.fixture
def near():
    return Near({serial.lower(): serial for serial in FLEET})


MEANT = [
    ("S10902", ["S10920", "S10002", "S10702"]),  # swapped neighbours first, then another digit
    ("s10720 ", ["S10702", "S10920"]),
    ("S2000", ["S20000"]),  # one missing
    ("S109920", ["S10920"]),  # one too many
    ("pmup-7", ["Pump-7"]),
    ("S99999", []),
    ("", []),
    ("S" * 500, []),
]


@pytest.mark.parametrize(("typed", "meant"), MEANT)
def test_a_slip_of_the_pen_is_seen_through(near, typed, meant):
    assert near.to(typed) == meant


def test_no_more_than_three_are_named(near):
    many = Near({f"a{n}": f"A{n}" for n in range(10)})
    assert many.to("ax") == ["A0", "A1", "A2"]


def test_what_has_no_neighbour_is_told_to_be_brought_in_first(near):
    assert near.sentence("S10902") == "No unit S10902 here; did you mean S10920, S10002, S10702?"
    assert "bring the units in first" in near.sentence("S99999")


def test_a_file_about_another_fleet_is_not_puzzled_over_for_ever(near):
    for n in range(ASKED_AT_MOST):
        near.to(f"X{n}")
    assert near.to("S10902") == []
    assert len(near.found) == ASKED_AT_MOST


@pytest.mark.django_db
def test_the_serials_of_others_are_never_named(organisation, other_organisation):
    a_unit(organisation, serial="Mine-1")
    a_unit(other_organisation, serial="Mine-2")
    assert Near(Hung(organisation).written).to("mine-3") == ["Mine-1"]
