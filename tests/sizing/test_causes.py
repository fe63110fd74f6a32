"""Causes: their signatures from the chain, and the odds of a unit whose trouble is known because it was put in."""

import numpy as np
import pytest
from scipy import stats

from sizing import judge
from sizing.causes import channels, names, odds, signatures, table, weigh
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row
from tests.sizing.one_unit import DAY, FIRST, fell, rows_of, with_noons


@pytest.fixture(scope="module")
def fleet():
    return invented_fleet(row())


def _judged(fleet, rows, unit=0):
    sig = signatures.of_unit(fleet, unit, 5)
    return odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05)


def test_a_sound_unit_is_not_suspected(fleet):
    got = _judged(fleet, rows_of(np.ones(80)))
    assert got.fault < 0
    assert got.none > 0.5


def test_a_unit_that_gives_nothing_stands_or_its_meter_does_and_they_cannot_be_parted_without_more(fleet):
    got = _judged(fleet, rows_of(fell(4, 0.0)))
    assert got.fault > 8
    best = {names.NAMES[i] for i in np.argsort(-got.cause)[:2]}
    assert best == {"stands_still", "meter_stands"}
    assert got.cause[[names.NUMBER[n] for n in best]] == pytest.approx([0.5, 0.5], abs=0.05)
    assert DAY - 5 <= got.onset[0] <= DAY - 3


def test_a_quarter_lost_is_found_with_its_beginning_and_its_litres(fleet):
    got = _judged(fleet, rows_of(fell(12, 0.75)))
    assert got.fault > 5
    assert DAY - 16 <= got.onset[0] <= DAY - 9
    assert got.lost_l[1] <= got.lost_l[0] <= got.lost_l[2]
    assert got.lost_l[0] == pytest.approx(1000, rel=0.25)
    assert got.cause.sum() == pytest.approx(1)


@pytest.mark.parametrize("days_ago", [3, 9, 27, 52])
def test_the_first_day_is_that_of_the_picture_and_ranges_have_a_width(fleet, days_ago):
    got = _judged(fleet, rows_of(fell(days_ago, 0.4)))
    first = DAY - days_ago + 1
    assert abs(got.onset[0] - first) <= 1
    assert got.onset[1] <= first + 1 and got.onset[2] >= first - 1
    assert got.onset[1] <= got.onset[0] <= got.onset[2]
    assert got.lost_l[2] - got.lost_l[1] > 0.05 * got.lost_l[0]
    assert got.lost_l[1] < 2400 < got.lost_l[2]


def test_a_stop_long_ago_is_still_dated_to_the_day(fleet):
    rows = rows_of(np.where(np.arange(200) < 90, 1.0, 0.0), days=200)
    rows["day"] = DAY - 199 + np.arange(200)
    got = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, DAY - 700, 0.0, 0.05)
    assert abs(got.onset[0] - (DAY - 109)) <= 1
    assert {names.NAMES[i] for i in np.argsort(-got.cause)[:2]} == {"stands_still", "meter_stands"}


def test_one_lost_day_and_a_doubted_figure_prove_nothing(fleet):
    assert _judged(fleet, rows_of(fell(1, 0.1))).fault < 2
    rows = rows_of(fell(12, 0.1))
    rows["mistake"][-12:] = 1
    assert _judged(fleet, rows).fault < 0


def test_too_little_to_tell_is_said(fleet):
    rows = rows_of(np.ones(80))
    rows["measured_l"] = np.nan
    assert _judged(fleet, rows) is None


def test_every_fault_takes_water_and_a_bigger_one_takes_more(fleet):
    sig = signatures.of_unit(fleet, 0, 5)
    bright = sig.water[:, 15]
    for number in np.unique(sig.cause):
        mine = np.flatnonzero(sig.cause == number)
        if names.NAMES[number] == "frame_turned":  # a low frame may catch more in some month
            continue
        assert (bright[mine] <= 1.05).all(), names.NAMES[number]
        if names.NAMES[number] not in ("less_drawn", "cuts_out"):
            order = np.argsort(sig.size[mine])
            assert (np.diff(bright[mine][order]) <= 0.02).all(), names.NAMES[number]


