"""Statistics against printed tables; each table names its source. Tolerances cover the printed digits."""

import numpy as np
import pytest

from sizing.checks import Refusal
from sizing.judge import statistics

# Freireich et al. 1963, Blood 21:699, 6-mercaptopurine arm, weeks in remission.
# Data seen; printed estimates from memory.
WEEKS = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
CENSORED = [3, 5, 7, 8, 11, 12, 13, 16, 17, 18, 19, 20]
REMISSION = [  # week, at risk, events, surviving, Greenwood standard error
    (6, 21, 3, 0.8571, 0.0764), (7, 17, 1, 0.8067, 0.0869), (10, 15, 1, 0.7529, 0.0963), (13, 12, 1, 0.6902, 0.1068),
    (16, 11, 1, 0.6275, 0.1141), (22, 7, 1, 0.5378, 0.1282), (23, 6, 1, 0.4482, 0.1346),
]  # fmt: skip


def test_remissions_survive_as_printed():
    happened = np.ones(21, bool)
    happened[CENSORED] = False
    s = statistics.kaplan_meier(WEEKS, happened)
    for row, printed in zip(zip(s.time, s.at_risk, s.events, s.surviving, s.standard_error), REMISSION, strict=True):
        assert row[:3] == printed[:3]
        assert row[3:] == pytest.approx(printed[3:], abs=6e-5)
    assert s.median == 23
    assert happened.sum() / np.sum(WEEKS) == pytest.approx(0.02507, abs=5e-6)


def test_weibull_life_agrees_with_the_handbook():
    """NIST/SEMATECH e-Handbook of Statistical Methods 8.4.1.3 (seen); 1e-4 relative."""
    hours = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
    fit = statistics.weibull(hours, [True] * 10 + [False] * 10)
    assert fit.scale == pytest.approx(606.5280, rel=1e-4)
    assert fit.shape == pytest.approx(1.7208, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=1e-3)
    assert 4 - 2 * fit.log_likelihood == pytest.approx(154.27, abs=5e-3)
    assert fit.mean == pytest.approx(540.74, rel=1e-4)
    assert fit.standard_deviation == pytest.approx(323.81, rel=1e-4)


def test_weibull_refuses_a_single_event_and_negative_hours():
    with pytest.raises(Refusal):
        statistics.weibull([3, 4, 5], [True, False, False])
    with pytest.raises(Refusal):
        statistics.weibull([-3, 4, 5], [True, True, False])


SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]
# Lucas & Crosier 1982, Technometrics 24:199, Table 1, slack 0.5, limit 4, two-sided (figures seen as quoted).
CUSUM = [168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71]
CUSUM_HEAD_START = [149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07]
# Lucas & Saccucci 1990, Technometrics 32:1, Table 3, fixed limits (figures seen as quoted).
EWMA = {(0.50, 3.071): [500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.34],
        (0.03, 2.437): [500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.11]}  # fmt: skip


@pytest.mark.parametrize(("shift", "plain", "head"), list(zip(SHIFTS, CUSUM, CUSUM_HEAD_START, strict=True)))
def test_cumulative_sums_run_as_long_as_printed(shift, plain, head):
    assert statistics.cusum_run_length(0.5, 4, shift) == pytest.approx(plain, rel=0.01)
    assert statistics.cusum_run_length(0.5, 4, shift, head_start=2) == pytest.approx(head, rel=0.01)


@pytest.mark.parametrize(("slack", "limit"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52)])
def test_montgomerys_limits_give_a_run_of_370(slack, limit):
    """Montgomery, Introduction to Statistical Quality Control (memory); limits are printed to two decimals."""
    assert statistics.cusum_run_length(slack, limit) == pytest.approx(370, rel=0.02)


@pytest.mark.parametrize(("shift", "length"), [(0, 335.4), (0.5, 26.68), (1, 8.38)])
def test_one_sided_run_lengths(shift, length):
    assert statistics.cusum_run_length(0.5, 4, shift, two_sided=False) == pytest.approx(length, rel=1e-3)


@pytest.mark.parametrize("design", list(EWMA))
def test_moving_averages_run_as_long_as_printed(design):
    ours = [statistics.ewma_run_length(*design, shift) for shift in SHIFTS]
    assert ours == pytest.approx(EWMA[design], rel=0.01)


def test_simulated_runs_agree_with_the_integral_equation():
    rng = np.random.default_rng(5)
    arms = statistics.cumulative_sum(rng.normal(1.0, 1, (4000, 60)), 0.0, 0.5)
    lengths = 1 + np.argmax((arms.high > 4) | (arms.low > 4), axis=1)
    assert lengths.mean() == pytest.approx(8.38, rel=0.03)


def test_the_handbooks_worked_series_alarms_at_sample_14():
    """NIST/SEMATECH e-Handbook 6.3.2.3 (memory; its arithmetic closes exactly)."""
    means = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
             324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]  # fmt: skip
    arms = statistics.cumulative_sum(means, 325, 0.3175)
    assert arms.high[12:] == pytest.approx([3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04], abs=0.006)
    low = {2: 0.01, 4: 0.33, 7: 0.56, 8: 0.72, 9: 0.17, 10: 0.25, 11: 0.31}
    assert arms.low[[i - 1 for i in low]] == pytest.approx(list(low.values()), abs=0.006)
    assert 1 + np.argmax(arms.high > 4.1959) == 14


def test_exact_poisson_limits():
    """Garwood 1936; cases 0 and 10 seen, the others computed from the rule."""
    low, high = statistics.poisson_limits([0, 1, 2, 3, 5, 10, 20, 30])
    assert low == pytest.approx([0, 0.0253, 0.2422, 0.6187, 1.6235, 4.7954, 12.2165, 20.2409], abs=6e-5)
    assert high == pytest.approx([3.6889, 5.5716, 7.2247, 8.7673, 11.6683, 18.3904, 30.8884, 42.8269], abs=6e-5)
    assert np.array(statistics.poisson_limits(3)) / 120 == pytest.approx([0.0052, 0.0731], abs=5e-5)


def test_sens_own_example():
    """Sen 1968, JASA 63:1379 (memory): slope 4, 93 % limits 3.714 to 4.375, tau 1."""
    s = statistics.theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])
    assert s.slope == pytest.approx(4, abs=1e-12)
    assert (s.low, s.high) == pytest.approx((3.714, 4.375), abs=6e-4)
    assert s.tau == 1
