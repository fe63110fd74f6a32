"""Tests on site as evidence: what one proves, what several do, and what they say of the causes."""

import numpy as np
import pytest

from sizing import chain, judge
from sizing.causes import names, odds, onsite, signatures
from sizing.judge import figures as search
from sizing.judge import limits, noise
from sizing.judge import onsite as figures
from sizing.judge.record import blank
from tests.makers.tested_units import figures_of, raised
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row

FIRST = 19500
TODAY = FIRST + 200
LEVEL, LEVEL_SD = -0.02, 0.04  # as three tests at commissioning leave them
USUAL_L = 4000.0
LIMIT = float(limits.limit(10, False))


@pytest.fixture(scope="module")
def fleet():
    return invented_fleet(row())


def sound_flow(fleet, sun, faults=chain.NONE):
    own = np.exp(LEVEL + onsite.carried_mean(LEVEL))
    return chain.spot(fleet, float(sun), 30.0, fleet.static_level_m[:, 5], faults), own


def taken(fleet, day, share, sun=820.0, faults=chain.NONE, **changes):
    """Tests of the one unit: measured flow is `share` (t,) of a sound one's, or what `faults` leave of it."""
    at, own = sound_flow(fleet, sun, faults)
    t = len(day)
    one = np.ones(t)
    known = {
        "row": np.zeros(t, int), "day": np.asarray(day), "sun_w_m2": sun * one, "sun_sd": 0.05 * one,
        "air_c": 30.0 * one, "static_level_m": fleet.static_level_m[0, 5] * one, "level_sd_m": 2.0 * one,
        "dipped": one < 0, "flow_l_min": at.flow_l_min[0] * own * np.asarray(share, float), "flow_sd": 0.03 * one,
        "bucket": one > 0, "beside_l_min": np.nan * one, "volts": np.nan * one, "amps": np.nan * one,
        "pumping_level_m": np.nan * one, "rest_m": np.nan * one,
    }  # fmt: skip
    return figures.Tests(**known | changes)


def rows_of(fleet, tests, drawn=np.nan):
    t = len(tests.row)
    return figures.as_observations(
        tests, figures.due(fleet, tests), np.full(t, LEVEL), np.full(t, USUAL_L), np.full(t, drawn)
    )


def found(rows, level_sd=LEVEL_SD, floats=False, kind=noise.METER):
    return judge.find(rows, int(rows["day"].max()), FIRST, LEVEL, level_sd, kind, floats)


def periods(ratio, span=28):
    """Meter totals every four weeks, the last at TODAY: measured over due."""
    rows = blank(len(ratio))
    rows["day"] = TODAY - span * np.arange(len(ratio))[::-1]
    rows["since"], rows["clearness"], rows["weather_var"], rows["light_gain"] = span, 1.0, 0.002, 1.0
    rows["supply_l"] = USUAL_L * span
    rows["expected_l"] = rows["supply_l"] * np.exp(LEVEL)
    rows["measured_l"] = rows["expected_l"] * np.asarray(ratio)
    return rows


def judged(fleet, rows, noon=True):
    sig = signatures.of_unit(fleet, 0, 5)
    due = None
    if noon:
        sun = np.nan_to_num(rows["noon_w_m2"]).astype(float)
        at = chain.spot(fleet, sun[None, :], 27.0, np.full((1, len(rows)), fleet.static_level_m[0, 5]))
        due = (at.array_voltage_v[0], at.array_current_a[0], at.pumping_level_m[0],
               np.full(len(rows), fleet.static_level_m[0, 5]))  # fmt: skip
    return odds.judge(rows, sig, TODAY, FIRST, LEVEL, LEVEL_SD, due)


def chance(got, *causes):
    return sum(got.cause[names.NUMBER[c]] for c in causes)


def test_a_sound_test_raises_nothing_and_one_poor_test_proves_no_less_than_a_fifth(fleet):
    assert found(rows_of(fleet, taken(fleet, [TODAY], [1.0]))).fault < LIMIT - 3
    assert found(rows_of(fleet, taken(fleet, [TODAY], [0.83]))).fault < LIMIT
    assert found(rows_of(fleet, taken(fleet, [TODAY], [0.75]))).fault > LIMIT


@pytest.mark.parametrize("sun_sd", [0.03, 0.05])
def test_the_best_known_test_does_not_prove_less_than_a_fifth_either(fleet, sun_sd):
    tests = taken(fleet, [TODAY], [0.83], sun_sd=np.array([sun_sd]), level_sd_m=np.array([0.05]),
                     dipped=np.array([True]))  # fmt: skip
    assert found(rows_of(fleet, tests), level_sd=0.034).fault < LIMIT


