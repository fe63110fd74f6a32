"""Pipe and head against numbers from outside the project (rows H1-H8)."""

import numpy as np
import pytest
from fluids.friction import Colebrook
from scipy.optimize import brentq

from sizing import head
from tests.published import tables

ROUGH_MM = 0.007
SDRS = {"sdr17": 17.0, "sdr13_6": 13.6, "sdr11": 11.0, "sdr9": 9.0}


def test_walls_of_standard_pipe():
    """H1 (seen): ISO 4427-2:2007, table 2."""
    seen = 0
    for row in tables.rows("pe_pipe_walls.csv"):
        for column, sdr in SDRS.items():
            if row[column]:
                seen += 1
                outside = float(row["outside_mm"])
                assert head.inside_diameter(outside, sdr) == pytest.approx(outside - 2 * float(row[column]))
    assert seen > 25


# H2: computed with iapws 1.5.5 (IAPWS-95, 0.101325 MPa): C, kg/m3, kinematic 1e-6 m2/s
WATER = [(4, 999.975, 1.5673), (10, 999.702, 1.3063), (15, 999.103, 1.1386), (20, 998.207, 1.0034),
         (25, 997.048, 0.8927), (30, 995.649, 0.8007), (40, 992.216, 0.6578)]  # fmt: skip


@pytest.mark.parametrize(("celsius", "density", "viscosity"), WATER)
def test_water(celsius, density, viscosity):
    assert head.water_density(celsius) == pytest.approx(density, abs=0.02)
    assert head.water_viscosity(celsius) * 1e6 == pytest.approx(viscosity, rel=0.003)


# H3: computed with fluids 1.3.1: Re, e/D, Colebrook, Swamee-Jain, Haaland; 0.1 % for the named formula
FACTORS = [
    (1e4, 0, 0.030883, 0.030972, 0.030886),
    (1e5, 0, 0.017990, 0.017863, 0.017825),
    (1e6, 0, 0.011645, 0.011606, 0.011587),
    (1e5, 1e-4, 0.018514, 0.018452, 0.018265),
    (1e5, 1e-3, 0.022175, 0.022342, 0.021966),
    (2e4, 2.5e-4, 0.026424, 0.026429, 0.026180),
    (5e4, 2e-3, 0.026506, 0.026771, 0.026283),
    (1e5, 1e-2, 0.038504, 0.038751, 0.038539),
]


@pytest.mark.parametrize(("reynolds", "relative", "colebrook", "swamee_jain", "haaland"), FACTORS)
def test_friction_factor(reynolds, relative, colebrook, swamee_jain, haaland):
    assert head.friction_factor(reynolds, relative) == pytest.approx(colebrook, rel=1e-3)
    assert head.swamee_jain(reynolds, relative) == pytest.approx(swamee_jain, rel=1e-3)
    assert head.haaland(reynolds, relative) == pytest.approx(haaland, rel=1e-3)


def test_laminar_friction_and_a_rising_loss_through_the_transition():
    assert head.friction_factor(1000, 0.001) == pytest.approx(0.064)
    reynolds = np.linspace(100, 10000, 2000)
    loss = head.friction_factor(reynolds, 3e-4) * reynolds**2
    assert (np.diff(loss) > 0).all()


def test_own_colebrook_agrees_with_the_library():
    for reynolds in (4e3, 1.3e4, 7.7e4, 3e6):
        for relative in (0, 1e-5, 4e-4, 2e-2):
            assert head.friction_factor(reynolds, relative) == pytest.approx(Colebrook(reynolds, relative), rel=1e-7)


def test_white_example_6_6():
    """White, Fluid Mechanics, example 6.6 (from memory): f 0.0198-0.020, loss 4.4-4.5 ft; recomputed 0.01983, 4.43."""
    f = float(head.friction_factor(2.7e5, 0.0008))
    assert 0.0198 <= f <= 0.020
    assert 4.4 <= f * 200 / 0.5 * 6**2 / (2 * 32.174) <= 4.5


# H4: Colebrook of fluids 1.3.1, 0.007 mm, 20 C; Hazen-Williams by its formula; 0.5 %
LOSSES = [
    (16.0, 8, 30, 1.308, 1.110, 1.261),
    (20.4, 15, 40, 1.650, 1.452, 1.650),
    (26.0, 30, 50, 2.201, 2.010, 2.284),
    (32.6, 50, 80, 2.950, 2.752, 3.128),
    (40.8, 90, 120, 4.303, 4.111, 4.672),
    (44.0, 100, 200, 6.022, 5.766, 6.552),
    (51.4, 150, 250, 7.374, 7.163, 8.139),
    (55.4, 180, 60, 1.712, 1.673, 1.901),
]