def test_one_string_cannot_be_open_and_only_a_float_switch_can_hide_less_demand():
    asked = {name for name, *_ in signatures.hypotheses(1, False)}
    assert "string_open" not in asked
    assert "less_drawn" not in asked
    assert {"string_open", "less_drawn"} <= {name for name, *_ in signatures.hypotheses(2, True)}


def test_a_shade_takes_the_beam_alone_and_more_of_it_the_higher_it_stands(fleet):
    sig = signatures.of_unit(fleet, 0, 5)
    for half in ("shade_before_noon", "shade_after_noon"):
        water = sig.water[sig.cause == names.NUMBER[half]]
        lost = 1 - water
        dull, bright = np.searchsorted(table.CLEARNESS, [0.1, 0.68])
        assert (lost[:, dull] < 0.02).all()  # a dull day has no shadows
        assert (np.diff(lost[:, bright]) > 0).all()
        assert 0.2 < lost[-1, bright] < 0.5  # of a day, one of its halves


def test_a_cell_that_does_not_turn_with_the_frame_sees_the_noon_that_the_frame_misses():
    steep = invented_fleet(row(tilt_deg=35.0))
    sig = signatures.of_unit(steep, 0, 11)
    turned = sig.cause == names.NUMBER["frame_turned"]
    along, apart = turned & (sig.cell_sees == 0), turned & (sig.cell_sees == 1)
    assert sig.size[along].tolist() == sig.size[apart].tolist()
    np.testing.assert_array_equal(sig.water[along], sig.water[apart])
    assert (sig.cell[apart] == 1).all() and (sig.current[along] == 1).all()
    round_ = np.argmax(sig.size[apart])
    bright = np.searchsorted(table.SUNS, 800)
    assert sig.current[apart][round_, bright] < 0.9
    assert sig.cell[along][round_, 15] < 0.9
    assert (sig.level[apart] <= 0).all()


def test_where_no_cell_stands_each_cause_and_size_is_asked_once(fleet):
    sig = signatures.of_unit(fleet, 0, 5).without_cell
    assert len(set(zip(sig.cause.tolist(), sig.size.tolist(), strict=True))) == len(sig.cause)
    rows = rows_of(fell(12, 0.75))
    rows["told_by"] = 5
    whole = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, FIRST, 0.0, 0.05)
    np.testing.assert_array_equal(whole.cause, odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05).cause)


def test_slow_changes_are_smooth_hardly_any_within_a_fortnight():
    day = np.arange(0.0, 200.0, 10.0)
    one = np.ones_like(day)
    k = channels.covariance(day, one, one, one, 0.0, 1.0, channels.SLOW_DAYS, 0.0, 1.0)
    assert np.linalg.eigvalsh(k).min() > 0
    steps = 2 * (k[0, 0] - k[0])  # variance of a change over so many days
    assert steps[1] < 0.03 and steps[9] > 0.5


def test_a_channel_that_may_be_off_by_its_own_factor_has_the_density_written_out():
    rng = np.random.default_rng(5)
    shift, y = rng.normal(0.2, 0.1, 6), rng.normal(0, 0.1, 6)
    k = 0.01 * np.eye(6) + 0.02
    w = np.linalg.inv(k)
    gain, linear, square = odds.loosened(shift @ w @ y, shift @ w @ shift, 0.3)
    wide = stats.multivariate_normal(shift, k + 0.3 * np.outer(shift, shift)).logpdf(y)
    plain = stats.multivariate_normal(np.zeros(6), k).logpdf(y)
    assert gain + linear - square / 2 == pytest.approx(wide - plain)


def test_findings_move_the_odds_beforehand_and_keep_their_sum():
    found = np.zeros(len(names.NAMES))
    found[names.NUMBER["pump_worn"]] = 10
    taught = names.taught(found)
    assert taught.sum() == pytest.approx(names.RATES.sum())
    assert taught[names.NUMBER["pump_worn"]] > 3 * names.RATES[names.NUMBER["pump_worn"]]
    np.testing.assert_allclose(names.taught(np.zeros(len(names.NAMES))), names.RATES)


def test_before_the_day_from_which_a_unit_is_sound_nothing_is_asked(fleet):
    rows, sig = rows_of(fell(20, 0.6)), signatures.of_unit(fleet, 0, 5)
    assert odds.judge(rows, sig, DAY, DAY + 10, 0.0, 0.05) is None
    assert odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05).fault > 0


