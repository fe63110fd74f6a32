"""Judging: weather, evidence, mistakes, the state that is carried on."""

import numpy as np
import pytest

from sizing import chain, climate, judge, sun
from sizing.causes import table
from sizing.judge import record, weather
from sizing.judge.evidence import freedom, limited, weigh
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row


def test_a_state_comes_back_from_storage_as_it_went():
    state = judge.new_state(4, [0.1, 0, -0.1, 0.2], 0.05, 3000.0, 19000)
    back = record.State.from_rows(state.as_rows())
    for name in ("level", "evidence", "onset", "total", "demand"):
        np.testing.assert_array_equal(getattr(back, name), getattr(state, name))
    with pytest.raises(ValueError, match="judge from the readings again"):
        record.State.from_rows(state.as_rows()[:, :-1])


def test_units_that_fall_together_are_weather_and_one_that_falls_alone_is_not():
    lat, lon = 12.0 + np.array([0, 0.02, 0.04, 0.03, 0.01]), np.full(5, 2.0)
    net = weather.network(lat, lon, np.ones(5, bool))
    prior, var = np.full(5, 0.8), np.full(5, 0.02)
    together = weather.read(net, prior, np.full(5, -0.4), var)
    assert np.all(together.mean < -0.1)
    alone = weather.read(net, prior, np.array([0.8, 0.8, -1.2, 0.8, 0.8]), var)
    assert alone.mean[2] == pytest.approx(0.8, abs=0.1), "its neighbours say that the sky was as usual"
    assert np.all(np.delete(alone.mean, 2) > 0.5), "and one odd unit hardly darkens the others"


def test_far_neighbours_tell_less():
    near = weather.network([10, 10.02], [5, 5], [True, True])
    far = weather.network([10, 11.5], [5, 5], [True, True])
    seen, var = np.array([np.nan, 0.0]), np.array([np.nan, 0.01])
    a, b = (weather.read(net, np.full(2, 0.8), seen, var) for net in (near, far))
    assert a.mean[0] < b.mean[0]
    assert a.variance[0] < b.variance[0]


def test_without_neighbours_the_usual_sky_stands_with_its_whole_range():
    net = weather.network([10.0], [5.0], [True])
    sky = weather.read(net, np.array([0.8]), np.array([np.nan]), np.array([np.nan]))
    assert sky.mean[0] == 0.8
    assert sky.variance[0] == pytest.approx(weather.LOCAL_VAR + weather.WIDE_VAR)


def test_where_days_are_alike_a_lonely_unit_knows_its_sky_better():
    net = weather.network([10.0, 14.0], [5.0, 5.0], [False, False])
    nothing = np.full(2, np.nan)
    sky = weather.read(net, np.full(2, 0.8), nothing, nothing, np.array([0.5, 1.4]))
    whole = weather.LOCAL_VAR + weather.WIDE_VAR
    np.testing.assert_allclose(sky.variance, whole * np.array([0.25, 1.96]))


def test_a_neighbour_that_is_off_by_as_many_of_its_own_scatters_moves_a_steady_place_less():
    net = weather.network([10.0, 10.05, 10.1], [5.0] * 3, [True] * 3)
    seen, doubt = np.array([np.nan, 0.3, 0.3]), np.full(3, 1e-4)
    even = weather.read(net, np.full(3, 0.8), seen, doubt)
    steady = weather.read(net, np.full(3, 0.8), seen, doubt, np.array([0.5, 1.0, 1.0]))
    assert even.mean[0] < steady.mean[0] < 0.8
    assert steady.variance[0] == pytest.approx(0.25 * even.variance[0], rel=0.01)


def test_the_scatter_of_a_months_days_is_read_off_the_climatology():
    here = climate.default_climate([15.0, 15.0], [27.0, 30.0])
    above = sun.extraterrestrial_kwh_m2_day(np.full((2, 1), 15.0), table.MID_MONTH)
    spread = table.spread_of(here.day_ghi_kwh_m2_day, above)
    assert spread.shape == (2, 12) and (spread >= table.SPREADS[0]).all() and (spread <= table.SPREADS[1]).all()
    steady = table.spread_of(np.broadcast_to(0.6 * above[..., None], (2, 12, 9)), above)
    assert (steady == table.SPREADS[0]).all()
    wild = table.spread_of(above[..., None] * np.linspace(0.15, 0.75, 9), above)
    assert (wild == table.SPREADS[1]).all()
    assert (table.spread_of(np.full((1, 12, 9), np.nan), above[:1]) == 1.0).all(), "nothing known: as is typical"


def test_a_float_switch_blunts_supply():
    assert limited(1000.0, np.nan) == 1000
    assert limited(1000.0, 10000.0) == pytest.approx(1000, rel=0.01)
    assert limited(10000.0, 1000.0) == pytest.approx(1000, rel=0.01)
    assert freedom(1000.0, 10000.0) > 0.99
    assert freedom(10000.0, 1000.0) < 0.01


