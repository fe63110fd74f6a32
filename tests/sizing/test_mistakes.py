"""Recording mistakes: what makes a figure fit is suggested, and a figure that is low and right is left alone."""

import numpy as np
import pytest

from sizing import judge
from sizing.causes import names, odds, signatures
from sizing.judge import mistakes
from tests.sizing.invented import fleet, row
from tests.sizing.one_unit import DAY, rows_of


@pytest.mark.parametrize(
    ("total", "kind", "meant"),
    [
        (510637, mistakes.DIGITS_SWAPPED, 150637),
        (1506370, mistakes.SLIP_OF_TEN, 150637),
        (15064, mistakes.SLIP_OF_TEN, 150640),
        (900000, mistakes.IMPOSSIBLE, np.nan),
    ],
)
def test_a_slip_of_the_pen_is_recognised_by_what_makes_it_fit(total, kind, meant):
    doubt = mistakes.doubt_total(total, 108142, 42000, 0.06, 10_000_000)
    assert doubt.kind == kind
    np.testing.assert_equal(doubt.meant, meant)


@pytest.mark.parametrize("total", [150637, 140000, 108142])
def test_sound_totals_and_a_meter_that_stands_are_not_doubted(total):
    assert mistakes.doubt_total(total, 108142, 42000, 0.06, 10_000_000) is None


def test_a_meter_begins_again_from_nought():
    assert mistakes.water_since(22071, 987064, 1_000_000) == 35007
    assert mistakes.doubt_total(22071, 987064, 36000, 0.06, 1_000_000) is None


def test_a_volume_ten_times_too_much_or_too_little_is_marked():
    kind, meant = mistakes.doubt_days(np.array([3000.0, 30000, 300, 0]), np.full(4, 3100.0), np.full(4, 0.05))
    assert kind.tolist() == [mistakes.NONE, mistakes.SLIP_OF_TEN, mistakes.SLIP_OF_TEN, mistakes.NONE]
    np.testing.assert_array_equal(meant[1:3], [3000, 3000])


DUE, SPREAD = 42_000.0, 0.08


def low_totals(share, count=300):
    """Totals of meters of which a share of what was due came, all of them right."""
    before = np.random.default_rng(5).integers(100_000, 9_000_000, count)
    return [(float(b), float(b + round(share * DUE))) for b in before]


@pytest.mark.parametrize("share", [0.15, 0.25, 0.4, 0.55])
def test_a_period_that_is_low_and_right_is_seldom_taken_for_a_slip_of_the_pen(share):
    doubted = [mistakes.doubt_total(t, b, DUE, SPREAD, 1e7) for b, t in low_totals(share)]
    assert np.mean([d is not None for d in doubted]) < 0.03


def test_a_total_without_its_last_nought_is_suspected_only_while_nothing_else_speaks_for_a_loss():
    before, low = 900.0, 4_300.0  # of a new meter, where a tenth of the total is still above the last one
    plain = mistakes.doubt_total(low, before, DUE, SPREAD, 1e7)
    assert (plain.kind, plain.meant) == (mistakes.SLIP_OF_TEN, 43_000)
    assert mistakes.doubt_total(low, before, DUE, SPREAD, 1e7, evidence=8.0) is None


def test_what_a_period_lacked_may_come_with_the_next():
    before = 500_000.0
    twice = before + 2 * DUE
    assert mistakes.doubt_total(twice, before, DUE, SPREAD, 1e7) is not None
    assert mistakes.doubt_total(twice, before, DUE, SPREAD, 1e7, lacked=DUE) is None
    assert mistakes.doubt_total(before + 4 * DUE, before, DUE, SPREAD, 1e7, lacked=DUE) is not None


def test_figures_exchanged_between_two_units_are_put_right_at_both():
    mine, theirs = (500_000.0, 541_000.0), (3_700_000.0, 3_739_000.0)  # last good total, and the true one of that day
    here = mistakes.doubt_total(
        theirs[1], mine[0], DUE, SPREAD, 1e7, [mistakes.Other(7, mine[1], theirs[0], DUE, 1e7)]
    )
    assert here == mistakes.Doubt(mistakes.READINGS_SWAPPED, mine[1], 7)
    there = mistakes.doubt_total(
        mine[1], theirs[0], DUE, SPREAD, 1e7, [mistakes.Other(3, theirs[1], mine[0], DUE, 1e7)]
    )
    assert there == mistakes.Doubt(mistakes.READINGS_SWAPPED, theirs[1], 3)


def test_a_unit_whose_own_figure_fits_has_exchanged_nothing():
    sound = mistakes.Other(7, 541_000.0, 500_000.0, DUE, 1e7)
    assert mistakes.doubt_total(7_700_000.0, 499_500.0, DUE, SPREAD, 1e7, [sound]).kind != mistakes.READINGS_SWAPPED


def elsewhere(*units, likely=None):
    """Units without a figure of their own: (place, last good total), to which as much is due as here."""
    place, before = (np.array(column) for column in zip(*units, strict=True))
    alike = np.ones(len(place))
    likely = alike / len(place) if likely is None else np.array(likely)
    return mistakes.Elsewhere(place, before, alike * DUE, alike * SPREAD, alike * 1e7, likely)


def under_another(total, before, missing):
    return mistakes.doubt_total(total, before, DUE, SPREAD, 1e7, elsewhere=missing)


