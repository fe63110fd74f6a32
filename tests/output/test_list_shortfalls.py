"""Shortfalls and flags by the command, without a browser."""

import csv
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from fleet.output.models import Flag
from tests.makers.judged import a_shortfall
from tests.makers.registry import a_unit, an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def two(organisation, other_organisation):
    """An open one of ours that was put forward twice, and a closed one of others."""
    ours = a_shortfall(an_installation(unit=a_unit(organisation, serial="RM-1")), lost_l_day=1234.5)
    theirs = a_shortfall(
        an_installation(unit=a_unit(other_organisation, serial="RM-2")), state="closed", closed_on=date(2026, 4, 1)
    )
    for short, day, cause in ((ours, 20, "dirt"), (ours, 10, "main_leaks"), (theirs, 11, "dirt")):
        Flag.objects.create(
            shortfall=short, installation=short.installation, flagged_on=date(2026, 3, day),
            causes=[{"cause": cause, "odds": 0.6}, {"cause": "pump_worn", "odds": 0.2}],
        )  # fmt: skip
    return ours, theirs


def listed(capsys, *words):
    call_command("list_shortfalls", *words)
    return list(csv.DictReader(StringIO(capsys.readouterr().out)))


def test_each_shortfall_is_a_row_as_it_stands(two, capsys):
    first, second = sorted(listed(capsys), key=lambda row: row["serial"])
    assert first == {
        "serial": "RM-1", "state": "open", "since": "2026-03-04", "flagged_on": "2026-03-10", "closed_on": "",
        "lost_l_day": "1234", "probability": "0.97", "people_served": "250", "causes": "main_leaks|pump_worn",
        "odds": "0.60|0.30",
    }  # fmt: skip
    assert (second["serial"], second["state"], second["closed_on"]) == ("RM-2", "closed", "2026-04-01")


def test_the_rows_are_chosen_by_state_and_organisation(two, capsys):
    assert [row["serial"] for row in listed(capsys, "--state", "closed")] == ["RM-2"]
    assert [row["serial"] for row in listed(capsys, "--organisation", "Mbega Water Trust")] == ["RM-1"]
    assert listed(capsys, "--state", "noted") == []


def test_each_time_one_was_put_forward_is_a_row_with_the_causes_of_then(two, capsys):
    rows = [(row["serial"], row["flagged_on"], row["causes"]) for row in listed(capsys, "--form", "flags")]
    assert rows == [
        ("RM-1", "2026-03-10", "main_leaks|pump_worn"), ("RM-1", "2026-03-20", "dirt|pump_worn"),
        ("RM-2", "2026-03-11", "dirt|pump_worn"),
    ]  # fmt: skip
    ours = listed(capsys, "--form", "flags", "--organisation", "Mbega Water Trust")
    assert {row["serial"] for row in ours} == {"RM-1"}


def test_it_is_written_to_a_file_where_one_is_named(two, capsys, tmp_path):
    path = tmp_path / "flags.csv"
    call_command("list_shortfalls", "--form", "flags", "--to", str(path))
    assert capsys.readouterr().out == ""
    assert [row["serial"] for row in csv.DictReader(StringIO(path.read_text()))] == ["RM-1", "RM-1", "RM-2"]


def test_a_state_that_there_is_not_is_refused(two):
    with pytest.raises(CommandError, match="invalid choice"):
        call_command("list_shortfalls", "--state", "lost")
