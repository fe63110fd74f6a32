"""The well: how far the water falls while it is pumped.

Three laws: a straight line (specific capacity), a step test's B Q + C Q2 (Jacob 1947), and the confined aquifer of
Theis (1935) with its straight-line form of Cooper & Jacob (1946).
"""

from typing import NamedTuple

import numpy as np
from scipy.special import exp1

from .checks import Refusal, known, within


class StepTest(NamedTuple):
    """Coefficients of s = B Q + C Q2, in the units of the data: laminar B and turbulent C."""

    laminar: float
    turbulent: float


def drawdown(flow_l_min, laminar_m_per_l_min, turbulent_m_per_l_min2=0.0):
    """Fall of the level, m, at a flow: B Q + C Q2. Shapes broadcast; no flow, no drawdown.

    Holds for a level that has settled; short pumping falls less. Refuses negative flow and coefficients.
    Source: Jacob (1947), Transactions ASCE 112:1047 (from memory).
    """
    flow = within(flow_l_min, 0, 1e5, "flow_l_min")
    b = within(laminar_m_per_l_min, 0, 1e3, "laminar_m_per_l_min")
    c = within(turbulent_m_per_l_min2, 0, 1e3, "turbulent_m_per_l_min2")
    return flow * (b + c * flow)


def from_specific_capacity(specific_capacity_m3_h_m):
    """B, m per L/min, from m3/h per metre. Refuses zero: such a well gives nothing."""
    capacity = within(specific_capacity_m3_h_m, 0, 1e4, "specific_capacity_m3_h_m", open_low=True)
    return 0.06 / capacity


def fit_step_test(flow, drawdown_m):
    """B and C (StepTest) of the straight line through s/Q against Q, by least squares; C never below zero.

    Needs two steps or more of different flow, in any unit. Source: Jacob's method, as in Clark (1977), Quarterly
    Journal of Engineering Geology 10:125.
    """
    q, s = known(flow, "flow"), known(drawdown_m, "drawdown_m")
    if q.shape != s.shape or q.ndim != 1:
        raise Refusal("flow", q.shape, because=f"flow and drawdown_m must be two lists of one length, not {s.shape}")
    if np.unique(q).size < 2:
        raise Refusal("flow", q.tolist(), because="a step test needs two steps of different flow")
    if (q <= 0).any():
        raise Refusal("flow", float(q.min()), because="every step needs a flow above zero")
    if (s < 0).any():
        raise Refusal("drawdown_m", float(s.min()), because="give the fall of the level as a positive number")
    slope, offset = np.polyfit(q, s / q, 1)
    if slope < 0:
        return StepTest(float((s * q).sum() / (q * q).sum()), 0.0)
    return StepTest(float(offset), float(slope))


def well_function(u):
    """Theis's W(u), the exponential integral. Refuses u of zero or less."""
    return exp1(within(u, 0, 1e3, "u", open_low=True))


def theis(flow_m3_d, transmissivity_m2_d, storativity, distance_m, minutes):
    """Drawdown, m, at a distance from a well pumped at constant rate. Confined, wide, even aquifer; shapes broadcast.

    Source: Theis (1935), Transactions American Geophysical Union 16:519 (from memory).
    """
    rate, days = within(flow_m3_d, 0, 1e6, "flow_m3_d"), within(minutes, 0, 1e8, "minutes", open_low=True) / 1440
    t = within(transmissivity_m2_d, 0, 1e6, "transmissivity_m2_d", open_low=True)
    s = within(storativity, 0, 1, "storativity", open_low=True)
    r = within(distance_m, 0, 1e5, "distance_m", open_low=True)
    return rate / (4 * np.pi * t) * exp1(r * r * s / (4 * t * days))


def cooper_jacob(flow_m3_d, transmissivity_m2_d, storativity, distance_m, minutes):
    """Straight-line form of `theis`: 2 % off at u = 0.05, 0.3 % at 0.01; NaN where u is above 0.1.

    Source: Cooper & Jacob (1946), Transactions American Geophysical Union 27:526 (from memory).
    """
    rate, days = within(flow_m3_d, 0, 1e6, "flow_m3_d"), within(minutes, 0, 1e8, "minutes", open_low=True) / 1440
    t = within(transmissivity_m2_d, 0, 1e6, "transmissivity_m2_d", open_low=True)
    s = within(storativity, 0, 1, "storativity", open_low=True)
    u = within(distance_m, 0, 1e5, "distance_m", open_low=True) ** 2 * s / (4 * t * days)
    return np.where(u > 0.1, np.nan, rate / (4 * np.pi * t) * (-np.euler_gamma - np.log(u)))


def fit_straight_line(minutes, drawdown_m, flow_m3_d, distance_m):
    """(transmissivity m2/d, storativity) from late drawdowns against log time. Source: as `cooper_jacob`."""
    t, s = known(minutes, "minutes"), known(drawdown_m, "drawdown_m")
    if t.size < 3 or t.shape != s.shape:
        raise Refusal("minutes", t.size, because="three or more late points are needed, with a drawdown each")
    slope, offset = np.polyfit(np.log10(t / 1440), s, 1)
    transmissivity = np.log(10) * flow_m3_d / (4 * np.pi * slope)
    start_days = 10 ** (-offset / slope)
    return transmissivity, 4 * np.exp(-np.euler_gamma) * transmissivity * start_days / distance_m**2
