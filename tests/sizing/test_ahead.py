"""What is told of a unit before a test on site: with it alone, the test is weighed as with all that was ever read."""

import numpy as np
import pytest

from sizing import chain, judge
from sizing.causes import channels, names, odds, onsite, signatures
from sizing.judge import ahead as before
from sizing.judge import noise
from sizing.judge import onsite as figures
from tests.makers import tested_fleet
from tests.makers.run_judged_fleet import noon_due
from tests.sizing import weighed_ahead
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row
from tests.sizing.test_onsite import (
    FIRST,
    LEVEL,
    LEVEL_SD,
    TODAY,
    USUAL_L,
    periods,
    rows_of,
    taken,
)

NOTHING_READ = rows_of(invented_fleet(row()), taken(invented_fleet(row()), [TODAY], [np.nan]))
GAIN = 1.0
CLOSE, ALIKE = 0.13, 0.2  # of odds, at the worst; how near two leading causes must lie for their order to be left open


@pytest.fixture(scope="module")
def fleet():
    return invented_fleet(row())


@pytest.fixture(scope="module")
def floating():
    return invented_fleet(row(float_switch=True))


def asked(fleet, rows, **changes):
    known = {
        "rows": rows, "signatures": signatures.of_unit(fleet, 0, 5), "today": TODAY, "first": FIRST, "level": LEVEL,
        "level_sd": LEVEL_SD,
    }  # fmt: skip
    return odds.Asked(**known | changes)


def told(fleet, rows, drawn=np.nan, kind=noise.METER, gain=GAIN, **changes):
    ask = asked(fleet, rows, **changes)
    return before.ahead(ask, USUAL_L, drawn, gain, lambda some: noon_due(fleet, 0, some), kind)


def by_all(fleet, rows, **changes):
    """The same test weighed among all readings, as it is once it has come home."""
    noon = noon_due(fleet, 0, rows) if np.isfinite(rows["noon_w_m2"]).any() else None
    return odds.judge_many([asked(fleet, rows, noon=noon, on_site=True, **changes)])[0]


def read_of(fleet, tests, unit=0):
    """A test as it is weighed on the spot (weighed_ahead.Read)."""
    due = figures.due(fleet, tests)
    flow = rows_of_unit(tests, due)
    beside, sun = {}, float(tests.sun_w_m2[0])
    volts, amps, level, rest = (float(x[0]) for x in noon_due(fleet, unit, flow[:1]))
    if np.isfinite(tests.amps[0]):
        beside["current"] = np.log(tests.amps[0] / amps)
    if np.isfinite(tests.volts[0]):
        beside["voltage"] = np.log(tests.volts[0] / volts)
    if np.isfinite(tests.pumping_level_m[0]):
        beside["level"] = tests.pumping_level_m[0] - level
    elif np.isfinite(tests.rest_m[0]):
        beside["rest"] = tests.rest_m[0] - rest
    if np.isfinite(tests.beside_l_min[0]):
        meant = tests.beside_l_min[0] / tests.flow_l_min[0]
        beside["meter"] = np.log((min(meant, 2.0) + 0.1) / 1.1)
    share = float(flow["measured_l"][0] / flow["expected_l"][0])
    return weighed_ahead.Read(share, float(due.variance[0]), float(due.light_gain[0]), sun,
                              int(flow["told_by"][0]), beside)  # fmt: skip


def rows_of_unit(tests, due, level=LEVEL):
    t = len(tests.row)
    return figures.as_observations(tests, due, np.full(t, level), np.full(t, USUAL_L), np.full(t, np.nan))


EARLIER = {
    "nothing": lambda fleet: NOTHING_READ,
    "sound tests": lambda fleet: rows_of(fleet, taken(fleet, [TODAY - 120, TODAY - 40], [1.02, 0.97])),
    "a poor test": lambda fleet: rows_of(fleet, taken(fleet, [TODAY - 150, TODAY - 20], [1.0, 0.7])),
    "a sound meter": lambda fleet: periods([1.0, 1.02, 0.98, 1.01])[:-1],
    "a falling meter": lambda fleet: periods([1.0, 0.97, 0.85, 0.7, 0.6])[:-1],
    "a meter read the same day": lambda fleet: periods([1.0, 0.97, 0.85, 0.7]),
}  # fmt: skip


@pytest.mark.parametrize("earlier", EARLIER)
def test_all_that_is_told_is_whole_and_of_one_length(fleet, earlier):
    got = told(fleet, EARLIER[earlier](fleet))
    p = len(got.of)
    assert p > 20
    assert got.flow_mean.shape == (2,) and got.flow_var.shape == (3,)
    for name in ("grown", "weight", "factor", "doubt_left", "carried", "kept"):
        values = getattr(got, name)
        assert values.shape == (p,) and np.isfinite(values).all(), name
    assert ((got.of >= 0) & (got.of < len(got.signatures.cause))).all()
    assert ((got.grown > 0) & (got.grown <= 1)).all()
    assert ((got.doubt_left >= 0) & (got.doubt_left <= 1 + 1e-9)).all()
    adds = got.kept > 1e-9
    assert set(got.signatures.cause[got.of[adds]]) <= {names.NUMBER["frame_turned"]}, "no other fault adds water"
    assert set(got.sides) == set(before.SIDES)
    for side in got.sides.values():
        assert side.var > 0 and 0 < side.trust <= 1
        assert side.before is None or side.before.shape == (3, p)
    assert np.isfinite(got.sound) and got.sound >= 0, "nothing wrong has a weight of one, and more is added to it"
    assert got.less is None, "nothing is drawn less of where no float switch limits"


