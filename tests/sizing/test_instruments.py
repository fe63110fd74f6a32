"""Figures read off an instrument: what one slip would explain is asked about, what is low and right is left alone."""

import numpy as np
import pytest

from sizing.judge.instruments import Noons, Reading, doubt_figure, doubt_noons, in_each_others_place, other_writings
from sizing.judge.mistakes import DIGITS_SWAPPED, NONE, SLIP_OF_TEN, WRONG_UNIT

FEET = (0.3048,)


@pytest.mark.parametrize(
    ("figure", "due", "kind", "meant"),
    [
        (5.24, 52.0, SLIP_OF_TEN, 52.4),
        (524.0, 52.0, SLIP_OF_TEN, 52.4),
        (25.4, 52.0, DIGITS_SWAPPED, 52.4),
        (16.2, 61.5, DIGITS_SWAPPED, 61.2),
        (72.2, 22.0, WRONG_UNIT, 22.00656),
    ],
)
def test_what_one_slip_makes_fit_is_asked_about(figure, due, kind, meant):
    assert doubt_figure(figure, due, 0.05, 0.05, FEET) == (kind, pytest.approx(meant))


@pytest.mark.parametrize("share", [1.0, 0.93, 1.08, 0.8, 0.6, 0.35])
def test_figures_that_are_low_and_right_are_left_alone(share):
    due = np.random.default_rng(7).uniform(4, 90, 200)
    asked = [doubt_figure(round(d * share, 2), d, 0.1, 0.2)[0] != NONE for d in due]
    assert np.mean(asked) < 0.05


def test_a_slip_is_told_the_less_the_likelier_it_is_that_something_is_amiss():
    assert doubt_figure(5.2, 52.0, 0.25, 0.05)[0] == SLIP_OF_TEN
    assert doubt_figure(5.2, 52.0, 0.25, 0.9)[0] == NONE


def test_the_digits_are_those_that_stand_there():
    written = {figure for kind, figure, _often in other_writings(45.2) if kind == DIGITS_SWAPPED}
    assert written == {54.2, 42.5}
    assert {f for k, f, _often in other_writings(55.0) if k == DIGITS_SWAPPED} == set()


OF_VOLTS, OF_AMPS = Reading(52.0, 0.1, 0.05), Reading(6.2, 0.13, 0.2)


@pytest.mark.parametrize(
    ("volts", "amps"),
    [(6.1, 51.0), (5.2, 47.0), (3.0, 50.0), (6.0, 30.0), (0.0, 62.0)],
    ids=["sound", "a little less", "half the amps", "low volts", "standing still"],
)
def test_volts_and_amps_in_each_others_place_are_asked_about_whatever_else_is_wrong(volts, amps):
    assert in_each_others_place(volts, amps, OF_VOLTS, OF_AMPS)
    assert not in_each_others_place(amps, volts, OF_VOLTS, OF_AMPS)


@pytest.mark.parametrize(
    ("volts", "amps"),
    [(52.0, 0.6), (5.2, 6.2), (52.0, 62.0), (64.0, 0.0), (4.0, 7.1), (0.0, 0.0)],
    ids=["a tenth", "a nought less", "a nought more", "open", "stalled", "night"],
)
def test_what_another_reason_explains_is_no_exchange(volts, amps):
    assert not in_each_others_place(volts, amps, OF_VOLTS, OF_AMPS)


@pytest.mark.parametrize("missing", ["volts", "amps", "volts due", "amps due"])
def test_without_one_of_the_four_figures_no_exchange_is_asked_about(missing):
    nan = float("nan")
    known = {"volts": 6.1, "amps": 51.0, "volts due": 52.0, "amps due": 6.2} | {missing: nan}
    of_volts, of_amps = OF_VOLTS._replace(due=known["volts due"]), OF_AMPS._replace(due=known["amps due"])
    assert not in_each_others_place(known["volts"], known["amps"], of_volts, of_amps)


def test_figures_of_an_array_whose_volts_are_much_like_its_amps_are_hardly_ever_asked_about():
    rng = np.random.default_rng(11)
    for due_v, due_a in ((52.0, 6.2), (30.0, 20.0), (18.0, 17.0), (240.0, 8.0)):
        of_volts, of_amps = Reading(due_v, 0.1, 0.05), Reading(due_a, 0.15, 0.2)
        volts, amps = due_v * np.exp(rng.normal(0, 0.1, 500)), due_a * np.exp(rng.normal(0, 0.15, 500))
        amps[::5] *= rng.uniform(0, 1, 100)  # every fifth is low since something is wrong
        asked = [in_each_others_place(v, a, of_volts, of_amps) for v, a in zip(volts, amps)]
        assert np.mean(asked) < 0.01, (due_v, due_a)


def noons(days=20, every=1, **changes):
    """A unit's noons, one `every` so many days, all asked about; changes: {name: {place: figure}}."""
    rng = np.random.default_rng(3)
    sun = rng.uniform(500, 950, days).round()
    figures = {
        "sun_w_m2": sun, "volts": rng.normal(51, 0.8, days).round(1),
        "amps": (6.3 * sun / 1000 * np.exp(rng.normal(0, 0.03, days))).round(2),
        "level_m": rng.normal(24, 0.3, days).round(1),
    }  # fmt: skip
    for name, wrong in changes.items():
        for place, figure in wrong.items():
            figures[name][place] = figure
    return Noons(
        unit=np.ones(days, int), day=20_000 + every * np.arange(days), nominal_v=np.full(days, 54.6),
        nominal_a=np.full(days, 8.2), counts=np.ones(days, bool), asked=np.ones(days, bool),
        direct=np.zeros(days, bool), **figures,
    )  # fmt: skip


