"""The pump curve from scattered points: physical, honest about what it rests on, and refusing what cannot be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.checks import Refusal
from sizing.pump import PumpCurve
from tests.makers import sample_fleet
from tests.sizing import invented

CURVES = invented.pumps()
heads, powers = st.floats(0, 150), st.floats(0, 2000)
names = st.sampled_from(sorted(CURVES))


@given(names, heads, powers, st.floats(0, 500))
def test_more_power_never_gives_less(name, head, power, more):
    curve = CURVES[name]
    assert curve.flow(head, power + more) >= curve.flow(head, power) - 1e-9


@given(names, heads, powers, st.floats(0, 50))
def test_more_head_never_gives_more(name, head, power, more):
    curve = CURVES[name]
    assert curve.flow(head + more, power) <= curve.flow(head, power) + 1e-9


@given(names, heads, st.floats(0, 1))
def test_below_the_threshold_nothing_is_lifted(name, head, share):
    curve = CURVES[name]
    assert curve.flow(head, share * curve.threshold(head)) <= 1e-9


@given(names, heads, st.floats(0.1, 60))
def test_the_power_for_a_flow_gives_that_flow_back(name, head, flow):
    curve = CURVES[name]
    assert curve.flow(head, curve.power_needed(head, flow)) == pytest.approx(flow, rel=1e-8)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 40), st.floats(0, 0.05))
def test_few_and_noisy_points_still_give_a_pump(seed, n, noise):
    head, power, flow, volts, amps = invented.screw_points(noise, seed)
    curve = PumpCurve("helical", head[:n], power[:n] * 1.15, flow[:n], volts[:n], amps[:n])
    grid_h, grid_p = np.meshgrid(np.linspace(0, 120, 13), np.linspace(0, 900, 19), indexing="ij")
    got = curve.flow(grid_h, grid_p)
    assert np.isfinite(got).all()
    assert (np.diff(got, axis=1) >= -1e-9).all()
    assert (np.diff(got, axis=0) <= 1e-9).all()


def test_points_made_by_machine_equations_are_met():
    head, power, flow, volts, amps = invented.screw_points()
    curve = CURVES["screw"]
    assert curve.flow(head, power) == pytest.approx(flow, rel=0.02)
    assert curve.flow_at_voltage(head, volts) == pytest.approx(flow, rel=0.03)
    assert curve.current(volts, head) == pytest.approx(amps, rel=0.01)


def test_points_left_out_of_the_fit_are_foretold():
    """Every third point of the sample fleet's sheets kept back; 1.2 % bench noise on each."""
    for name in sample_fleet.pumps():
        points = [p for p in sample_fleet.table("pump_types") if p["type"] == name]
        kind = next(t["kind"] for t in sample_fleet.table("pump_type_info") if t["type"] == name)
        h, p, q = (np.array([float(x[c]) for x in points]) for c in ("head_m", "power_w", "flow_l_min"))
        kept = np.arange(h.size) % 3 > 0
        curve = PumpCurve(kind, h[kept], p[kept], q[kept])
        out = ~kept & (q > 0.2 * q.max())
        error = curve.flow(h[out], p[out]) / q[out] - 1
        assert abs(np.median(error)) < 0.015, name
        assert np.std(error) < 0.025, name


def test_what_rests_on_no_point_is_said():
    curve = CURVES["screw"]
    assert not any(curve.outside(50, 180))
    assert curve.outside(120, 2000).head
    assert curve.outside(50, 5000).power
    assert curve.outside(5, 900).flow


def test_own_test_points_scale_the_curve():
    curve = CURVES["screw"]
    scale = curve.scale_of_test([40, 60], [300, 400], 0.93 * curve.flow([40, 60], [300, 400]))
    assert scale == pytest.approx(0.93)
    with pytest.raises(Refusal, match="flow_scale"):
        curve.scale_of_test([40], [300], [1.0])


@pytest.mark.parametrize(
    ("columns", "argument"),
    [
        (([10, 20], [100, 200], [5, 6]), "flow_l_min"),  # a curve with two points
        (([10, 10, 10], [100, 200, 300], [5, 6, 7]), "head_m"),  # one head only
        (([10, np.nan, 30], [100, 200, 300], [5, 6, 7]), "head_m"),  # a NaN in the middle
        (([10, 20, 30], [100, 200, 300], [5, np.nan, 7]), "flow_l_min"),
        (([10, -20, 30], [100, 200, 300], [5, 6, 7]), "head_m"),  # negative head
        (([10, 20, 30], [100, 200, 30], [5, 6, 7]), "power_w"),  # more lifted than given
        (([10, 20], [100, 200, 300], [5, 6, 7]), "head_m"),
    ],
)
def test_points_that_cannot_be_are_refused_by_name(columns, argument):
    with pytest.raises(Refusal) as refusal:
        PumpCurve("helical", *columns)
    assert refusal.value.argument == argument


def test_a_kind_that_is_not_known_is_refused_with_the_list():
    with pytest.raises(Refusal, match="centrifugal"):
        PumpCurve("magic", *invented.screw_points()[:3])


def test_direct_coupling_needs_volts_and_amps():
    curve = PumpCurve("helical", *invented.screw_points()[:3])
    with pytest.raises(Refusal, match="voltage"):
        curve.flow_at_voltage(40, 40)


def test_one_number_and_an_array_agree():
    curve = CURVES["wheel"]
    grid = curve.flow(np.array([[10.0], [20.0]]), np.array([150.0, 250.0, 350.0]))
    assert grid.shape == (2, 3)
    assert float(curve.flow(20.0, 250.0)) == grid[1, 1]
    assert curve.flow(20.0, 250.0).shape == ()