def test_few_parts_carry_what_thousands_of_hypotheses_say(fleet):
    got = told(fleet, EARLIER["a falling meter"](fleet))
    sig = signatures.of_unit(fleet, 0, 5).without_cell
    every = sig.shares.size * len(odds.SPARSE)
    assert len(got.of) < every / 10
    assert set(sig.cause) == set(sig.cause[got.of]), "none of the causes is left out"


def test_before_any_reading_the_next_flow_is_as_wide_as_own_level_seasons_and_dirt_make_it(fleet):
    got = told(fleet, NOTHING_READ)
    with_days, alike = onsite.carried(LEVEL_SD)
    assert got.flow_mean == pytest.approx([0, 0])
    assert got.flow_var[0] == pytest.approx(LEVEL_SD**2 + channels.SLOW_SD**2 + 2 * with_days + alike)
    assert got.flow_var[1:] == pytest.approx([0.0, channels.DIRT_SD**2])
    assert all(side.before is None and side.mean == 0 for side in got.sides.values())
    assert 0 <= got.sound < 0.01, "what begins today is of no account to its test"


def test_earlier_readings_narrow_the_next_flow_and_lead_to_it(fleet):
    none, some = (told(fleet, EARLIER[name](fleet)) for name in ("nothing", "sound tests"))
    assert some.flow_var[0] < none.flow_var[0]
    high = told(fleet, rows_of(fleet, taken(fleet, [TODAY - 40, TODAY - 20], [1.1, 1.1])))
    low = told(fleet, rows_of(fleet, taken(fleet, [TODAY - 40, TODAY - 20], [0.92, 0.92])))
    assert low.flow_mean[0] < some.flow_mean[0] < high.flow_mean[0]


def test_a_test_that_says_nothing_new_leaves_the_odds_of_the_earlier_readings(fleet):
    """Flow all but unknown: what is left are the weights of the earlier readings, summed."""
    rows = EARLIER["a falling meter"](fleet)
    day = int(rows["day"].max())
    got = told(fleet, rows, today=day + 1)
    unknown = weighed_ahead.Read(1.0, 1e4, GAIN, 820.0, onsite.BY_METER, {})
    cause, none = weighed_ahead.weighed(got, unknown)
    alone = odds.judge(rows, signatures.of_unit(fleet, 0, 5), day + 1, FIRST, LEVEL, LEVEL_SD)
    assert cause == pytest.approx(alone.cause, abs=CLOSE)
    assert none == pytest.approx(alone.none, abs=CLOSE)


@pytest.mark.parametrize("earlier", EARLIER)
@pytest.mark.parametrize("share", [0.0, 0.45, 0.7, 0.97])
@pytest.mark.parametrize("electric", [False, True])
def test_a_test_is_weighed_on_the_spot_as_among_all_readings(fleet, earlier, share, electric):
    rows = EARLIER[earlier](fleet)
    at = chain.spot(fleet, 820.0, 30.0, fleet.static_level_m[:, 5])
    more = {}
    if electric and share:
        more = {"volts": 0.98 * at.array_voltage_v, "amps": 0.85 * at.array_current_a}
    tests = taken(fleet, [TODAY], [share], **more)
    here, none = weighed_ahead.weighed(told(fleet, rows), read_of(fleet, tests))
    want = by_all(fleet, np.concatenate([rows, rows_of(fleet, tests)]))
    assert none == pytest.approx(want.none, abs=CLOSE)
    if want.none < 0.95:
        assert here == pytest.approx(want.cause, abs=CLOSE)


