"""What readings at noon say of a unit's trouble, beside its water."""

import numpy as np
import pytest

from sizing.causes import channels, names, odds, signatures, table, weigh
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row
from tests.sizing.one_unit import DAY, FIRST, fell, rows_of, with_noons


@pytest.fixture(scope="module")
def fleet():
    return invented_fleet(row())


def test_how_often_a_tank_was_full_at_noon_before_tells_what_is_usual_for_it():
    rows, due = with_noons(rows_of(np.ones(80)))
    often = np.arange(80) % 2 == 0
    rows["noon_a"][often], rows["noon_v"][often] = 0.0, 72.0

    def usual():
        return channels.noon_channels(rows, DAY, due, True)[1].sound.mean()

    assert usual() == pytest.approx(channels.STANDS_BY_CHANCE)  # no float switch: it stands by some fault
    rows["demand_l"] = 4500.0
    assert usual() > 0.4
    rows["demand_l"] = 9000.0  # whatever is thought of demand
    assert usual() > 0.2
    rows["noon_a"][:50], rows["noon_v"][:50] = due[1][:50], due[0][:50]
    rows["demand_l"] = 4500.0
    assert usual() < 0.1


def test_what_noons_say_of_standing_is_summed_as_written_out():
    rng = np.random.default_rng(6)
    day, stood = np.arange(30.0), (rng.random(30) < 0.4).astype(float)
    sound = np.full(30, 0.1)
    chance = np.vstack([np.full(30, 0.6), np.full(30, np.nan), np.linspace(0.1, 0.9, 30)])
    ramps, begin = np.array([0.0, 12.0]), np.array([4.0, 21.0])
    gain = np.zeros((3, 2, 2))
    weigh.idle(day, stood, sound, chance, begin, ramps, np.ones((3, 2), bool), 0.8, gain)
    after, grown = np.empty(30), np.empty(30)
    for i, r, b in np.ndindex(3, 2, 2):
        weigh.growth(day, np.ones(30), begin[b], ramps[r], after, grown)
        p = np.clip(sound + (np.nan_to_num(chance[i], nan=0.1) - sound) * grown, 0.005, 0.995)
        each = np.where(stood > 0, np.log(p / sound), np.log((1 - p) / (1 - sound)))
        assert gain[i, r, b] == pytest.approx(0.8 * each[after > 0.5].sum())


def _noon_judged(fleet, rows, due):
    return odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, FIRST, 0.0, 0.05, due)


def _best(got):
    return names.NAMES[int(np.argmax(got.cause))]


TOLD = [("stands_still", 0), ("meter_stands", 0), ("water_sinks", 4), ("inlet_blocked", 4), ("string_open", 0)]


@pytest.mark.parametrize(("cause", "size"), TOLD)
def test_noon_readings_tell_what_the_water_alone_cannot(cause, size):
    """Readings made from a cause's own signature, with noise, are traced back to it; without noons less surely."""
    weak = invented_fleet(row(strings=2, modules_in_series=1, coupling="direct"))
    sig = signatures.of_unit(weak, 0, 5)
    i = np.flatnonzero(sig.cause == names.NUMBER[cause])[size]
    rows = rows_of(np.ones(80))
    late = rows["day"] > DAY - 12
    kept = channels.read_curves(sig.water[i : i + 1], table.X, rows["clearness"].astype(float))[0]
    rows["measured_l"] = np.where(late, rows["measured_l"] * kept, rows["measured_l"])
    rows["told_by"] = 6
    rows, due = with_noons(rows)
    sun = rows["noon_w_m2"].astype(float)
    for name, curve in (("noon_a", sig.current), ("noon_v", sig.voltage)):
        share = channels.read_curves(curve[i : i + 1], table.SUNS, sun)[0]
        rows[name] = np.where(late, rows[name] * share, rows[name])
    rise = channels.read_curves(sig.level[i : i + 1], table.SUNS, sun)[0]
    rows["noon_level_m"] = np.where(late, rows["noon_level_m"] + rise, rows["noon_level_m"])
    if cause == "stands_still":
        rows["noon_a"][late] = 0.0
    got = odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05, due)
    without = odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05)
    assert cause in {names.NAMES[n] for n in np.argsort(-got.cause)[:2]}
    assert got.cause[names.NUMBER[cause]] > without.cause[names.NUMBER[cause]]


def test_a_unit_that_stands_at_some_noons_and_scatters_cuts_out(fleet):
    rng = np.random.default_rng(7)
    share = np.where(rng.random(80) < 0.5, 1.0, rng.uniform(0.2, 0.7, 80))
    share[:60] = 1.0
    rows, due = with_noons(rows_of(share))
    stood = (rows["day"] > DAY - 20) & (share < 0.6)
    rows["noon_a"][stood], rows["noon_v"][stood] = 0.0, 72.0
    assert _best(_noon_judged(fleet, rows, due)) == "cuts_out"


def test_a_well_that_fell_dry_is_told_from_a_pump_that_stands_by_the_water_at_rest(fleet):
    """The same water, and none at last, noons at which it stands with the sun on it; only the water's depth differs."""
    sig = signatures.of_unit(fleet, 0, 5)
    sinks = np.flatnonzero(sig.cause == names.NUMBER["water_sinks"])
    sunk = np.clip((np.arange(80) - 50) / 20.0, 0, 1) * 20.0
    share = np.exp(np.interp(sunk, np.append(0.0, sig.size[sinks]), np.append(0.0, sig.log_water[sinks, 15])))
    likelier = {}
    for deeper in (0.0, 1.0):
        rows, due = with_noons(rows_of(share))
        stood = share < 0.1
        rows["noon_a"][stood], rows["noon_v"][stood] = 0.0, 72.0
        rows["noon_level_m"] = np.where(stood, 28.0, rows["noon_level_m"]) + deeper * sunk
        cause = _noon_judged(fleet, rows, due).cause
        likelier[deeper] = cause[names.NUMBER["water_sinks"]] / cause[names.NUMBER["stands_still"]]
    assert likelier[1.0] > 10 > 0.1 > likelier[0.0]


