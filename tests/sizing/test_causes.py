"""Causes: their signatures from the chain, and the odds of a unit whose trouble is known because it was put in."""

import numpy as np
import pytest

from sizing import judge
from sizing.causes import names, odds, signatures
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row

DAY = 19500
FIRST = DAY - 80


@pytest.fixture(scope="module")
def fleet():
    return invented_fleet(row())


def _rows(ratio, expected=4000.0, days=80, noise=0.03, seed=2):
    """Day records whose measured water is `ratio` (days,) of the expected, with own cell and a little noise."""
    rows = np.zeros(days, judge.OBSERVATION)
    for name in rows.dtype.names:
        if rows.dtype[name].kind == "f":
            rows[name] = np.nan
    rng = np.random.default_rng(seed)
    rows["day"], rows["since"] = FIRST + 1 + np.arange(days), 1
    rows["supply_l"] = rows["expected_l"] = expected
    rows["measured_l"] = expected * np.asarray(ratio) * np.exp(rng.normal(0, noise, days))
    rows["clearness"], rows["weather_var"], rows["light_gain"], rows["told_by"] = rng.normal(1, 0.4, days), 0.0, 1.0, -1
    return rows


def _judged(fleet, rows, unit=0):
    sig = signatures.of_unit(fleet, unit, 5)
    return odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05)


def _fell(days_ago, to):
    ratio = np.ones(80)
    ratio[80 - days_ago :] = to
    return ratio


def test_a_sound_unit_is_not_suspected(fleet):
    got = _judged(fleet, _rows(np.ones(80)))
    assert got.fault < 0
    assert got.none > 0.5


def test_a_unit_that_gives_nothing_stands_or_its_meter_does_and_they_cannot_be_parted_without_more(fleet):
    got = _judged(fleet, _rows(_fell(4, 0.0)))
    assert got.fault > 8
    best = {names.NAMES[i] for i in np.argsort(-got.cause)[:2]}
    assert best == {"stands_still", "meter_stands"}
    assert got.cause[[names.NUMBER[n] for n in best]] == pytest.approx([0.5, 0.5], abs=0.05)
    assert DAY - 5 <= got.onset[0] <= DAY - 3


def test_a_quarter_lost_is_found_with_its_beginning_and_its_litres(fleet):
    got = _judged(fleet, _rows(_fell(12, 0.75)))
    assert got.fault > 5
    assert DAY - 16 <= got.onset[0] <= DAY - 9
    assert got.lost_l[1] <= got.lost_l[0] <= got.lost_l[2]
    assert got.lost_l[0] == pytest.approx(1000, rel=0.25)
    assert got.cause.sum() == pytest.approx(1)


def test_one_lost_day_and_a_doubted_figure_prove_nothing(fleet):
    assert _judged(fleet, _rows(_fell(1, 0.1))).fault < 2
    rows = _rows(_fell(12, 0.1))
    rows["mistake"][-12:] = 1
    assert _judged(fleet, rows).fault < 0


def test_too_little_to_tell_is_said(fleet):
    rows = _rows(np.ones(80))
    rows["measured_l"] = np.nan
    assert _judged(fleet, rows) is None


def test_every_fault_takes_water_and_a_bigger_one_takes_more(fleet):
    sig = signatures.of_unit(fleet, 0, 5)
    bright = sig.water[:, 15]
    for number in np.unique(sig.cause):
        mine = np.flatnonzero(sig.cause == number)
        assert (bright[mine] <= 1.05).all(), names.NAMES[number]
        if names.NAMES[number] not in ("frame_turned", "less_drawn"):
            order = np.argsort(sig.size[mine])
            assert (np.diff(bright[mine][order]) <= 0.02).all(), names.NAMES[number]


def test_one_string_cannot_be_open_and_only_a_float_switch_can_hide_less_demand():
    asked = {name for name, _ in signatures.hypotheses(1, False)}
    assert "string_open" not in asked
    assert "less_drawn" not in asked
    assert {"string_open", "less_drawn"} <= {name for name, _ in signatures.hypotheses(2, True)}


def test_findings_move_the_odds_beforehand_and_keep_their_sum():
    found = np.zeros(len(names.NAMES))
    found[names.NUMBER["pump_worn"]] = 10
    taught = names.taught(found)
    assert taught.sum() == pytest.approx(names.RATES.sum())
    assert taught[names.NUMBER["pump_worn"]] > 3 * names.RATES[names.NUMBER["pump_worn"]]
    np.testing.assert_allclose(names.taught(np.zeros(len(names.NAMES))), names.RATES)


def test_before_the_day_from_which_a_unit_is_sound_nothing_is_asked(fleet):
    rows, sig = _rows(_fell(20, 0.6)), signatures.of_unit(fleet, 0, 5)
    assert odds.judge(rows, sig, DAY, DAY + 10, 0.0, 0.05) is None
    assert odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05).fault > 0
