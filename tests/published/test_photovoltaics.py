"""Array and module against numbers from outside the project (rows P1-P6, E1, E2)."""

import numpy as np
import pytest
from scipy.optimize import brentq

from sizing import array
from tests.published import tables

# P2: NOCT line by definition; Faiman computed with pvlib 0.16.1
# G W/m2, air C, wind m/s, NOCT 45, NOCT 47, Faiman u0 25 u1 6.84
CELLS = [
    (800, 20, 1, 45.000, 47.000, 45.126),
    (1000, 35, 2, 66.250, 68.750, 60.853),
    (900, 20, 5, 48.125, 50.375, 35.203),
    (400, 28, 0.5, 40.500, 41.500, 42.075),
    (200, 15, 4, 21.250, 21.750, 18.820),
]


@pytest.mark.parametrize(("irradiance", "air", "wind", "noct_45", "noct_47", "faiman"), CELLS)
def test_cell_temperature(irradiance, air, wind, noct_45, noct_47, faiman):
    assert array.cell_temperature(irradiance, air, 45) == pytest.approx(noct_45, abs=0.01)
    assert array.cell_temperature(irradiance, air, 47) == pytest.approx(noct_47, abs=0.01)
    assert array.faiman_temperature(irradiance, air, wind) == pytest.approx(faiman, abs=0.01)


def test_a_working_module_is_cooler_than_the_nominal_line_says():
    """P1 conditions: at NOCT the module gives no power and the wind is 1 m/s."""
    assert array.working_rise(45) * 800 < 25
    assert array.working_rise(45, wind_m_s=1.0) * 800 == pytest.approx(25 * (1 - 0.13 / 0.9), abs=1e-9)


# P3: definition, the form of NREL/TP-6A20-62641: G, Tc, P0, gamma 1/K, P
POWERS = [(800, 45, 300, -0.004, 220.8), (600, 55, 1200, -0.0035, 644.4), (1000, 60, 480, -0.0045, 404.4)]


@pytest.mark.parametrize(("irradiance", "cell", "p_stc", "gamma", "watts"), POWERS)
def test_power_by_the_linear_model(irradiance, cell, p_stc, gamma, watts):
    assert array.linear_power(p_stc, irradiance, cell, 100 * gamma) == pytest.approx(watts, rel=1e-12)


def single_diodes():
    """P4 (seen): precise curves distributed as test data of an open solar library, 25 C; relative tolerance 1e-6."""
    rows = tables.rows("single_diode_points.csv")
    n = {name: np.array([float(r[name]) for r in rows]) for name in rows[0] if name not in ("set", "index")}
    thermal = n["ideality"] * n["cells"] * 1.380649e-23 * 298.15 / 1.602176634e-19
    diode = array.Diode(
        n["photocurrent_a"], n["saturation_current_a"], thermal, n["series_ohm"], n["shunt_ohm"], np.zeros(len(rows))
    )
    return n, diode


def test_single_diode_curves_meet_the_precise_points():
    n, diode = single_diodes()
    assert len(n["i_sc"]) == 44
    at = array.maximum_power(diode, 1000, 25)
    np.testing.assert_allclose(array.current(diode, 1000, 25, np.zeros(44)), n["i_sc"], rtol=1e-6)
    np.testing.assert_allclose(at.power_w, n["p_mp"], rtol=1e-6)
    np.testing.assert_allclose(at.voltage_v, n["v_mp"], rtol=1e-6)
    np.testing.assert_allclose(at.current_a, n["i_mp"], rtol=1e-6)
    np.testing.assert_allclose(array.current(diode, 1000, 25, n["v_oc"] / 2), n["i_x"], rtol=1e-6)
    middle = (n["v_oc"] + n["v_mp"]) / 2
    np.testing.assert_allclose(array.current(diode, 1000, 25, middle), n["i_xx"], rtol=1e-6)
    np.testing.assert_allclose(array.current(diode, 1000, 25, n["v_oc"]), 0, atol=1e-6)