def test_what_is_higher_than_the_sun_at_noon_shades_the_noon_reading_and_what_is_lower_does_not(fleet):
    winter = signatures.of_unit(invented_fleet(row(latitude_deg=22.0, modules_in_series=1)), 0, 11)
    mine = winter.cause == names.NUMBER["shade_after_noon"]
    lower, higher = mine & (winter.size < 40), mine & (winter.size > 60)  # the sun of December stands 45 degrees high
    assert lower.any() and higher.any()
    np.testing.assert_allclose(winter.current[lower], 1.0)
    bright = winter.current[higher, 28]  # 700 W/m2
    assert (bright < 0.9).all() and (bright > 0.4).all(), "hidden for half of the quarter hour, and the sky goes on"


@pytest.fixture(scope="module")
def shallow():
    """A well that falls dry below the pump when it sinks by less than ten metres."""
    return invented_fleet(row(static_level_m=6.0, setting_depth_m=14.0, pipe_length_m=30.0, cable_length_m=20.0))


def stopped_in_the_morning(days_ago, left=0.24):
    """Water of a unit that stopped so many days ago after giving a part of that day's."""
    ratio = fell(days_ago, 0.0)
    ratio[80 - days_ago] = left
    return ratio


@pytest.mark.parametrize("left", [0.1, 0.24, 0.5, 0.8])
@pytest.mark.parametrize("days_ago", [3, 4, 5, 9, 20, 33, 45])
def test_what_stopped_at_some_hour_of_a_day_is_told_as_stopped_and_dated_to_that_day(shallow, days_ago, left):
    for seed in range(5):
        rows = rows_of(stopped_in_the_morning(days_ago, left), noise=0.06, seed=seed)
        got = odds.judge(rows, signatures.of_unit(shallow, 0, 5), DAY, FIRST, 0.0, 0.05)
        assert {names.NAMES[i] for i in np.argsort(-got.cause)[:2]} == {"stands_still", "meter_stands"}
        assert got.cause[names.NUMBER["stands_still"]] > 0.3
        assert abs(got.onset[0] - (DAY - days_ago + 1)) <= 1


@pytest.mark.parametrize("share", [0.5, 0.7])
def test_a_part_that_was_lost_at_some_hour_of_a_day_is_dated_as_well(fleet, share):
    ratio = fell(12, share)
    ratio[80 - 12] = 0.5 * (1 + share)
    got = odds.judge(rows_of(ratio, noise=0.02), signatures.of_unit(fleet, 0, 5), DAY, FIRST, 0.0, 0.05)
    assert abs(got.onset[0] - (DAY - 11)) <= 1


@pytest.mark.parametrize(("deeper", "days_ago"), [(2.5, 6), (2.5, 20), (4.0, 20)])
def test_a_well_that_always_stood_deeper_than_known_is_no_reason_to_think_that_it_fell(shallow, deeper, days_ago):
    """The pump stands; its well lies where it always lay, deeper than written down, running or at rest."""
    rows, due = with_noons(rows_of(stopped_in_the_morning(days_ago)))
    rows["noon_level_m"] += deeper
    stood = rows["day"] > DAY - days_ago
    rows["noon_a"][stood], rows["noon_v"][stood] = 0.0, 72.0
    rows["noon_level_m"][stood] = due[3][stood] + deeper
    cause = _noon_judged(shallow, rows, due).cause
    assert names.NAMES[int(np.argmax(cause))] == "stands_still"
    assert cause[names.NUMBER["water_sinks"]] < 0.05


def test_a_level_that_is_seen_to_stay_rules_out_a_well_that_fell_far(shallow):
    """Cut-outs for most of the time, and the water at rest where it was: no metre of it is made up by a factor."""
    rng = np.random.default_rng(9)
    share = np.where(rng.random(80) < 0.7, rng.uniform(0.05, 0.5, 80), 1.0)
    share[:50] = 1.0
    rows, due = with_noons(rows_of(share))
    stood = (np.arange(80) >= 50) & (share < 0.5)
    rows["noon_a"][stood], rows["noon_v"][stood] = 0.0, 72.0
    rows["noon_level_m"][stood] = due[3][stood]
    cause = _noon_judged(shallow, rows, due).cause
    assert names.NAMES[int(np.argmax(cause))] == "cuts_out"
    assert cause[names.NUMBER["water_sinks"]] < 0.02


def test_where_the_water_lies_is_one_figure_whether_the_pump_runs_or_rests(shallow):
    rows, due = with_noons(rows_of(stopped_in_the_morning(8)))
    stood = rows["day"] > DAY - 8
    rows["noon_a"][stood], rows["noon_v"][stood] = 0.0, 72.0
    rows["noon_level_m"] += np.where(stood, due[3] - 30.0, 0.0) + 2.5
    (levels,) = (c for c in channels.noon_channels(rows, DAY, due, True)[0] if abs(np.median(c.y)) > 1)
    runs = levels.day <= DAY - 8
    assert runs.any() and (~runs).any()
    known, others = levels.covariance[np.ix_(runs, runs)], levels.covariance[np.ix_(~runs, runs)]
    expected = others @ np.linalg.solve(known, levels.y[runs])
    assert (expected > 1.5).all(), "what was seen while it ran lets expect where the water rests"