def test_a_total_that_only_another_unit_can_have_shown_belongs_to_it():
    missing = elsewhere((3, 1_250_000.0), (7, 3_700_000.0), (9, 6_050_000.0))
    assert under_another(3_741_000.0, 500_000.0, missing) == mistakes.Doubt(mistakes.WRONG_SERIAL, 3_741_000.0, 7)
    round_over = elsewhere((7, 9_980_000.0))
    assert under_another(22_000.0, 500_000.0, round_over) == mistakes.Doubt(mistakes.WRONG_SERIAL, 22_000.0, 7)


def test_a_total_that_fits_here_or_nobody_or_two_alike_is_said_to_belong_to_none():
    assert under_another(541_000.0, 500_000.0, elsewhere((7, 499_000.0))) is None
    for missing in (elsewhere((7, 3_500_000.0)), elsewhere((7, 3_700_000.0), (8, 3_701_000.0))):
        assert under_another(3_741_000.0, 500_000.0, missing).kind == mistakes.IMPOSSIBLE


def test_of_two_alike_the_one_on_the_same_round_is_told():
    two = [(7, 3_700_000.0), (8, 3_701_000.0)]
    for likely, place in (((0.8, 0.2), 7), ((0.2, 0.8), 8)):
        assert under_another(3_741_000.0, 500_000.0, elsewhere(*two, likely=likely)).other == place


def test_a_slip_that_explains_a_total_as_well_is_likelier_than_one_unit_of_many():
    ten_times = 5_410_000.0
    some = [(n, 9_000_000.0) for n in range(20)]
    doubt = under_another(ten_times, 500_000.0, elsewhere(*some, (20, ten_times - DUE)))
    assert (doubt.kind, doubt.meant) == (mistakes.SLIP_OF_TEN, 541_000)


def test_a_low_total_is_not_given_to_another_unit_of_many_that_it_fits_by_chance():
    low = 500_000.0 + 0.4 * DUE
    missing = elsewhere(*((n, 7_000_000.0) for n in range(60)), (60, low - DUE))
    assert under_another(low, 500_000.0, missing) is None


def test_of_units_with_which_a_figure_may_have_been_exchanged_the_one_that_fits_best_is_named():
    near = mistakes.Other(3, 535_500.0, 3_690_000.0, DUE, 1e7)
    best = mistakes.Other(7, 541_500.0, 3_699_000.0, DUE, 1e7)
    for others in ([near, best], [best, near]):
        assert mistakes.doubt_total(3_741_000.0, 500_000.0, DUE, SPREAD, 1e7, others).other == 7


def test_a_meter_of_unknown_round_that_went_over_suggests_the_round():
    doubt = mistakes.doubt_total(22_071, 987_064, 36_000, SPREAD, np.nan)
    assert doubt == mistakes.Doubt(mistakes.ROLLOVER, 1_000_000.0)
    backwards = mistakes.doubt_total(220_071, 487_064, 36_000, SPREAD, np.nan)
    assert backwards.kind != mistakes.ROLLOVER, "the meter was nowhere near its round"


@pytest.mark.parametrize(
    ("spread", "evidence", "kind"),
    [(0.06, 0.0, mistakes.SLIP_OF_TEN), (0.06, 8.0, mistakes.NONE), (0.45, 0.0, mistakes.NONE)],
    ids=["sure of the sun", "a loss was coming", "under an unknown sky"],
)
def test_a_tenth_of_a_days_water_is_a_lost_nought_only_where_that_is_likelier_than_a_bad_day(spread, evidence, kind):
    water = np.array([300.0 if spread < 0.1 else 600.0])
    found, _meant = mistakes.doubt_days(water, np.array([3000.0]), np.full(1, spread), np.array([evidence]))
    assert found.tolist() == [kind]


def test_a_total_equal_to_the_last_one_may_be_copied_and_says_so_until_the_next():
    share = np.ones(12)
    share[-1] = 0.0
    rows = rows_of(share, days=12, noise=0.02)
    rows["day"] = DAY - 14 * np.arange(11, -1, -1)
    for name in ("since", "measured_l", "supply_l", "expected_l"):
        rows[name] *= 14
    rows["told_by"], rows["weather_var"] = 8, 0.04**2
    signs = signatures.of_unit(fleet(row()), 0, 5)
    once = odds.judge(rows, signs, DAY, int(rows["day"][0]), 0.0, 0.05)
    assert once.misread > 0.5, "who stops within a period leaves a part of it: nothing at all is oftener a copy"
    surely = judge.Found(6.0, -6.0, 0.002, 1.0, DAY - 14, 0.0)
    assert judge.decide(None, surely, once, DAY, 0.5).what == judge.NOTHING
    rows["measured_l"][-2] = 0.0
    twice = odds.judge(rows, signs, DAY, int(rows["day"][0]), 0.0, 0.05)
    assert twice.misread < 0.02
    assert twice.cause[[names.NUMBER["stands_still"], names.NUMBER["meter_stands"]]].sum() > 0.8
    assert judge.decide(None, surely, twice, DAY, 0.5).what == judge.RAISED


def test_that_only_the_newest_figure_is_wrong_is_part_of_nothing_being_wrong():
    cause = np.full(len(names.NAMES), 1.0 / len(names.NAMES))
    found = judge.Found(6.0, -6.0, 0.01, 0.5, DAY - 12, 0.0)
    told = odds.Odds(6.0, -6.0, cause, 0.3, (DAY, DAY, DAY), (900.0, 700.0, 1100.0), 0.5, misread=0.2)
    assert judge.agreed(found, told).none == pytest.approx(0.01 + 0.99 * 0.2)
    assert judge.agreed(found, told._replace(misread=0.0)).none == pytest.approx(0.01)