# P5: computed with pvlib 0.16.1 (calcparams_desoto, singlediode); model of De Soto, Klein & Beckman (2006)
# G, Tc, IL, I0, a, Isc, Voc, Imp, Vmp, Pmp
DE_SOTO = [
    (1000, 25, 9.05, 3.0e-10, 1.55, 9.04225, 37.3831, 8.48624, 30.2711, 256.887),
    (800, 45, 7.312, 7.046524e-09, 1.653975, 7.30699, 34.3191, 6.80792, 27.6319, 188.116),
    (400, 40, 3.647, 3.320274e-09, 1.627981, 3.64575, 33.8725, 3.41090, 28.1622, 96.0585),
    (1000, 65, 9.23, 1.152171e-07, 1.757949, 9.22209, 31.9753, 8.48705, 24.8218, 210.664),
    (200, 25, 1.81, 3.0e-10, 1.55, 1.80969, 34.8897, 1.70326, 29.7345, 50.6457),
]


@pytest.mark.parametrize(("g", "cell", "light", "dark", "thermal", "i_sc", "v_oc", "i_mp", "v_mp", "p_mp"), DE_SOTO)
def test_translation_to_other_sun_and_heat(g, cell, light, dark, thermal, i_sc, v_oc, i_mp, v_mp, p_mp):
    diode = array.Diode(9.05, 3.0e-10, 1.55, 0.30, 350.0, 0.0045)
    moved = array.translate(9.05, 3.0e-10, 1.55, 350.0, 0.0045, float(g), float(cell))
    assert moved[:3] == pytest.approx((light, dark, thermal), rel=1e-4)
    at = array.maximum_power(diode, g, cell)
    assert (at.current_a, at.voltage_v, at.power_w) == pytest.approx((i_mp, v_mp, p_mp), rel=1e-4)
    assert array.current(diode, g, cell, 0.0) == pytest.approx(i_sc, rel=1e-4)
    open_v = brentq(lambda v: float(array.current(diode, g, cell, v)), 10, 50)
    assert open_v == pytest.approx(v_oc, rel=1e-4)


def test_a_curve_fitted_to_a_data_sheet_gives_the_sheet_back():
    """The sheet's own numbers, put back (identity); an invented 60-cell module."""
    sheet = (60, 30.4, 8.23, 37.6, 8.79, 0.055, -0.33, -0.41)
    diode = array.fit_diode(*sheet)
    at = array.maximum_power(diode, [1000, 1000], [25, 55])
    assert (at.voltage_v[0], at.current_a[0]) == pytest.approx((30.4, 8.23), rel=1e-3)
    assert array.current(diode, 1000, 25, 0.0) == pytest.approx(8.79, rel=1e-3)
    assert array.current(diode, 1000, 25, 37.6) == pytest.approx(0, abs=1e-3)
    assert at.power_w[1] / at.power_w[0] == pytest.approx(1 - 0.0041 * 30, abs=0.002)


# P6: definition
def test_field_arithmetic():
    assert array.irradiance_from_short_circuit(6.2, 48, 9.0, 0.05) == pytest.approx(681.1, abs=0.05)
    assert array.irradiance_from_short_circuit(3.1, 35, 8.6, 0.045) == pytest.approx(358.9, abs=0.05)
    assert array.string_open_circuit_voltage(3, 37.4, -0.31, 55) == pytest.approx(101.77, abs=0.01)
    assert array.string_open_circuit_voltage(2, 45.6, -0.29, 60) == pytest.approx(81.94, abs=0.01)


# E1: IEC 62446-1:2016 (from memory): system voltage 1.25 Voc, test volts, least Mohm
@pytest.mark.parametrize(
    ("system_v", "test_v", "mohm"), [(1.25 * 2 * 37.4, 250, 0.5), (1.25 * 3 * 37.4, 500, 1.0), (640, 1000, 1.0)]
)
def test_insulation_rows(system_v, test_v, mohm):
    assert array.insulation_test(system_v) == (test_v, mohm)


def test_strings_of_a_kind_agree_within_five_per_cent():
    """E2: IEC 62446-1 category 1 (from memory); a missing module of four shows (n-1)/n, a reversed one (n-2)/n."""
    volts = np.array([148.0, 149.5, 149.5 * 3 / 4])
    assert array.strings_agree(volts).tolist() == [True, True, False]
    assert array.strings_agree([8.1, 8.0, 7.9, 8.2]).all()
