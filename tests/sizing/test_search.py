"""The search for a loss in a unit's figures: what raises a flag, what does not, and what it costs."""

import numpy as np
import pytest

from sizing import judge
from sizing.causes import table, tank
from sizing.judge import bank, figures, limits, noise
from sizing.judge.record import OBSERVATION
from tests.sizing.invented import fleet, row

FIRST = 19500
LIMIT = {kind: float(limits.simulated().limit[kind][2]) for kind in (noise.METER, noise.DAILY, noise.CELL)}


def days(ratio, demand=np.nan, supply=3000.0, sky_sd=0.0, seed=1):
    """Observations of a unit that reports daily: measured over due by day."""
    rng = np.random.default_rng(seed)
    rows = np.zeros(len(ratio), OBSERVATION)
    rows["day"], rows["since"] = FIRST + np.arange(len(ratio)), 1
    sound = np.minimum(supply, demand * np.exp(rng.normal(0, 0.1, len(ratio)))) if np.isfinite(demand) else supply
    rows["measured_l"] = sound * np.asarray(ratio) * np.exp(rng.normal(0, 0.02 + sky_sd, len(ratio)))
    rows["supply_l"], rows["clearness"], rows["weather_var"] = supply, 1.0, sky_sd**2 + 1e-4
    rows["light_gain"], rows["demand_l"], rows["told_by"] = 1.0, demand, -1 if sky_sd == 0 else 8
    rows["tick"] = np.nan
    return rows


def periods(ratio, span=14.0, demand=np.nan, supply=3000.0):
    """Observations of a meter read every `span` days."""
    rows = days(ratio, demand, supply, sky_sd=0.03)
    rows["day"] = FIRST + (np.arange(len(ratio)) + 1) * int(span)
    rows["since"] = span
    rows["measured_l"] *= span
    rows["supply_l"] *= span
    return rows


def found(rows, kind=noise.CELL, floats=False, level_sd=0.05):
    return judge.find(rows, int(rows["day"][-1]), FIRST, 0.0, level_sd, kind, floats)


def test_a_sound_unit_raises_nothing_and_a_loss_of_a_tenth_is_found_within_weeks():
    assert found(days([1.0] * 120)).fault < 0
    lost = found(days([1.0] * 100 + [0.88] * 20))
    assert lost.fault > LIMIT[noise.CELL]
    assert lost.began == pytest.approx(FIRST + 100, abs=4)
    assert lost.size == pytest.approx(0.12, abs=0.05)


def ticked(ratio, ticks):
    """A meter behind a float switch, read every two weeks; the caretaker says whether the tank was full."""
    rows = periods(ratio, demand=2200.0)
    rows["tick"] = ticks
    return rows


def test_little_water_is_a_loss_where_the_tank_is_never_full_and_none_where_it_is():
    water, before = [1.0] * 12 + [0.55] * 5, [1.0] * 12
    dry, full, unsaid = (
        found(ticked(water, before + [tick] * 5), noise.METER, floats=True) for tick in (0.0, 1.0, np.nan)
    )
    assert dry.fault > LIMIT[noise.METER]
    assert dry.fault > unsaid.fault + 3
    assert full.fault < 0 and full.fault < dry.fault - 3
    assert full.less > dry.less + 3  # people draw less, or the meter is slow, which is as frequent


def test_who_never_calls_the_tank_full_says_nothing_new_when_it_is_not():
    water = [1.0] * 12 + [0.55] * 5
    often = found(ticked(water, [1.0] * 12 + [0.0] * 5), noise.METER, floats=True)
    never = found(ticked(water, [0.0] * 17), noise.METER, floats=True)
    unsaid = found(ticked(water, [np.nan] * 17), noise.METER, floats=True)
    assert often.fault > never.fault + 2
    assert never.fault == pytest.approx(unsaid.fault, abs=2.5)


def ticked_days(ticks_before, ticks_now, ratio=0.5, usual=150, now=15):
    """A daily volume behind a float switch that fell, with a tick beside every day."""
    rows = days([1.0] * usual + [ratio] * now, demand=2200.0)
    rows["tick"] = [ticks_before] * usual + [ticks_now] * now
    return found(rows, noise.DAILY, floats=True)


def test_ticks_beside_days_tell_less_drawn_from_a_loss():
    full, dry, unsaid = (ticked_days(np.nan, tick) for tick in (1.0, 0.0, np.nan))
    assert full.fault < unsaid.fault < dry.fault
    assert full.fault < 0 and full.less > max(full.fault, unsaid.less)


def test_who_ticks_the_sheet_every_day_whatever_the_tank_is_like_hides_no_loss():
    always, lately = ticked_days(1.0, 1.0), ticked_days(0.0, 1.0)
    unsaid = ticked_days(np.nan, np.nan)
    assert always.fault > lately.fault + 1
    assert always.fault == pytest.approx(unsaid.fault, abs=2.5)


def test_a_week_of_ticked_days_says_as_much_as_one_tick():
    week = 7 * tank.ticked(1.0, 3000.0, 2200.0, 0.18, 0.5, False, 0.0, 1.0)
    assert week == pytest.approx(tank.ticked(1.0, 3000.0, 2200.0, 0.18, 0.5, False, 0.0, 14.0))