@pytest.mark.parametrize(("inside", "flow", "length", "darcy", "hw_150", "hw_140"), LOSSES)
def test_head_loss_in_pe_pipe(inside, flow, length, darcy, hw_150, hw_140):
    assert head.friction_head(flow, length, inside, 0, ROUGH_MM, 20) == pytest.approx(darcy, rel=0.005)
    assert head.hazen_williams_head(flow, length, inside, 150) == pytest.approx(hw_150, rel=0.005)
    assert head.hazen_williams_head(flow, length, inside, 140) == pytest.approx(hw_140, rel=0.005)


# H5 (seen): Illinois Administrative Code 77-906, app. A, exhibit I; bores of schedule 40 from memory: ft per 100 ft
ILLINOIS = [
    (5, 1.049, 1.52), (5, 1.380, 0.39), (5, 1.610, 0.18), (10, 1.049, 5.50), (10, 1.380, 1.46), (10, 1.610, 0.70),
    (10, 2.067, 0.21), (20, 1.380, 5.23), (20, 1.610, 2.46), (20, 2.067, 0.74), (30, 1.610, 5.22), (30, 2.067, 1.54),
    (30, 3.068, 0.23), (50, 2.067, 3.98), (50, 3.068, 0.58), (100, 3.068, 2.09),
]  # fmt: skip


@pytest.mark.parametrize(("gallons", "inches", "feet"), ILLINOIS)
def test_a_printed_friction_table(gallons, inches, feet):
    got = float(head.hazen_williams_head(gallons * 3.785411784, 100, inches * 25.4, 150))
    assert abs(got - feet) <= max(0.03 * feet, 0.012)


# H6: EPANET 2.2 through wntr 1.5.0; nu 1.022e-6, Swamee-Jain; L/s; 0.2 %
RESERVOIRS = [
    (32.6, 100, 3.0, 0.7732, 0.7415), (40.8, 150, 5.0, 1.4766, 1.4397), (26.0, 60, 4.0, 0.6563, 0.6302),
    (51.4, 300, 6.0, 2.0573, 2.0144),
]  # fmt: skip


def swamee_jain_loss(litres_s, length, inside_mm, k=0.0):
    d = inside_mm / 1000
    v = litres_s / 1000 / (np.pi / 4 * d * d)
    reynolds = v * d / 1.022e-6
    return (float(head.swamee_jain(reynolds, ROUGH_MM / inside_mm)) * length / d + k) * v * v / (2 * 9.80665)


@pytest.mark.parametrize(("inside", "length", "difference", "hazen", "darcy"), RESERVOIRS)
def test_two_reservoirs_as_a_network_solver_has_them(inside, length, difference, hazen, darcy):
    by_hazen = brentq(lambda q: head.hazen_williams_head(60 * q, length, inside) - difference, 0.01, 5)
    by_darcy = brentq(lambda q: swamee_jain_loss(q, length, inside) - difference, 0.1, 5)
    own = brentq(lambda q: head.friction_head(60 * q, length, inside, 0, ROUGH_MM, 19.25) - difference, 0.01, 5)
    assert by_hazen == pytest.approx(hazen, rel=0.002)
    assert by_darcy == pytest.approx(darcy, rel=0.002)
    assert own == pytest.approx(darcy, rel=0.01)  # Colebrook against Swamee-Jain


# inside, length, lift, K, flow H-W, flow D-W, pump head D-W; pump H = 60 - r Q^n through (0,60) (0.5,48) (0.9,20)
PUMPED = [
    (32.6, 80, 32.0, 0, 0.7273, 0.7251, 34.31), (26.0, 60, 40.0, 5, 0.5837, 0.5798, 43.75),
    (40.8, 200, 25.0, 0, 0.8166, 0.8143, 27.42), (26.0, 90, 55.0, 0, 0.2829, 0.2775, 56.41),
]  # fmt: skip


