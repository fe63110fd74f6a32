"""Pump and water against numbers from outside the project (rows U1-U3)."""

import pytest

from sizing import pump
from sizing.units import hydraulic_power_w


# U1 (definition): 998.2 kg/m3, 9.80665 m/s2
@pytest.mark.parametrize(("flow", "head", "watts"), [(30, 40, 195.8), (15, 60, 146.8)])
def test_hydraulic_power(flow, head, watts):
    assert hydraulic_power_w(flow, head) == pytest.approx(watts, abs=0.05)


@pytest.mark.parametrize(("m3_day", "head", "kwh"), [(6, 20, 0.3263), (10, 35, 0.9517)])
def test_hydraulic_energy(m3_day, head, kwh):
    """U1; the handbook rule volume x head / 367 (from memory) lies 0.2 % above."""
    got = hydraulic_power_w(m3_day * 1000 / 1440, head) * 24 / 1000
    assert got == pytest.approx(kwh, abs=1e-4)
    assert m3_day * head / 367 == pytest.approx(got, rel=0.003)


def test_wire_to_water():
    """U1: 195.8 W lifted from 430 W electric is 45.5 %; here from a curve fitted to points of that efficiency."""
    heads, powers = [30, 40, 50] * 3, [300] * 3 + [430] * 3 + [560] * 3
    flows = [p * 0.455 / (998.2 * 9.80665 / 60000 * h) for h, p in zip(heads, powers, strict=True)]
    curve = pump.PumpCurve("helical", heads, powers, flows)
    assert curve.efficiency(40, 430) == pytest.approx(0.455, abs=0.005)
    assert curve.flow(40, 430) == pytest.approx(30, rel=0.01)


def test_affinity_laws():
    """U2 (seen: J. Evans): 1750 to 2000 rpm, 210 US gpm, 75 ft, 5.2 hp give 240 gpm, 97.96 ft, 7.76 hp; 0.1 %."""
    ratio = 2000 / 1750
    flow, head, power = pump.affinity(210, 75, 5.2, ratio)
    assert (flow, head, power) == pytest.approx((240, 97.96, 7.76), rel=1e-3)
    assert pump.affinity(1, 1, 1, 1.1) == pytest.approx((1.1, 1.21, 1.331))


def test_a_centrifugal_curve_obeys_the_affinity_laws_where_the_points_do():
    """U2, as a property of the fit: points made by the laws from one curve H = 40 n2 - 0.02 Q2, power by n3."""
    import numpy as np

    speed, flow = (a.ravel() for a in np.meshgrid(np.linspace(0.6, 1.2, 7), np.linspace(2, 30, 6)))
    head = 40 * speed**2 - 0.02 * flow**2
    keep = head > 3
    speed, flow, head = speed[keep], flow[keep], head[keep]
    power = speed**3 * (150 + 9 * flow / speed)
    curve = pump.PumpCurve("centrifugal", head, power, flow)
    assert curve.spread < 0.02
    moved = pump.affinity(15.0, 25.0, float(curve.power_needed(25, 15)), 1.15)
    assert curve.power_needed(moved[1], moved[0]) == pytest.approx(moved[2], rel=0.02)


@pytest.mark.parametrize(
    ("grade", "flow_share", "head_share"),
    [("1B", 0.05, 0.03), ("2B", 0.08, 0.05), ("3B", 0.09, 0.07), ("below 10 kW", 0.10, 0.08)],
)
def test_acceptance(grade, flow_share, head_share):
    """U3: ISO 9906:2012 (from memory); below 10 kW seen in a trade article."""
    assert pump.ACCEPTANCE[grade] == (flow_share, head_share)
    assert pump.within_acceptance(30 * (1 - flow_share + 0.001), 30, grade)
    assert not pump.within_acceptance(30 * (1 - flow_share - 0.001), 30, grade)
