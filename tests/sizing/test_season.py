"""A healthy level through the year: what is the unit's own, what is its yearly wave, what all around have in common."""

import numpy as np
import pytest

from sizing import judge
from sizing.causes import table
from sizing.judge import noise, record, season
from tests.sizing.invented import fleet, row

FIRST = 19800
UNITS = 12
SPAN = 14  # days between two readings of a meter


def told(days, ratio, level_sd=0.05):
    """What is known of one unit after figures of log ratio(day), one a week."""
    split, doubt = season.start(np.zeros(1), np.full(1, level_sd))
    for day in range(FIRST, FIRST + days):
        split, doubt = season.pass_a_day(split, doubt)
        if day % 7 == 0:
            split, doubt = season.take_in(split, doubt, [0], [ratio(day)], [0.03**2], [1.0], [day])
    return split, doubt


def test_what_a_unit_always_gives_more_is_its_own_and_no_season():
    split, _doubt = told(700, lambda _day: 0.08)
    constant, _cosine, _sine, lean = split[0]
    assert constant + lean == pytest.approx(0.08, abs=0.01)
    assert constant > 0.06
    assert abs(season.wave(split, FIRST + 700, 700)[0]) < 0.01


def test_a_wave_of_past_years_is_expected_in_the_next_and_nothing_of_it_in_the_first():
    def year(day):
        return 0.06 * np.cos(2 * np.pi * (day - FIRST) / season.YEAR)

    split, _doubt = told(1100, year)
    dip = FIRST + 2.5 * season.YEAR
    assert season.wave(split, dip, 1000)[0] == pytest.approx(-0.06, abs=0.025)
    assert season.wave(split, dip + season.YEAR / 2, 1000)[0] > 0.03
    split, _doubt = told(200, year)
    assert season.wave(split, FIRST + 200, 200)[0] == 0


def test_a_lean_fades_when_nothing_more_is_heard():
    split, doubt = told(400, lambda day: -0.1 if day > FIRST + 340 else 0.0)
    lean = split[0, 3]
    assert lean < -0.03
    for _ in range(int(3 * season.LEAN_DAYS)):
        split, doubt = season.pass_a_day(split, doubt)
    assert abs(split[0, 3]) < 0.06 * abs(lean)
    assert doubt[0, 9] == pytest.approx(season.LEAN_SD**2, rel=0.02)


@pytest.mark.parametrize(
    ("ratio", "variance"), [(np.nan, 0.001), (0.1, np.nan), (0.1, 0.0)], ids=["no figure", "no doubt", "no room"]
)
def test_a_figure_that_says_nothing_changes_nothing(ratio, variance):
    split, doubt = season.start(np.zeros(2), np.full(2, 0.05))
    after = season.take_in(split, doubt, [1], [ratio], [variance], [1.0], [FIRST])
    np.testing.assert_array_equal(after[0], split)
    np.testing.assert_array_equal(after[1], doubt)


def leaning(leans, sd=0.01):
    """Split and doubt of units whose lean is known to be so much."""
    split, doubt = season.start(np.zeros(len(leans)), np.full(len(leans), 0.05))
    split[:, 3], doubt[:, 9] = leans, sd**2
    return split, doubt


def together(leans, sound=True):
    n = len(leans)
    around = season.around(12.0 + 0.05 * np.arange(n), np.full(n, 2.0))
    split, doubt = leaning(leans)
    return season.shared(around.index, around.near, around.among, split, doubt, np.broadcast_to(sound, (n,)))


def test_units_that_lean_together_let_expect_it_of_each_and_one_alone_lets_expect_nothing():
    common = together(np.full(UNITS, -0.06))
    assert np.all((common < -0.035) & (common > -0.06))
    one = np.zeros(UNITS)
    one[5] = -0.2
    alone = together(one)
    assert abs(alone[5]) < 0.002, "what it does itself is never expected of it"
    assert np.all(np.abs(np.delete(alone, 5)) < 0.008), "and it hardly moves what is expected of others"