def test_a_meter_that_stands_while_the_tank_is_full_is_a_loss_of_the_books_and_not_hidden_by_the_ticks():
    stood = found(ticked([1.0] * 12 + [0.0, 0.0], [1.0] * 14), noise.METER, floats=True)
    assert stood.fault > LIMIT[noise.METER]
    assert stood.less < 0


def test_a_total_written_down_too_high_does_not_make_the_next_period_a_loss():
    slip = periods([1.02, 0.99, 1.0] * 5 + [1.45, 0.55])
    lost = periods([1.02, 0.99, 1.0] * 5 + [1.0, 0.55])
    assert found(slip, noise.METER).fault < LIMIT[noise.METER] < found(lost, noise.METER).fault
    both = periods([1.02, 0.99, 1.0] * 5 + [1.45, 0.55, 0.6, 0.58])
    assert found(both, noise.METER).fault > LIMIT[noise.METER]  # what goes on is no slip


def test_a_short_period_that_is_followed_by_sound_ones_is_over_and_one_that_is_not_goes_on():
    before = [1.02, 0.99, 1.0] * 5
    for after in (1, 2, 4):
        assert found(periods([*before, 0.62, *[1.0] * after]), noise.METER).fault < -2
        assert found(periods([*before, 0.62, *[0.7] * after]), noise.METER).fault > LIMIT[noise.METER]


@pytest.mark.parametrize("storage_days", [1.0, 1.5, 2.5])
def test_the_chance_to_see_a_tank_full_is_that_of_simulated_tanks(storage_days):
    rng = np.random.default_rng(3)
    for share, near in ((0.7, 0.1), (0.9, 0.3), (1.05, 0.4), (1.2, 0.35), (1.5, 0.12), (1.9, 0.1)):
        supply = share * rng.uniform(0.6, 1.3, 4000)  # a draw of 1 a day on the mean, some days dull
        supply *= share / supply.mean()
        draw = np.exp(rng.normal(-0.02, 0.2, 4000))
        held, full = 0.5 * storage_days, np.zeros(4000, bool)
        for day in range(4000):
            held = max(held - 0.4 * draw[day], 0)  # drawn before the sun is up, and the rest besides
            held += supply[day] - 0.6 * draw[day]
            full[day] = held >= storage_days
            held = min(max(held, 0), storage_days)
        seen = (full[1:] | full[:-1]).mean()
        # less steep than a tank whose supply and draw are known, for those of a real one are not known so well
        assert tank.full_seen(1000 * share, 1000.0, 0.18) == pytest.approx(seen, abs=near), share


def test_where_the_sky_is_told_by_neighbours_the_same_loss_takes_longer():
    near = found(days([1.0] * 100 + [0.88] * 12))
    far = found(days([1.0] * 100 + [0.88] * 12, sky_sd=0.12), noise.DAILY)
    assert far.fault < near.fault


@pytest.mark.parametrize("spell", [[0.0], [0.4], [0.0, 0.3]])
def test_a_unit_switched_off_for_a_day_or_two_is_not_at_fault(spell):
    at_once = found(days([1.0] * 60 + spell))
    later = found(days([1.0] * 60 + spell + [1.0] * 4))
    assert at_once.fault < LIMIT[noise.CELL]
    assert later.fault < LIMIT[noise.CELL]


def test_a_unit_that_stands_still_is_told_within_five_days():
    assert found(days([1.0] * 60 + [0.0] * 5)).fault > LIMIT[noise.CELL]
    assert found(days([1.0] * 60 + [0.0] * 5, sky_sd=0.1), noise.DAILY).fault > LIMIT[noise.DAILY]


def test_a_unit_far_below_its_sheet_is_told_in_its_first_week():
    assert found(days([0.35] * 5), level_sd=0.08).fault > LIMIT[noise.CELL]
    assert found(days([1.0] * 5), level_sd=0.08).fault < 0


def test_a_loss_in_the_middle_of_a_meters_period_counts_by_its_share():
    late = found(periods([1.0] * 8 + [0.85]), noise.METER)
    whole = found(periods([1.0] * 8 + [0.85, 0.5]), noise.METER)
    assert whole.fault > LIMIT[noise.METER] > late.fault
    assert FIRST + 8 * 14 < whole.began < FIRST + 9 * 14 + 1


def test_a_full_tank_hides_a_loss_and_less_drawn_is_a_note():
    free = found(days([1.0] * 60 + [0.75] * 20), floats=True)
    assert free is not None
    hidden = days([1.0] * 80, demand=1200.0)
    assert found(hidden, floats=True).fault < 0
    less = found(days([1.0] * 60 + [0.45] * 40, demand=1500.0), floats=True)
    assert less.less > less.fault


def test_no_water_at_all_is_never_less_drawn():
    gone = found(periods([1.0] * 8 + [0.0] * 3, demand=1500.0), noise.METER, floats=True)
    assert gone.fault > LIMIT[noise.METER]
    assert gone.fault > gone.less


