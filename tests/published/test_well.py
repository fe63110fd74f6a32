"""Well against numbers from outside the project (rows W1-W5)."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from sizing import well
from tests.published import tables

# W1: computed with scipy 1.17.1; the same figures stand in USGS Water-Supply Paper 1536-E (from memory)
WELL_FUNCTION = {1e-10: 22.4486, 1e-8: 17.8435, 1e-6: 13.2383, 1e-4: 8.6332, 1e-3: 6.3315, 0.01: 4.0379, 0.05: 2.4679,
                 0.1: 1.8229, 0.5: 0.5598, 1: 0.2194, 2: 0.0489, 4: 0.0038}  # fmt: skip


@pytest.mark.parametrize(("u", "value"), WELL_FUNCTION.items())
def test_well_function(u, value):
    assert well.well_function(u) == pytest.approx(value, abs=5.1e-5)


@pytest.mark.parametrize(("u", "error"), [(0.01, -0.0025), (0.05, -0.020), (0.1, -0.054)])
def test_straight_line_error(u, error):
    """W1: Cooper & Jacob against Theis."""
    minutes = 1440 * 10.0**2 * 1e-4 / (4 * 100 * u) * (1 + 1e-12)
    theis = well.theis(500, 100, 1e-4, 10, minutes)
    assert well.cooper_jacob(500, 100, 1e-4, 10, minutes) / theis - 1 == pytest.approx(error, abs=0.0006)


def pumping_test(name, distances=None):
    rows = [r for r in tables.rows("pumping_tests.csv") if r["test"] == name]
    columns = np.array([[float(r[c]) for c in ("distance_m", "minutes", "drawdown_m")] for r in rows]).T
    if distances:
        columns = columns[:, np.isin(columns[0], distances)]
    return columns


def fit_theis(flow_m3_d, distance, minutes, drawdown):
    def misfit(x):
        return well.theis(flow_m3_d, np.exp(x[0]), np.exp(x[1]), distance, minutes) - drawdown

    found = least_squares(misfit, [np.log(200), np.log(1e-4)], x_scale=[0.1, 0.5])
    return np.exp(found.x[0]), np.exp(found.x[1]), np.sqrt(np.mean(found.fun**2))


def test_gridley():
    """W2 (seen data: Walton 1962; recomputed least squares): T 123.1 m2/d, S 2.09e-5, residual 0.028 m; 2 %."""
    distance, minutes, drawdown = pumping_test("gridley")
    t, s, residual = fit_theis(1199.2, distance, minutes, drawdown)
    assert t == pytest.approx(123.1, rel=0.02)
    assert s == pytest.approx(2.09e-5, rel=0.02)
    assert residual == pytest.approx(0.028, abs=0.002)


def test_gridley_by_the_straight_line():
    """W2: t >= 60 min, slope 1.704 m a log cycle, T 129.0, S 1.83e-5; Fetter (2001) by matching 130 and 2.4e-5."""
    distance, minutes, drawdown = pumping_test("gridley")
    late = minutes >= 60
    t, s = well.fit_straight_line(minutes[late], drawdown[late], 1199.2, distance[0])
    assert t == pytest.approx(129.0, rel=0.02)
    assert s == pytest.approx(1.83e-5, rel=0.02)


# W3 (seen data: Kruseman & de Ridder, ILRI 47; least squares recomputed, 1 %)
KORENDIJK = [((30, 90), 462.6, 1.78e-4), ((30,), 480.5, 1.125e-4), ((90,), 501.1, 2.04e-4)]


@pytest.mark.parametrize(("distances", "transmissivity", "storativity"), KORENDIJK)
def test_oude_korendijk(distances, transmissivity, storativity):
    t, s, residual = fit_theis(788, *pumping_test("oude_korendijk", distances))
    assert t == pytest.approx(transmissivity, rel=0.01)
    assert s == pytest.approx(storativity, rel=0.01)
    if len(distances) == 2:
        assert residual == pytest.approx(0.0501, abs=0.001)


# W4 (seen data: Clark 1977, Quarterly Journal of Engineering Geology 10:125; recomputed): m3/d, m
STEPS_Q = [1306, 1693, 2423, 3261, 4094, 5019]
STEPS_S = [4.683, 6.514, 9.578, 13.240, 17.395, 22.325]


def test_step_test():
    b, c = well.fit_step_test(STEPS_Q, STEPS_S)
    assert b == pytest.approx(3.4085e-3, rel=1e-3)
    assert c == pytest.approx(2.0747e-7, rel=1e-3)
    laminar = [b / (b + c * q) for q in (STEPS_Q[0], STEPS_Q[-1])]
    assert laminar == pytest.approx([0.926, 0.766], abs=0.001)
    assert well.drawdown(3000, b, c) == pytest.approx(12.09, abs=0.005)
    assert (3000 * b, 3000**2 * c) == pytest.approx((10.226, 1.867), abs=0.001)


def test_specific_capacity():
    """W5 (definition): 1306 m3/d at 4.683 m is 278.9 m2/d; 20 L/min = 1.2 m3/h."""
    capacity_m3_h = 1306 / 4.683 / 24
    assert capacity_m3_h * 24 == pytest.approx(278.9, abs=0.05)
    assert capacity_m3_h / 3.6 == pytest.approx(3.228, abs=0.001)
    flow_l_min = 1306 * 1000 / 1440
    assert well.drawdown(flow_l_min, well.from_specific_capacity(capacity_m3_h)) == pytest.approx(4.683, rel=1e-9)