def test_days_that_only_scatter_are_weather(fleet):
    rng = np.random.default_rng(8)
    ratio = np.ones(80)
    ratio[60:] = np.exp(rng.normal(0, 0.3, 20))
    assert _judged(fleet, rows_of(ratio)).fault < 4


def test_a_fault_that_is_older_than_the_memory_is_still_told(fleet):
    rows = rows_of(np.full(230, 0.0), days=230)
    rows["day"] = DAY - 229 + np.arange(230)
    got = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, DAY - 700, 0.0, 0.05)
    assert got.fault > 5
    assert got.cause[[names.NUMBER["stands_still"], names.NUMBER["meter_stands"]]].sum() > 0.8


def test_one_low_figure_of_a_monthly_meter_may_be_a_slip_and_says_so(fleet):
    rows = rows_of(np.ones(8), days=8)
    rows["day"], rows["since"] = DAY - 210 + 30 * np.arange(8), 30
    rows["supply_l"] = rows["expected_l"] = rows["measured_l"] = 120000.0
    assert odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, DAY - 240, 0.0, 0.05).misread < 0.02
    rows["measured_l"][-1] = 70000.0
    got = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, DAY - 240, 0.0, 0.05)
    assert 0.002 < got.misread < 0.5
    assert got.none < 0.5


def test_no_cause_is_ever_certain_and_none_that_can_be_is_ruled_out(fleet):
    rows, due = with_noons(rows_of(fell(12, 0.0)), amps=0.0, volts=1.25, level=-1.5)
    got = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, FIRST, 0.0, 0.05, due)
    assert got.cause.max() < 0.99
    possible = np.unique(signatures.of_unit(fleet, 0, 5).cause)
    assert got.cause[possible].min() > 1e-4
    assert got.cause.sum() == pytest.approx(1)


def test_asked_together_or_alone_gives_the_same(fleet):
    sig = signatures.of_unit(fleet, 0, 5)
    asked = [odds.Asked(rows_of(fell(12, share)), sig, DAY, FIRST, 0.0, 0.05) for share in (0.5, 0.9, 0.0)]
    together = odds.judge_many(asked)
    for one, other in zip(asked, together, strict=True):
        alone = odds.judge(one.rows, sig, DAY, FIRST, 0.0, 0.05)
        np.testing.assert_allclose(alone.cause, other.cause)
        assert alone.fault == other.fault


def test_signatures_are_kept_and_shared_by_installations_built_alike():
    three = invented_fleet(row(), row(static_level_m=28.1), row(static_level_m=20.0))
    signatures.forget()
    first, alike, other = signatures.of_units(three, [0, 1, 2], 5)
    assert alike is first
    assert other is not first
    assert signatures.of_unit(three, 0, 5) is first
    assert signatures.of_unit(three, 0, 6) is not first


def test_who_was_asked_first_does_not_change_the_answer():
    """Installations built alike share their signatures, whichever of them was asked before, alone or together."""
    two = invented_fleet(
        row(latitude_deg=3.1, age_y=1.4, cable_length_m=54.0),
        row(latitude_deg=3.2, age_y=0.6, static_level_m=28.2, setting_depth_m=45.2, cable_length_m=54.5,
            flow_scale=1.004, drawdown_b_m_per_l_min=0.0504),
    )  # fmt: skip
    answers = []
    for order in ([0], [1], [0, 1], [1, 0]):
        signatures.forget()
        asked = dict(zip(order, signatures.of_units(two, order, 5), strict=True))
        answers += asked.values()
    for name in ("water", "current", "voltage", "level", "flow", "cell"):
        for one in answers[1:]:
            np.testing.assert_array_equal(getattr(one, name), getattr(answers[0], name))


def test_a_pump_that_hangs_just_below_the_water_hangs_there_still_when_depths_are_rounded():
    shallow = invented_fleet(row(static_level_m=28.26, setting_depth_m=29.4))
    signatures.forget()
    kept = signatures.of_unit(shallow, 0, 5)
    dirt = kept.cause == names.NUMBER["dirt"]
    assert (kept.water[dirt, 12] > 0).any() and (kept.water[dirt, 12] < 1).any()