def test_three_poor_tests_on_different_days_say_what_one_could_not(fleet):
    one = found(rows_of(fleet, taken(fleet, [TODAY], [0.81]))).fault
    three = found(rows_of(fleet, taken(fleet, [TODAY - 40, TODAY - 20, TODAY], [0.81] * 3))).fault
    assert one < LIMIT < three


def test_tests_of_one_day_share_their_sun_and_count_as_one(fleet):
    one = found(rows_of(fleet, taken(fleet, [TODAY], [0.81]))).fault
    rows = rows_of(fleet, taken(fleet, [TODAY] * 3, [0.81, 0.80, 0.82]))
    assert len(rows) == 1
    assert found(rows).fault == pytest.approx(one, abs=0.6)


def test_without_tests_at_commissioning_more_is_needed(fleet):
    rows = rows_of(fleet, taken(fleet, [TODAY - 20, TODAY], [0.7, 0.7]))
    assert found(rows, level_sd=LEVEL_SD).fault > LIMIT > found(rows, level_sd=onsite.TYPE_SD).fault


def test_low_sun_no_flow_due_and_a_sky_judged_by_eye_say_little_or_nothing(fleet):
    assert not len(rows_of(fleet, taken(fleet, [TODAY], [0.6], sun=200.0)))
    by_eye = taken(fleet, [TODAY], [0.76], sun=400.0, sun_sd=np.array([0.13]))
    by_cell = taken(fleet, [TODAY], [0.76], sun=400.0)
    assert found(rows_of(fleet, by_eye)).fault < LIMIT < found(rows_of(fleet, by_cell)).fault
    assert not len(rows_of(fleet, taken(fleet, [TODAY], [np.nan])))


def test_a_test_supports_what_the_meter_says_or_weakens_it(fleet):
    meter = periods([1.0, 1.0, 1.0, 0.87])
    alone = found(meter).fault
    poor = found(np.concatenate([meter, rows_of(fleet, taken(fleet, [TODAY], [0.8]))])).fault
    good = found(np.concatenate([meter, rows_of(fleet, taken(fleet, [TODAY], [1.0]))])).fault
    assert good < alone < poor


def test_a_test_from_before_it_was_put_right_has_no_say(fleet):
    tests = rows_of(fleet, taken(fleet, [TODAY - 60, TODAY - 40, TODAY], [0.5, 0.5, 1.0]))
    later = judge.find(tests, TODAY, TODAY - 10, LEVEL, LEVEL_SD, noise.METER, False)
    alone = judge.find(tests[tests["day"] == TODAY], TODAY, TODAY - 10, LEVEL, LEVEL_SD, noise.METER, False)
    assert later == alone


def test_a_full_tank_explains_a_low_meter_but_not_a_poor_test(fleet):
    tests = rows_of(fleet, taken(fleet, [TODAY - 30, TODAY], [0.5, 0.5]), drawn=2500.0)
    got = found(tests, floats=True)
    assert got.fault > LIMIT
    assert got.fault > got.less + 5


def test_a_good_bucket_beside_a_poor_meter_means_the_meter(fleet):
    meter = periods([1.0, 1.0, 0.5, 0.45])
    without = judged(fleet, meter, noon=False)
    rows = np.concatenate([meter, rows_of(fleet, taken(fleet, [TODAY], [1.0]))])
    got = judged(fleet, rows)
    assert chance(without, "meter_slow", "meter_stands") < 0.4
    assert names.NAMES[int(np.argmax(got.cause))] == "meter_slow"
    assert chance(got, "meter_slow", "meter_stands") > 0.75
    poor = judged(fleet, np.concatenate([meter, rows_of(fleet, taken(fleet, [TODAY], [0.5]))]))
    assert chance(poor, "meter_slow", "meter_stands") < 0.1


def test_a_good_flow_by_the_meter_itself_does_not_clear_the_pump_of_a_slow_meter(fleet):
    meter = periods([1.0, 1.0, 0.5, 0.45])
    by_meter = rows_of(fleet, taken(fleet, [TODAY], [0.5], bucket=np.array([False])))
    by_bucket = rows_of(fleet, taken(fleet, [TODAY], [0.5]))
    slow = [chance(judged(fleet, np.concatenate([meter, t])), "meter_slow") for t in (by_meter, by_bucket)]
    assert slow[0] > 3 * slow[1]