def _weighed(ratios, demand=np.nan, supply=3000.0, spread=0.05):
    state = judge.new_state(1, 0.0, 0.05, 3000.0, 0)
    for day, r in enumerate(ratios):
        state, _ = weigh(state, np.array([r]), np.array([spread**2]), np.array([supply]), np.array([demand]), day)
    return state


def test_evidence_grows_with_a_loss_and_tells_its_beginning():
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 0.05, 40)
    assert _weighed(sound).evidence.max() < 3
    lost = _weighed(np.concatenate([sound, sound[:10] - 0.2]))
    assert lost.evidence.max() > 5
    assert 37 <= lost.onset[0, lost.evidence[0].argmax()] <= 42


def test_one_lost_day_is_not_a_fault_and_a_full_tank_hides_a_loss():
    quiet = [0.0] * 30
    assert _weighed([*quiet, -3.0, 0, 0]).evidence.max() < 2.6
    assert _weighed([*quiet, *[-0.05] * 20], demand=1000.0, spread=0.25).evidence.max() < 1


def test_a_missing_figure_changes_nothing_but_keeps_its_place():
    a, b = _weighed([0.0, 0.1]), _weighed([0.0, np.nan, 0.1])
    assert b.level[0] == pytest.approx(a.level[0])


def _doubt_of_the_sky(seen, doubt, own=np.nan):
    """How far the water due at the first of two places is open by the sky alone; the second tells what it saw."""
    fleet = invented_fleet(row(), row(latitude_deg=12.53))
    made = table.build(fleet, np.full((2, 12), 0.8), np.zeros(2))
    net = weather.network(fleet.latitude_deg, fleet.longitude_deg, [True, True])
    sky = weather.read(net, np.full(2, 0.8), np.array([np.nan, seen]), np.array([np.nan, doubt]))
    state = judge.new_state(2, 0.0, 0.05, 3000.0, 19800)
    sites = judge.Sites(np.zeros(2, bool), np.full(2, np.nan), np.zeros(2, bool))
    _supply, due, variance, _clear, _gain = judge.due_today(state, sites, made, sky, 19800, np.array([own, np.nan]))
    return float(np.sqrt(variance[0]) / due[0])


def test_the_range_of_what_is_due_widens_from_own_sun_to_a_neighbours_to_imported_weather_to_the_climatology():
    of_a_cell, of_a_grid = 0.005, 0.5 * weather.LOCAL_VAR + 0.05
    own = _doubt_of_the_sky(np.nan, np.nan, own=0.8)
    neighbour = _doubt_of_the_sky(0.8, of_a_cell)
    imported = _doubt_of_the_sky(0.8, of_a_grid)
    usual = _doubt_of_the_sky(np.nan, np.nan)
    assert own < 0.7 * neighbour and neighbour < 0.9 * imported and imported < 0.95 * usual


def test_the_climatologys_error_is_learned_from_cells_around_and_not_where_nothing_is_known():
    net = weather.network([10.0, 10.2, 24.0], [5.0, 5.0, 30.0], [True, False, False], has_cell=[True, False, False])
    bias, prior = np.zeros(3), np.full(3, 0.8)
    for _ in range(120):
        sky = weather.read(net, prior + bias, np.array([1.3, np.nan, np.nan]), np.full(3, 0.01))
        bias = weather.learn_bias(bias, sky, prior + bias)
    assert bias[0] == pytest.approx(0.5, abs=0.1) and bias[1] == pytest.approx(0.5, abs=0.15)
    assert abs(bias[2]) < 0.1 * bias[1]


def test_the_level_comes_from_the_tests_at_commissioning_and_one_gross_slip_among_them_is_no_matter():
    fleet = invented_fleet(row(), row())
    sun, air, level = np.array([700.0, 800.0, 900.0]), np.full(3, 27.0), 28.0
    flow = chain.spot(fleet.take([0]), sun[None], air[None], np.full((1, 3), level)).flow_l_min[0]

    def known(shares, unit=0):
        return judge.first_level(fleet, [unit] * 3, sun, air, flow * shares, [level] * 3)

    better, doubt = known(np.array([1.1, 1.1, 1.1]))
    worse, _doubt = known(np.array([0.9, 0.9, 0.9]))
    assert better[0] - worse[0] == pytest.approx(np.log(1.1 / 0.9), rel=0.4), "most of it is believed"
    assert doubt[0] < doubt[1], "of the other unit nothing but its type is known"
    slipped, _doubt = known(np.array([1.1, 1.1, 0.11]))
    assert slipped[0] == pytest.approx(better[0], abs=0.03)
