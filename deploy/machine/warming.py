"""Compiles the engineering's loops into their cache, so that no page and no night waits for it.

Run in an interpreter of its own at set-up. Two invented units of either make are taken through every question that the
rooms ask; what is compiled for them serves all others.
"""

import sys

import numpy as np

MODULE = {
    "cells": 60, "p_stc_w": 250.0, "v_mp_v": 30.4, "i_mp_a": 8.23, "v_oc_v": 37.6, "i_sc_a": 8.79,
    "alpha_isc_pct_k": 0.055, "beta_voc_pct_k": -0.33, "gamma_p_pct_k": -0.41, "noct_c": 46.0,
}  # fmt: skip
UNIT = {
    **MODULE, "latitude_deg": 12.5, "longitude_deg": -1.5, "altitude_m": 300, "tilt_deg": 15, "azimuth_deg": 180,
    "modules_in_series": 2, "strings": 2, "controller_efficiency": 0.95, "static_level_m": 22.0,
    "setting_depth_m": 40.0, "tank_rise_m": 5.0, "drawdown_b_m_per_l_min": 0.05, "pipe_length_m": 60.0,
    "pipe_inside_mm": 26.0, "cable_length_m": 55.0, "cable_area_mm2": 4.0,
}  # fmt: skip


def _sheet(kind):
    """Test-sheet points of an invented pump: a displacement pump's flow by power, a wheel's by speed and head."""
    from sizing.pump import PumpCurve

    if kind == "centrifugal":
        speed, flow = (a.ravel() for a in np.meshgrid(np.linspace(0.55, 1.05, 8), np.linspace(3, 42, 8)))
        head = 46 * speed**2 - 0.012 * flow**2
        amps = speed * (2.2 * speed + 0.07 * flow)
        volts = 46 * speed + 0.6 * amps
        keep = head > 2
        return PumpCurve(kind, head[keep], (volts * amps)[keep], flow[keep], volts[keep], amps[keep], name=kind)
    head, flow = (a.ravel() for a in np.meshgrid(np.linspace(8, 90, 8), np.linspace(1.5, 24, 8)))
    amps = 0.7 + 0.055 * head + 0.02 * flow
    volts = 2.4 * flow + 0.5 * amps
    return PumpCurve(kind, head, volts * amps, flow, volts, amps, name=kind)


TODAY = 19_900  # a day number, any


def _sixty_days():
    """Days of a unit that gave half of what it should for the last twenty of them."""
    from sizing import judge

    rows = np.zeros(60, judge.OBSERVATION)
    for name in rows.dtype.names:
        if rows.dtype[name].kind == "f":
            rows[name] = np.nan
    rows["day"], rows["since"] = TODAY - 59 + np.arange(60), 1
    rows["supply_l"] = rows["expected_l"] = 4000.0
    rows["measured_l"] = np.where(np.arange(60) < 40, 4000.0, 2000.0)
    rows["clearness"], rows["weather_var"], rows["light_gain"], rows["told_by"] = 0.5, 0.0, 1.0, -1
    return rows


def _steps():
    """(words, what to do): in the order in which the first pages come to need them."""
    from sizing import chain, climate, judge
    from sizing.causes import odds, signatures
    from sizing.judge import season

    pumps = {kind: _sheet(kind) for kind in ("helical", "centrifugal")}
    rows = [
        UNIT | {"pump_type": kind, "coupling": coupling} for kind in pumps for coupling in ("tracking", "direct")
    ]
    fleet = chain.fleet_from_rows(rows, pumps).fleet
    n = fleet.n
    sun, air = np.full((n, 3), 700.0), np.full((n, 3), 27.0)
    level = np.broadcast_to(np.array([20.0, 22.0, 24.0]), (n, 3))
    usual = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, altitude_m=fleet.altitude_m)
    days = np.arange(20.0, 25.0), np.full(5, 5.5), np.zeros(5, dtype=int)
    yield "operating points", lambda: (
        chain.spot(fleet, sun, air, level), chain.spot(fleet, 700.0, 27.0), chain.first_water(fleet, 700.0, 27.0),
    )  # fmt: skip
    yield "baselines", lambda: chain.baseline(fleet, usual)
    yield "days", lambda: (
        chain.day_table(fleet), chain.level_sensitivity(fleet),
        chain.day(fleet, np.full((n, 24), 500.0), 27.0),
        *(chain.expected_days(fleet, days[2], days[0], days[1], kind) for kind in ("in_plane", "horizontal")),
    )  # fmt: skip
    yield "the working", lambda: chain.working(fleet.take([0]), 100, 5.5)
    yield "weather and seasons", lambda: (
        judge.network(fleet.latitude_deg, fleet.longitude_deg, np.ones(n, bool)),
        judge.around(fleet.latitude_deg, fleet.longitude_deg),
        season.take_in(*season.start(np.zeros(n), np.full(n, 0.05)), [0], [0.1], [0.01], [1.0], [TODAY]),
    )
    yield "causes and their odds", lambda: odds.judge(
        _sixty_days(), signatures.of_units(fleet, [0, 2], 5)[0], TODAY, TODAY - 60, 0.0, 0.05
    )


def main():
    for words, do in _steps():
        do()
        print(words, flush=True)


if __name__ == "__main__":
    sys.exit(main())