def told(made):
    return [(s.place, s.name, s.kind, s.meant) for s in doubt_noons(made)]


def test_sound_noons_are_not_asked_about():
    assert told(noons(300, every=3)) == []


@pytest.mark.parametrize(
    ("name", "figure", "kind", "meant"),
    [
        ("volts", 5.12, SLIP_OF_TEN, 51.2),
        ("volts", 15.2, DIGITS_SWAPPED, 51.2),
        ("level_m", 241.0, SLIP_OF_TEN, 24.1),
        ("sun_w_m2", 0.71, WRONG_UNIT, 710.0),
        ("sun_w_m2", 7120.0, SLIP_OF_TEN, 712.0),
    ],
)
@pytest.mark.parametrize("place", [0, 9, 19], ids=["first", "among others", "newest"])
def test_a_noon_unlike_those_around_it_is_asked_about(name, figure, kind, meant, place):
    assert told(noons(**{name: {place: figure}})) == [(place, name, kind, pytest.approx(meant))]


def test_amps_are_held_against_their_sun():
    assert [s[:3] for s in told(noons(sun_w_m2={9: 800.0}, amps={9: 50.4}))] == [(9, "amps", SLIP_OF_TEN)]
    assert told(noons(sun_w_m2={9: 260.0}, amps={9: 1.65})) == []


def test_a_pump_that_stands_or_gives_less_from_a_day_on_made_no_slip():
    assert told(noons(amps={9: 0.0}, volts={9: 64.0})) == []
    tenth = dict.fromkeys(range(14, 20), 0.45)
    assert told(noons(sun_w_m2=dict.fromkeys(range(14, 20), 700.0), amps=tenth)) == []


def test_a_motor_on_the_modules_that_stalled_at_noon_made_no_slip_and_too_many_volts_are_one_still():
    direct = np.ones(20, bool)
    assert told(noons(volts={9: 5.1})._replace(direct=direct)) == []
    assert [s[:3] for s in told(noons(volts={9: 512.0})._replace(direct=direct))] == [(9, "volts", SLIP_OF_TEN)]


def test_volts_are_held_against_noons_of_a_like_sun():
    low = range(0, 20, 3)
    suns = dict.fromkeys(range(20), 900.0) | dict.fromkeys(low, 390.0)
    amps = dict.fromkeys(range(20), 5.7) | dict.fromkeys(low, 2.4)
    assert told(noons(sun_w_m2=suns, volts=dict.fromkeys(low, 35.0), amps=amps)) == []


def test_where_too_few_noons_are_known_the_modules_own_figures_tell_a_slip_of_ten():
    assert [s[:3] for s in told(noons(2, volts={0: 512.0}))] == [(0, "volts", SLIP_OF_TEN)]
    assert told(noons(2)) == []


def test_a_logger_slips_with_no_digits_but_its_table_may_be_in_another_unit_of_measure():
    wrong = {"volts": {20: 15.2}, "level_m": {7: 241.0}}
    assert told(noons(60, **wrong)) == []
    assert len(told(noons(60, every=3, **wrong))) == 2
    assert told(noons(60, sun_w_m2={20: 0.71})) == [(20, "sun_w_m2", WRONG_UNIT, pytest.approx(710.0))]


def test_a_level_at_rest_is_not_held_against_pumping_levels():
    rest = {9: 0.0}
    assert told(noons(amps=rest, level_m={9: 20.3})) == []
    at_rest, pumping = dict.fromkeys(range(0, 20, 2), 20.3), dict.fromkeys(range(1, 20, 2), 23.0)
    swapped = noons(amps=dict.fromkeys(range(0, 20, 2), 0.0), level_m=at_rest | pumping | {11: 32.1})
    assert [slip[:2] for slip in told(swapped)] == [(11, "level_m")]


def test_other_units_noons_and_those_long_ago_say_nothing():
    two = noons(20)
    other = two._replace(unit=np.repeat([1, 2], 10), volts=np.repeat([51.0, 78.0], 10))
    assert told(other) == []
    early = two._replace(day=np.repeat([20_000, 20_100], 10) + np.arange(20), volts=np.repeat([31.0, 13.0], 10))
    assert told(early) == []


def test_only_what_is_asked_about_is_told_and_what_is_in_doubt_says_nothing_of_the_others():
    wrong = noons(volts={9: 5.12})
    assert told(wrong._replace(asked=np.arange(20) != 9)) == []
    odd = np.arange(30) % 2 == 1
    lost = noons(30, every=3, volts=dict.fromkeys(np.flatnonzero(~odd).tolist(), 5.1))
    lost = lost._replace(nominal_v=np.full(30, np.nan))
    places = [slip[0] for slip in told(lost._replace(counts=odd))]
    assert len(places) > 8 and not set(places) & set(np.flatnonzero(odd).tolist())