def test_what_stands_above_a_sun_loses_most_on_bright_days(fleet):
    sig = signatures.of_unit(fleet, 0, 5)
    above = (sig.cause == names.NUMBER["cuts_out"]) & (sig.size < 0)
    assert above.any()
    assert (sig.water[above, -4] < sig.water[above, 8] - 0.2).all()


def test_a_slow_meter_shows_its_whole_loss_where_a_float_switch_hides_a_weak_pump():
    floats = invented_fleet(row(float_switch=True, need_l_day=2500.0))
    rows = rows_of(fell(20, 0.6), expected=2300.0)
    rows["supply_l"], rows["demand_l"] = 6000.0, 2400.0
    got = odds.judge(rows, signatures.of_unit(floats, 0, 5), DAY, FIRST, 0.0, 0.05)
    order = np.argsort(-got.cause)
    assert names.NUMBER["meter_slow"] in order[:3]
    assert got.cause[names.NUMBER["meter_slow"]] > got.cause[names.NUMBER["dirt"]]


def test_kind_and_age_move_the_rates_and_keep_their_sum():
    rates = names.beforehand(["diaphragm", "centrifugal", "unheard of"], [8.0, 0.3, np.nan])
    np.testing.assert_allclose(rates.sum(axis=1), names.RATES.sum())
    worn = names.NUMBER["pump_worn"]
    assert rates[0, worn] > 1.5 * rates[2, worn] > 1.5 * 1.5 * rates[1, worn]
    np.testing.assert_allclose(rates[2], names.RATES)


def test_a_unit_that_gives_less_is_put_forward_though_fault_and_less_demand_are_both_likely():
    cause = np.full(len(names.NAMES), 0.02)
    cause[names.NUMBER["less_drawn"]] = 0.72
    torn = odds.Odds(-0.8, 0.8, cause, 1e-6, (DAY, DAY, DAY), (900.0, 700.0, 1100.0), 0.5)
    found = judge.Found(-0.8, 0.8, 1e-6, 0.5, DAY, 0.0)
    step = judge.decide(None, found, judge.agreed(found, torn), DAY, 4.5)
    assert step.what == judge.RAISED
    assert step.case.note, "less drawn leads: a note, not a fault"
    sound = judge.Found(-3.0, -4.0, 0.93, 0.1, DAY, 0.0)
    assert not judge.raised(sound, 4.5)
    assert judge.decide(None, sound, None, DAY, 4.5).what == judge.NOTHING


@pytest.mark.parametrize("tests", [(), (4, 11)])
def test_the_gain_of_scatter_agrees_with_the_densities_written_out(tests):
    """Reference: the logarithms of two normal densities, by scipy. Tests on site do not scatter."""
    rng = np.random.default_rng(4)
    m, extra = 12, 0.4
    day, span = np.arange(m) + 100.0, np.ones(m)
    on_site = np.isin(np.arange(m), tests)
    load = rng.normal(0, 0.05, (m, m))
    prior, var = load @ load.T + 0.01 * np.ones((m, m)), rng.uniform(0.002, 0.01, m)
    y, kept = rng.normal(-0.2, 0.3, m), np.log(np.full((1, m), 0.6))
    begin = np.array([110.0, 104.0, 98.0])
    low, inverse = np.empty((2, m, m))
    weigh.factor(prior, var, low)
    weigh.inverted(low, inverse)
    weighed = inverse @ y
    linear, square, gain, patchy = np.empty((4, begin.size))
    shown, steep = np.log((0.6 + weigh.SOFT) / (1 + weigh.SOFT)), 0.6 / (0.6 + weigh.SOFT)
    for b, moment in enumerate(begin):
        g = np.where(day > moment, shown, 0.0)
        linear[b], square[b] = g @ weighed, g @ inverse @ g
    weigh.scattered(
        day, span, inverse, weighed, var, var, kept, np.array([-1]), np.array([0.4]), 0, extra, False,
        np.zeros((1, weigh.STEPS)), begin, 0.0, linear, square, gain, patchy, on_site,
    )  # fmt: skip
    sound = stats.multivariate_normal(np.zeros(m), prior + np.diag(var)).logpdf(y)
    for b, moment in enumerate(begin):
        after = day > moment
        wide = stats.multivariate_normal(np.zeros(m), prior + np.diag(var + after * ~on_site * (extra * steep) ** 2))
        assert gain[b] == pytest.approx(wide.logpdf(y - after * shown) - sound, abs=1e-6)
        assert patchy[b] == pytest.approx(wide.logpdf(y) - sound, abs=1e-6)