@pytest.mark.parametrize(
    ("cause", "faults"),
    [
        ("water_sinks", chain.Faults(static_level_drop_m=10.0)),
        ("dirt", chain.Faults(soiling_extra=0.35)),
        ("pump_worn", chain.Faults(pump_slip_head=0.5)),
    ],
)
def test_volts_amps_and_level_of_one_test_part_the_causes_at_a_unit_with_a_meter_only(fleet, cause, faults):
    at, own = sound_flow(fleet, 820.0, faults)
    sound, _own = sound_flow(fleet, 820.0)
    left = float(at.flow_l_min[0] / sound.flow_l_min[0])
    meter = periods([1.0, 1.0, left, left])
    before = judged(fleet, meter, noon=False)
    whole = taken(
        fleet, [TODAY], [1.0], faults=faults, volts=at.array_voltage_v, amps=at.array_current_a,
        pumping_level_m=at.pumping_level_m,
    )  # fmt: skip
    after = judged(fleet, np.concatenate([meter, rows_of(fleet, whole)]))
    assert chance(after, cause) > 1.5 * chance(before, cause)
    assert cause in [names.NAMES[i] for i in np.argsort(-after.cause)[:2]]


def test_a_dip_alone_tells_a_sunk_well(fleet):
    meter = periods([1.0, 1.0, 0.7, 0.65])
    rest = fleet.static_level_m[0, 5] + 14.0
    tests = taken(fleet, [TODAY], [1.0], rest_m=np.array([rest]), static_level_m=np.array([rest]),
                     level_sd_m=np.array([0.05]), dipped=np.array([True]))  # fmt: skip
    tests = tests._replace(flow_l_min=0.98 * figures.due(fleet, tests).flow_l_min)  # right for that level
    got = judged(fleet, np.concatenate([meter, rows_of(fleet, tests)]))
    assert chance(judged(fleet, meter, noon=False), "water_sinks") < chance(got, "water_sinks")
    assert names.NAMES[int(np.argmax(got.cause))] == "water_sinks"


def test_a_unit_with_tests_alone_is_given_a_cause_a_loss_and_a_day(fleet):
    rows = rows_of(fleet, taken(fleet, [TODAY - 90, TODAY - 20, TODAY], [1.0, 0.6, 0.6]))
    got = judged(fleet, rows)
    assert got.fault > 2
    assert got.lost_l[1] <= got.lost_l[0] <= got.lost_l[2]
    assert got.lost_l[0] == pytest.approx(0.4 * USUAL_L, rel=0.3)
    assert TODAY - 92 <= got.onset[1] <= got.onset[2] <= TODAY


def test_what_tests_at_commissioning_leave_of_a_later_test_is_the_bayesian_answer():
    """Level, carry and three tests written out as one normal distribution."""
    prior = np.diag([onsite.TYPE_SD**2, onsite.CARRY_SD**2])
    seen, noise_var = np.ones(2), 0.06**2 / 3
    gain = prior @ seen / (seen @ prior @ seen + noise_var)
    after = prior - np.outer(gain, seen @ prior)
    with_days, alike = onsite.carried(float(np.sqrt(after[0, 0])))
    assert with_days == pytest.approx(after[0, 1])
    assert alike == pytest.approx(after[1, 1])
    level = onsite.TYPE_LEVEL + gain[0] * 0.1
    assert onsite.carried_mean(level) == pytest.approx(gain[1] * 0.1)


@pytest.mark.parametrize("level", [-0.2, onsite.TYPE_LEVEL, 0.08])
def test_what_a_unit_s_own_tests_show_beyond_its_days_is_no_gain_and_no_loss_of_a_later_test(fleet, level):
    tests = taken(fleet, [TODAY], [1.0])
    due = figures.due(fleet, tests)
    own = tests._replace(flow_l_min=due.flow_l_min * np.exp(level + onsite.carried_mean(level)))
    (one,) = figures.as_observations(own, due, np.array([level]), np.array([USUAL_L]), np.array([np.nan]))
    assert one["measured_l"] == pytest.approx(one["expected_l"], rel=1e-5)
    # What is due a day is the days' own, so that litres lost a day are none of the test's.
    assert one["supply_l"] == pytest.approx(USUAL_L * onsite.SPAN_DAYS)