def test_nothing_is_said_without_figures_or_before_the_first_day():
    assert judge.find(days([1.0] * 3), FIRST - 5, FIRST, 0.0, 0.05, noise.CELL, False) is None
    assert judge.find(np.zeros(0, OBSERVATION), FIRST, FIRST, 0.0, 0.05, noise.CELL, False) is None
    dark = days([1.0] * 5, supply=10.0)
    assert found(dark) is None


def test_many_days_at_once_say_what_each_day_says():
    rows = days([1.0] * 40 + [0.8] * 10)
    asked = np.array([FIRST + 30.0, FIRST + 49.0])
    out = np.empty((2, 6))
    bank.find_on(*figures.columns(rows), asked, float(FIRST), 0.0, 0.05, noise.TABLE[noise.CELL, 0], False, out)
    assert out[1, bank.FAULT] == pytest.approx(found(rows).fault)


def test_fewer_false_alarms_mean_a_higher_limit_and_later_flags():
    for daily, cell in ((False, False), (True, False), (True, True)):
        many, few = judge.limit(40, daily, cell), judge.limit(2, daily, cell)
        assert few > many
    for kind in (noise.METER, noise.DAILY, noise.CELL):
        few, many = judge.days_to_notice(2, 0.4, kind), judge.days_to_notice(40, 0.4, kind)
        assert few is None or many <= few
        # A unit that stands still may have been switched off, so it is given a day more than one that only gives less.
        assert judge.days_to_notice(10, 1.0, kind) <= judge.days_to_notice(10, 0.2, kind) + 1


def _meter_year(slip):
    """The largest odds of a loss on any day of `_meter_rows`."""
    rows = _meter_rows(lambda total, _before: slip(total))
    asked = (found(rows[: k + 1], noise.METER) for k in range(len(rows)))
    return max(got.fault for got in asked if got is not None)


def _meter_rows(slip, seed=3, sure=False):
    """A unit's totals every fortnight, the thirteenth written wrongly: slip(total, the one before); observations."""
    f = fleet(row())
    t = table.build(f, np.full((1, 12), 0.7), np.zeros(1))
    sites = judge.Sites(np.zeros(1, bool), np.array([1e7]), np.zeros(1, bool))
    net = judge.network(f.latitude_deg, f.longitude_deg, np.zeros(1, bool))
    state = judge.new_state(1, 0.0, 0.05, 3000.0, FIRST)
    rng, total, kept, before = np.random.default_rng(seed), 1_200_000.0, [], np.nan
    for day in range(FIRST, FIRST + 260):
        due, _ = t.water(np.zeros(1, int), judge.day_of_year(day), np.array([0.7]))
        totals = None
        if (day - FIRST) % 14 == 0:
            written = slip(total, before) if (day - FIRST) // 14 == 12 else total
            before = total
            totals = judge.Totals(
                np.array([0]), np.array([0.0]), np.array([float(written)]), np.array([np.nan]), np.array([sure])
            )
        sky = judge.read_sky(net, np.full(1, 0.7), np.full(1, np.nan), np.full(1, np.nan))
        state, rows = judge.night(state, sites, t, sky, None, totals, day)
        total += float(due[0]) * np.exp(rng.normal(0, 0.03))
        kept.append(rows)
    return np.concatenate(kept)


def _swapped(total):
    text = str(round(total))
    return float(text[:-5] + text[-4] + text[-5] + text[-3:])


@pytest.mark.parametrize(
    "slip",
    [lambda t: t * 10, lambda t: round(t / 10), _swapped, lambda t: 4_321_000.0, lambda t: t - 12_000],
    ids=["ten times", "a tenth", "digits swapped", "another unit's", "a week old"],
)
def test_a_figure_written_wrongly_raises_no_flag(slip):
    assert _meter_year(slip) < LIMIT[noise.METER]


def test_a_total_copied_from_the_last_one_does_not_make_the_next_impossible():
    """The meter may well stand, and that is told; the next figure, right again, is taken and the flag comes down."""
    rows = _meter_rows(lambda t, before: before)
    copied, after = rows[12], rows[13]
    assert copied["measured_l"] == pytest.approx(0.0, abs=1.0)
    assert after["mistake"] == 0
    assert after["measured_l"] == pytest.approx(2 * after["expected_l"], rel=0.25)
    assert found(rows[:13], noise.METER).fault > found(rows[:14], noise.METER).fault + 2
    assert found(rows[:14], noise.METER).fault < LIMIT[noise.METER]


@pytest.mark.parametrize("slip", [lambda t: t * 10, lambda t: t - 400_000], ids=["much", "backwards"])
def test_what_a_person_said_is_right_is_not_doubted_again(slip):
    doubted = _meter_rows(lambda total, _before: slip(total))
    kept = _meter_rows(lambda total, _before: slip(total), sure=True)
    assert doubted["mistake"][12] > 0 and kept["mistake"][12] == 0
    assert np.isnan(kept["measured_l"][12]), "it cannot follow from the one before: it is begun again from there"


def test_right_figures_raise_no_flag_either():
    assert _meter_year(lambda t: t) < LIMIT[noise.METER]