def test_simulated_units_get_the_odds_of_all_their_readings_on_the_spot():
    """Machines, wells and instruments other than recorded, faults of all sizes: with earlier tests and with a meter."""
    apart, order, compared = [], 0, 0
    for earlier, meter in ((2, False), (0, True)):
        made = tested_fleet.tested(17, 40, earlier)
        signs = signatures.of_units(made.fleet, range(40), tested_fleet.MONTH)
        for u in range(40):
            rows = tested_fleet.observations(made, u, meter)
            new = (rows["day"] == tested_fleet.TODAY) & onsite.is_test(rows["told_by"])
            if not new.any():
                continue
            more = {"level": made.level[u], "level_sd": made.doubt[u], "today": tested_fleet.TODAY, "first": 1,
                    "signatures": signs[u]}  # fmt: skip
            ask = asked(made.fleet, rows[~new], **more)
            mine = figures.Tests(*(x[(made.tests.row == u) & (made.tests.day == tested_fleet.TODAY)]
                                   for x in made.tests))  # fmt: skip
            due = figures.due(made.fleet, mine)
            got = before.ahead(ask, tested_fleet.USUAL_L, np.nan, float(due.light_gain[0]),
                               lambda some, u=u, f=made.fleet: noon_due(f, u, some), noise.METER)  # fmt: skip
            flow = rows[new & (rows["told_by"] != onsite.DIP)][0]
            read = weighed_ahead.Read(float(flow["measured_l"] / flow["expected_l"]), float(flow["weather_var"]),
                                      float(flow["light_gain"]), float(flow["noon_w_m2"]), int(flow["told_by"]), {})
            # The flow alone: what else was read is taken out on either side.
            bare = rows[~(new & (rows["told_by"] == onsite.DIP))].copy()
            for name in ("noon_v", "noon_a", "noon_level_m"):
                bare[name][bare["day"] == tested_fleet.TODAY] = np.nan
            want = odds.judge_many([ask._replace(rows=bare, noon=noon_due(made.fleet, u, bare), on_site=True)])[0]
            here, none = weighed_ahead.weighed(got, read)
            assert none == pytest.approx(want.none, abs=0.1), u
            if want.none > 0.5:
                continue
            compared += 1
            apart.append(np.abs(here - want.cause).max())
            first, second = np.sort(want.cause)[-2:][::-1]
            order += first - second < ALIKE or np.argmax(here) == np.argmax(want.cause)
    assert compared >= 12, "too few fell short to say anything"
    assert order == compared
    assert np.max(apart) < 0.12 and np.mean(apart) < 0.04


def less_drawn(fleet, draw, share):
    """Meter totals behind a float switch whose draw fell to `share` four months ago."""
    rows = periods([1.0] * 4 + [share] * 4)
    rows["day"] -= 1
    rows["demand_l"] = draw
    rows["measured_l"] = np.minimum(USUAL_L * np.exp(LEVEL), draw * rows["measured_l"] / rows["expected_l"]) * 28
    rows["expected_l"] = min(USUAL_L * np.exp(LEVEL), draw) * 28
    return rows


@pytest.mark.parametrize(("draw", "fell_to"), [(0.8, 0.4), (1.1, 0.4), (0.95, 0.3)])
@pytest.mark.parametrize("share", [0.5, 0.75, 0.8])
def test_that_less_is_only_drawn_is_known_on_the_spot_as_it_is_once_the_test_is_home(floating, draw, fell_to, share):
    draw *= USUAL_L
    rows = less_drawn(floating, draw, fell_to)
    got = told(floating, rows, drawn=draw)
    tests = taken(floating, [TODAY], [share])
    whole = np.concatenate([rows, rows_of(floating, tests, drawn=draw)])
    found = judge.find(whole, TODAY, FIRST, LEVEL, LEVEL_SD, noise.METER, True)
    want = judge.agreed(found, by_all(floating, whole))
    here, _none = weighed_ahead.weighed(got, read_of(floating, tests))
    assert here == pytest.approx(want.cause, abs=CLOSE)


def test_without_what_the_search_finds_of_the_draw_the_odds_would_be_others(floating):
    draw = 0.95 * USUAL_L
    got = told(floating, less_drawn(floating, draw, 0.3), drawn=draw)
    read = read_of(floating, taken(floating, [TODAY], [0.8]))
    here, deaf = (weighed_ahead.weighed(one, read)[0][names.NOT_A_FAULT] for one in (got, got._replace(less=None)))
    assert here > deaf + 0.15


def test_less_is_not_told_where_a_loss_is_the_likelier_whatever_the_test_shows(floating):
    draw = 1.1 * USUAL_L
    sound = less_drawn(floating, draw, 1.0)
    assert told(floating, sound, drawn=draw).less is None
    assert told(floating, NOTHING_READ, drawn=draw).less is None
    less = told(floating, less_drawn(floating, draw, 0.4), drawn=draw).less
    assert less.shape == (len(before.DOUBTS), len(before.SHARES))
    assert np.isfinite(less).all() and (np.abs(less) <= before.LIKELIEST).all()
    assert (np.diff(less, axis=1) >= -0.01).all(), "the more water a test shows, the likelier it is the draw"


def test_a_unit_put_right_since_has_little_behind_it_and_one_put_right_later_nothing_at_all(fleet):
    rows = rows_of(fleet, taken(fleet, [TODAY - 60, TODAY - 40], [0.5, 0.5]))
    earlier, today = (told(fleet, rows, first=day) for day in (FIRST, TODAY))
    assert np.logaddexp.reduce(today.weight) < np.logaddexp.reduce(earlier.weight)
    assert told(fleet, rows, first=TODAY + 1) is None
    assert told(fleet, rows, first=TODAY + 30) is None