def test_a_daily_record_stays_one_however_long_it_is():
    """Older days stand some together in the evidence, but are no meter periods: the doubt of day records stays."""
    for days in (80, 200, 239):
        rows = rows_of(np.ones(days), days=days)
        rows["day"] += DAY - int(rows["day"][-1])
        water = channels.water_channel(rows, DAY, 0.0)
        assert water.daily
        assert (np.diff(water.day) >= 0).all()
    assert np.median(water.span) > 3


def test_a_note_becomes_a_flag_once_a_fault_is_likelier_than_not_though_no_single_cause_is():
    noted = judge.Case(day=DAY - 10, top=names.NOT_A_FAULT, kept=0.5, calm=0, asked=DAY - 4)
    found = judge.Found(6.0, 1.0, 1e-6, 0.5, DAY - 12, 0.0)

    def told(less_drawn, leak):
        cause = np.full(len(names.NAMES), 1.0 - less_drawn - leak) / (len(names.NAMES) - 2)
        cause[names.NOT_A_FAULT], cause[names.NUMBER["main_leaks"]] = less_drawn, leak
        likely = odds.Odds(6.0, 1.0, cause, 1e-6, (DAY, DAY, DAY), (900.0, 700.0, 1100.0), 0.5)
        return judge.decide(noted, found, likely, DAY, 4.5)

    assert told(less_drawn=0.2, leak=0.4).what == judge.TOLD_AGAIN
    assert told(less_drawn=0.2, leak=0.4).case.top == names.NUMBER["main_leaks"]
    assert told(less_drawn=0.45, leak=0.4).case.note, "less drawn still leads"


@pytest.mark.parametrize("level", [-0.15, 0.0, 0.3])
def test_noughts_stay_noughts_whatever_the_units_own_level_and_however_long_they_last(fleet, level):
    """A unit better or worse than its chain gives nothing all the same: no other cause gains by it with time."""
    for days in (8, 40, 70):
        got = _judged(fleet, rows_of(fell(days, 0.0) * np.exp(level)))
        assert {names.NAMES[i] for i in np.argsort(-got.cause)[:2]} == {"stands_still", "meter_stands"}


def test_a_day_in_the_middle_of_wild_ones_is_no_surer_than_they():
    rng = np.random.default_rng(3)
    y, var, span = rng.normal(0, 0.02, 60), np.full(60, 0.0004), np.ones(60)
    y[20:] -= 0.5
    assert (weigh.unrest(y, var, span) < 3 * var).all(), "a step is no unrest"
    y[30:] += rng.normal(0, 0.3, 30)
    assert (weigh.unrest(y, var, span)[36:] > 0.02).all()
    assert (weigh.unrest(y, var, np.full(60, 30.0)) == var).all(), "periods of weeks are no days"


@pytest.mark.parametrize("periods_since", [1, 4, 9, 14])
def test_a_meter_read_every_fortnight_that_stopped_within_a_period_is_told_so_however_long_ago_that_was(
    fleet, periods_since
):
    share = np.ones(18)
    share[-periods_since - 1] = 0.43  # on the sixth of its fourteen days
    share[18 - periods_since :] = 0.0
    rows = rows_of(share, days=18, noise=0.02)
    rows["day"] = DAY - 14 * np.arange(17, -1, -1)
    for name in ("since", "measured_l", "supply_l", "expected_l"):
        rows[name] *= 14
    rows["told_by"], rows["weather_var"] = 8, 0.04**2
    got = odds.judge(rows, signatures.of_unit(fleet, 0, 5), DAY, int(rows["day"][0]), 0.0, 0.05)
    assert {names.NAMES[i] for i in np.argsort(-got.cause)[:2]} == {"stands_still", "meter_stands"}
    assert got.cause[names.NUMBER["stands_still"]] > 0.3
