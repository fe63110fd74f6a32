"""Judging: weather, evidence, mistakes, the state that is carried on."""

import numpy as np
import pytest

from sizing import climate, judge, sun
from sizing.causes import table
from sizing.judge import record, weather
from sizing.judge.evidence import freedom, limited, weigh


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
