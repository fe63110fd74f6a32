"""An invented installation and pump types for the tests of the chain; nothing here stands for a real product."""

import numpy as np

from sizing import chain
from sizing.pump import PumpCurve

MODULE = {
    "cells": 60, "p_stc_w": 250.0, "v_mp_v": 30.4, "i_mp_a": 8.23, "v_oc_v": 37.6, "i_sc_a": 8.79,
    "alpha_isc_pct_k": 0.055, "beta_voc_pct_k": -0.33, "gamma_p_pct_k": -0.41, "noct_c": 46.0,
}  # fmt: skip


def screw_points(noise=0.0, seed=3):
    """(head, power, flow, volts, amps) of a positive-displacement pump from its own machine equations, scattered."""
    rng = np.random.default_rng(seed)
    head, flow = rng.uniform(8, 90, 60), rng.uniform(1.5, 24, 60)
    speed = flow + 0.004 * head**1.3
    amps = 0.7 + 0.055 * head + 0.02 * speed
    volts = 2.4 * speed + 0.5 * amps
    return head, volts * amps, flow * (1 + noise * rng.normal(size=60)), volts, amps


def wheel_points():
    """The same of a centrifugal pump: H = 46 n2 - 0.012 Q2, torque of the second degree, from 60 % to full speed."""
    speed, flow = (a.ravel() for a in np.meshgrid(np.linspace(0.55, 1.05, 8), np.linspace(3, 42, 8)))
    head = 46 * speed**2 - 0.012 * flow**2
    keep = head > 2
    speed, flow, head = speed[keep], flow[keep], head[keep]
    amps = speed * (2.2 * speed + 0.07 * flow)
    volts = 46 * speed + 0.6 * amps
    return head, volts * amps, flow, volts, amps


def pumps():
    """{"screw": ..., "wheel": ...}."""
    return {
        "screw": PumpCurve("helical", *screw_points(), name="screw"),
        "wheel": PumpCurve("centrifugal", *wheel_points(), name="wheel"),
    }


def row(**changes):
    """One installation as a dictionary."""
    return {
        **MODULE, "latitude_deg": 12.5, "longitude_deg": -1.5, "altitude_m": 300, "tilt_deg": 15, "azimuth_deg": 180,
        "modules_in_series": 2, "strings": 1, "pump_type": "screw", "coupling": "tracking",
        "controller_efficiency": 0.95, "static_level_m": 28.0, "setting_depth_m": 45.0, "tank_rise_m": 5.0,
        "drawdown_b_m_per_l_min": 0.05, "pipe_length_m": 60.0, "pipe_inside_mm": 26.0, "cable_length_m": 55.0,
        "cable_area_mm2": 4.0, **changes,
    }  # fmt: skip


def fleet(*rows):
    """The fleet of some rows, none of which may be refused."""
    read = chain.fleet_from_rows(list(rows) or [row()], pumps())
    assert not [r for r in read.reasons if r], read.reasons
    return read.fleet