def test_units_under_suspicion_tell_nothing_of_the_season():
    assert np.all(together(np.full(UNITS, -0.06), sound=False) == 0)


def test_a_unit_without_neighbours_is_left_as_it_is():
    around = season.around([12.0], [2.0])
    assert season.shared(around.index, around.near, around.among, *leaning([-0.1]), np.ones(1, bool)).tolist() == [0.0]


def test_units_in_one_and_the_same_place_are_no_trouble():
    around = season.around(np.full(30, 12.0), np.full(30, 2.0))
    assert around.index.shape == (30, season.MOST)
    assert not (around.index == np.arange(30)[:, None]).any()


def judged(factor, days=330, told_by_neighbours=True):
    """Observations of a dozen meters in one district, nothing but which is known of it: factor(unit, day) of what is
    due comes."""
    units = fleet(*[row(latitude_deg=12.0 + 0.03 * u, longitude_deg=2.0) for u in range(UNITS)])
    made = table.build(units, np.full((UNITS, 12), 0.8), np.zeros(UNITS))
    floats = np.zeros(UNITS, bool)
    sites = judge.Sites(floats, np.full(UNITS, np.nan), floats)
    state = judge.new_state(UNITS, 0.0, 0.04, 3000.0, FIRST)
    net = judge.network(units.latitude_deg, units.longitude_deg, floats)
    around = judge.around(units.latitude_deg, units.longitude_deg)
    total, rows = np.zeros(UNITS), []
    rng = np.random.default_rng(4)
    for day in range(FIRST, FIRST + days):
        doy = judge.day_of_year(day)
        sky = judge.read_sky(net, made.prior(doy) + state.sky_bias, *judge.tell(state, sites, made, None, day))
        due = made.water(np.arange(UNITS), doy, made.prior(doy))[0]
        total = total + due * np.array([factor(u, day - FIRST) for u in range(UNITS)])
        read = np.flatnonzero((np.arange(UNITS) + day) % SPAN == 0)
        shown = total[read] * np.exp(rng.normal(0, 1e-4, read.size))
        totals = record.Totals(read, np.full(read.size, 18.5), shown, np.full(read.size, np.nan))
        lean = judge.read_season(around, state, day) if told_by_neighbours else None
        state, out = judge.night(state, sites, made, sky, None, totals if read.size else None, day, None, lean)
        rows.append(out)
    rows = np.concatenate(rows)
    return [rows[rows["unit"] == u] for u in range(UNITS)], state


def surest(rows):
    """Largest log odds of a loss on any day of a reading."""
    return max(
        judge.find(rows[: k + 1], int(rows["day"][k]), FIRST, 0.0, 0.04, noise.METER, False).fault
        for k in range(4, len(rows))
    )


def falls(day, begin=200, days=60, loss=0.13):
    """Share that is left while output falls slowly from a day on."""
    return 1 - loss * np.clip((day - begin) / days, 0, 1)


def test_meters_that_all_give_less_are_the_season_and_one_that_does_so_alone_is_told():
    limit = float(judge.limit(10, False))
    all_of_them, _state = judged(lambda _unit, day: falls(day))
    unaware, _state = judged(lambda _unit, day: falls(day), told_by_neighbours=False)
    alone, state = judged(lambda unit, day: falls(day) if unit == 5 else 1.0)
    assert max(surest(rows) for rows in alone[:5]) < limit
    assert surest(alone[5]) > limit
    assert np.all(np.abs(np.delete(state.season, 5)) < 0.01)
    common, blamed = ([surest(rows) for rows in told] for told in (all_of_them, unaware))
    assert np.median(common) < np.median(blamed) - 3
    assert np.mean(np.array(common) > limit) < np.mean(np.array(blamed) > limit)


def test_what_is_due_follows_the_season():
    _rows, state = judged(lambda _unit, day: falls(day, days=30, loss=0.06), days=290)
    assert np.all(state.season < -0.025)
    np.testing.assert_allclose(judge.offset(state, FIRST + 290), state.season)