@pytest.mark.parametrize(("inside", "length", "lift", "k", "hazen", "darcy", "pump_head"), PUMPED)
def test_a_pump_through_a_pipe_as_a_network_solver_has_it(inside, length, lift, k, hazen, darcy, pump_head):
    n = np.log(40 / 12) / np.log(0.9 / 0.5)
    assert n == pytest.approx(2.0483, abs=1e-4)
    curve = lambda q: 60 - 12 * (q / 0.5) ** n  # noqa: E731
    fittings = lambda q: k * (q / 1000 / (np.pi / 4 * (inside / 1000) ** 2)) ** 2 / (2 * 9.80665)  # noqa: E731
    by_hazen = brentq(
        lambda q: curve(q) - lift - float(head.hazen_williams_head(60 * q, length, inside)) - fittings(q), 0.05, 0.95
    )
    by_darcy = brentq(lambda q: curve(q) - lift - swamee_jain_loss(q, length, inside, k), 0.2, 0.95)
    assert by_hazen == pytest.approx(hazen, rel=0.002)
    assert by_darcy == pytest.approx(darcy, rel=0.002)
    assert curve(by_darcy) == pytest.approx(pump_head, abs=0.05)


# H7: turbulent factor of commercial steel, Crane TP-410, computed with fluids 1.3.1: bore in (schedule 40), f
CRANE = [(0.824, 0.0237), (1.049, 0.0223), (1.380, 0.0208), (1.610, 0.0200), (2.067, 0.0189), (3.068, 0.0172)]


@pytest.mark.parametrize(("inches", "factor"), CRANE)
def test_turbulent_factor_of_steel(inches, factor):
    """Fully turbulent flow, roughness 0.00015 ft as Crane takes it (from memory); 1 % for the rounding of both."""
    relative = 0.00015 * 12 / inches
    assert head.friction_factor(1e9, relative) == pytest.approx(factor, rel=0.015)


def test_loss_coefficients_of_two_inch_fittings():
    """H7 (multiples from memory): swing check 1.885, gate 0.151, ball 0.057, poppet foot valve 7.92 at f = 0.0189."""
    lengths = head.EQUIVALENT_LENGTHS
    for name, k in (("non_return_valve", 1.885), ("gate_valve", 0.151), ("ball_valve", 0.057), ("foot_valve", 7.92)):
        assert lengths[name] * 0.018853 == pytest.approx(k, rel=0.01)


def test_handbook_set_of_fittings():
    """H7 (seen: a compiled engineering table; meters and foot valve from memory)."""
    k = head.FITTINGS
    assert (k["elbow_90"], k["elbow_90_long"], k["elbow_45"], k["tee_straight"], k["tee_branch"]) == (
        1.5,
        0.7,
        0.4,
        0.9,
        2,
    )
    assert (k["globe_valve"], k["angle_valve"], k["gate_valve"], k["non_return_valve"]) == (10, 2, 0.15, 2)
    assert (k["meter_disk"], k["meter_piston"], k["meter_turbine"], k["foot_valve"]) == (7, 15, 6, 15)
    assert head.fittings_sum({"elbow_90": 2, "gate_valve": 1, "outlet": 1}) == pytest.approx(4.15)


# H8 (seen): PN = 20 s / (SDR - 1); PE 100 8 MPa, PE 80 6.3 MPa (from memory)
@pytest.mark.parametrize(("sdr", "bar"), [(11, 16), (17, 10), (13.6, 12.7), (9, 20)])
def test_pressure_class(sdr, bar):
    assert head.pressure_class_bar(sdr) == pytest.approx(bar, abs=0.01)
    assert head.pressure_class_bar(sdr, "PE 80") == pytest.approx(bar * 6.3 / 8, abs=0.01)


def test_first_water_of_a_small_unit():
    """Common practice, no source: a small direct-current unit on 25 mm PE set at 30 m, three to four minutes."""
    minutes = head.minutes_to_first_water(lambda h: 3.4 - 0.02 * np.asarray(h), 26.0, 30.0, 4.0, 36.0, 20.4)
    assert 3 <= minutes <= 4
    assert (
        head.minutes_to_first_water(lambda h: 3.0 + 0 * np.asarray(h), 26.0, 30.0, 4.0, 36.0, 20.4, main_full=True) == 0
    )
    assert head.minutes_to_first_water(lambda h: 2 - 0.1 * np.asarray(h), 26.0, 30.0, 4.0, 36.0, 20.4) == np.inf
