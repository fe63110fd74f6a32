"""The simulated units in trouble, and the table that says whether odds hold what they say."""

import numpy as np
import pytest

from sizing.causes.names import NAMES, NUMBER
from tests.makers import calibration, troubled_fleet
from tests.sizing.invented import fleet, row


@pytest.fixture(scope="module")
def made():
    like = fleet(row(strings=2), row(static_level_m=20.0, float_switch=True, need_l_day=4000.0, tank_capacity_l=8000.0))
    return troubled_fleet.make(like, np.array([False, True]), 6, days=200, seed=3, faulty=0.9)


def test_units_report_what_their_instruments_can(made):
    judged, truth = made
    assert judged.level == ["A", "B", "C"] * 2
    read, noons = set(), set()
    for days, totals in judged.nights.values():
        read |= {("total", int(u)) for u in totals.unit} | {("day", int(u)) for u in days.unit}
        noons |= set(days.unit[np.isfinite(days.noon_a)].tolist())
    assert {("total", 0), ("total", 3), ("day", 1), ("day", 2), ("day", 4), ("day", 5)} == read
    assert noons == {2, 5}
    assert (truth.lost < 1.01).all()
    assert (truth.cause >= -1).all() and (truth.cause < len(NAMES)).all()


def test_first_flags_after_the_onset_count_and_less_demand_is_none():
    truth = troubled_fleet.Truth(
        np.array([NUMBER["dirt"], NUMBER["dirt"], -1]), np.array([100, 100, 0]), np.ones(3), np.array([0.3, 0.01, 0])
    )

    def odds(name):
        given = np.full(len(NAMES), 0.01)
        given[NUMBER[name]] = 0.86
        return given

    flags = [(0, 90, odds("dirt")), (0, 110, odds("less_drawn")), (0, 120, odds("pump_worn")), (0, 130, odds("dirt")),
             (1, 120, odds("dirt")), (2, 50, odds("dirt"))]  # fmt: skip
    found = calibration.first_flags(flags, truth)
    assert list(found) == [0]
    assert int(np.argmax(found[0])) == NUMBER["pump_worn"]
    assert calibration.ranks(found, truth)[0] == 1
    rows = calibration.table(found, truth)
    assert sum(r[2] for r in rows) == len(NAMES)
    assert rows[-1][3:] == (0.86, 0.0)