def test_units_far_from_their_type_are_no_oftener_short_than_others():
    """Level, carry and scatter drawn as they are said to be; the tests at commissioning leave both half known."""
    rng = np.random.default_rng(8)
    n, noise_sd = 4000, 0.06 / np.sqrt(3)
    level, carry = rng.normal(onsite.TYPE_LEVEL, onsite.TYPE_SD, n), rng.normal(0, onsite.CARRY_SD, n)
    gain = onsite.TYPE_SD**2 / (onsite.TYPE_SD**2 + onsite.CARRY_SD**2 + noise_sd**2)
    known = onsite.TYPE_LEVEL + gain * (level + carry + rng.normal(0, noise_sd, n) - onsite.TYPE_LEVEL)
    one = np.ones(n)
    tests = figures.Tests(*(one for _ in figures.Tests._fields))
    tests = tests._replace(row=np.arange(n), day=np.full(n, TODAY), flow_l_min=np.exp(level + carry), bucket=one > 0,
                           dipped=one < 0, beside_l_min=np.nan * one)  # fmt: skip
    due = figures.Due(one, figures.LEAST_SD**2 * one, one, one > 0)
    rows = figures.as_observations(tests, due, known, USUAL_L * one, np.nan * one)
    rows = rows[np.isin(rows["told_by"], (onsite.BY_BUCKET, onsite.BUCKET_DIPPED))]
    off = np.log(rows["measured_l"] / rows["expected_l"])
    with_days, alike = onsite.carried(onsite.TYPE_SD * np.sqrt(1 - gain))
    left = onsite.TYPE_SD**2 * (1 - gain) + 2 * with_days + alike
    high, low = (off[far(known, np.quantile(known, q))] for far, q in ((np.greater, 0.9), (np.less, 0.1)))
    assert abs(high.mean()) < 0.01 and abs(low.mean()) < 0.01
    assert off.var() == pytest.approx(left, rel=0.1)


@pytest.mark.parametrize("beside", [0.0, 0.55])
def test_a_meter_read_beside_the_bucket_is_cleared_or_found_out_at_once(fleet, beside):
    meter = periods([1.0, 1.0, 0.55, beside])
    flow = taken(fleet, [TODAY], [1.0]).flow_l_min
    low, right = (
        judged(fleet, np.concatenate([meter, rows_of(fleet, taken(fleet, [TODAY], [1.0], beside_l_min=share * flow))]))
        for share in (beside, 1.0)
    )
    assert chance(low, "meter_slow", "meter_stands") > 0.9
    assert chance(right, "meter_slow", "meter_stands") < 0.3


def test_sound_units_tested_four_times_a_year_are_left_alone_and_two_fifths_lost_are_found():
    """Sun, flow, own level and seasons scatter as they are said to; the setting allows ten in a hundred a year."""
    rng = np.random.default_rng(11)
    days = np.arange(80, 730, 80)
    sound = [raised(figures_of(rng, days), LIMIT) for _unit in range(60)]
    lost = [raised(figures_of(rng, days, lost=0.4, from_day=300), LIMIT) for _unit in range(60)]
    assert sum(map(bool, sound)) <= 0.1 * 60 * 2
    assert sum(any(300 <= day < 665 for day in some) for some in lost) >= 0.9 * 60


def test_the_scatter_of_days_is_judged_as_if_no_test_stood_among_them():
    rng = np.random.default_rng(4)
    day = np.arange(40.0)
    y = rng.normal(0, 0.03, 40) + np.where((day >= 20) & (day < 23), -0.7, 0.0)
    known = []
    for tested in (False, True):
        days, values, test = day, y, np.zeros(40)
        if tested:
            days, values, test = (np.insert(x, [21, 30], v) for x, v in ((day, (20.4, 29.4)), (y, -0.7), (test, 1.0)))
        var, one = np.full(len(days), 0.001), np.ones(len(days))
        search._weigh_scatter(days, one, values, var, 0.1 * one, one, test, len(days), 42.0, 10.0)
        known.append(var[test == 0])
        assert (var[test > 0] == 0.001).all()
    assert known[0] == pytest.approx(known[1])
    assert known[0][20] > 2 * known[0][0]  # three days that stand alone count for less


@pytest.mark.parametrize(("drawn", "lost"), [(np.nan, 0.5 * USUAL_L), (3000.0, 1000.0), (1200.0, 0.0)])
def test_behind_a_float_switch_a_poor_test_costs_what_people_would_have_drawn(drawn, lost):
    fleet = invented_fleet(row(float_switch=bool(np.isfinite(drawn))))
    rows = rows_of(fleet, taken(fleet, [TODAY - 60, TODAY - 20, TODAY], [1.0, 0.5, 0.5]), drawn=drawn)
    got = judged(fleet, rows)
    assert got.lost_l[0] == pytest.approx(lost, abs=350)
    assert chance(got, "less_drawn") < 0.05


@pytest.mark.parametrize("earlier", [[], [TODAY - 60]])
def test_a_test_at_which_no_water_came_is_weighed_like_any_other(fleet, earlier):
    rows = rows_of(fleet, taken(fleet, [*earlier, TODAY], [1.0] * len(earlier) + [0.0]))
    got = judged(fleet, rows)
    assert np.isfinite(got.cause).all()
    assert names.NAMES[int(np.argmax(got.cause))] == "stands_still"
    assert got.none < 0.05
