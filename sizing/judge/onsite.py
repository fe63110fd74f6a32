"""Tests on site as figures of the running evidence: measured flow over the flow that was due, and how far both go."""

from typing import NamedTuple

import numpy as np

from sizing import chain
from sizing.causes import onsite
from sizing.judge.record import OBSERVATION, blank

LEAST_SUN_W_M2 = 250.0  # below it a small change of sun is all or nothing
LEAST_FLOW_L_MIN = 0.5  # that must be due
TOO_OPEN = 0.3  # a flow known no better than this (log) says nothing
MODEL_SD = 0.03  # what the chain leaves open of a quarter of an hour
LEAST_SD = 0.077  # of any test: so that one alone proves no loss under about a fifth (a judgement)
SURE_OF_SUN = 0.06  # volts and amps are read against the sun only where that is known so well


class Tests(NamedTuple):
    """Arrays (t,): row in a fleet, day (since 1970-01-01, local), sun in the plane with its sigma (relative), air,
    static level with its sigma (m) and whether it was dipped, flow with its sigma (relative) and whether by bucket,
    flow that the meter showed beside the bucket; array volts and amps, pumping and resting level as read, NaN where
    not."""

    row: np.ndarray
    day: np.ndarray
    sun_w_m2: np.ndarray
    sun_sd: np.ndarray
    air_c: np.ndarray
    static_level_m: np.ndarray
    level_sd_m: np.ndarray
    dipped: np.ndarray
    flow_l_min: np.ndarray
    flow_sd: np.ndarray
    bucket: np.ndarray
    beside_l_min: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    pumping_level_m: np.ndarray
    rest_m: np.ndarray


class Due(NamedTuple):
    """Arrays (t,): the flow due by the chain alone, variance (log) of a measured flow over it (own level left aside),
    what a per cent of light is worth; counts: whether the test can say anything."""

    flow_l_min: np.ndarray
    variance: np.ndarray
    light_gain: np.ndarray
    counts: np.ndarray


def due(fleet, tests):
    """Due of each test, its sun and level tried a sigma to either side."""
    t, sun, step = len(tests.row), tests.sun_w_m2, tests.level_sd_m
    if not t:
        return Due(*np.zeros((3, 0)), np.zeros(0, bool))
    some = fleet.take(np.asarray(tests.row, int))
    deepest = np.maximum(some.setting_depth_m - 0.5, 0.1)[:, None]
    suns = sun[:, None] * np.stack([np.ones(t), 1 + tests.sun_sd, 1 - tests.sun_sd, np.ones(t), np.ones(t)], axis=1)
    level = tests.static_level_m[:, None] + step[:, None] * np.array([0.0, 0.0, 0.0, 1.0, -1.0])
    air = np.repeat(tests.air_c[:, None], 5, axis=1)
    flow = np.nan_to_num(chain.spot(some, np.clip(suns, 0, 2000), air, np.clip(level, 0.0, deepest)).flow_l_min)
    middle = np.maximum(flow[:, :1], 1e-6)
    logs = np.log(np.maximum(flow / middle, 0.05))
    by_sun, by_level = (logs[:, 1] - logs[:, 2]) / 2, (logs[:, 4] - logs[:, 3]) / 2
    variance = np.maximum(by_sun**2 + by_level**2 + tests.flow_sd**2 + MODEL_SD**2, LEAST_SD**2)
    counts = (sun >= LEAST_SUN_W_M2) & (flow[:, 0] >= LEAST_FLOW_L_MIN) & (variance < TOO_OPEN**2)
    counts &= np.isfinite(tests.flow_l_min)
    return Due(flow[:, 0], variance, np.clip(by_sun / tests.sun_sd, 0.3, 8.0), counts)


def as_observations(tests, due, level, usual_l, drawn_l):
    """Observations (OBSERVATION) of the tests that count, those of one unit, day and way of measuring taken together.

    level (t,): log of own output by the tests at commissioning; usual_l (t,): litres of a usual day by the chain;
    drawn_l (t,): litres a day that people draw, where a float switch limits, NaN where not. "unit" is the test's row;
    dips follow as observations of their own.
    """
    groups = {}
    for k in np.flatnonzero(due.counts).tolist():
        groups.setdefault((int(tests.row[k]), int(tests.day[k]), bool(tests.bucket[k])), []).append(k)
    rows, dips = blank(len(groups)), blank(len(groups))
    for place, members in enumerate(groups.values()):
        k, one = members[-1], rows[place]
        # Sun and level are in common, each flow is its own.
        variance = max(due.variance[k] - tests.flow_sd[k] ** 2 * (1 - 1 / len(members)), LEAST_SD**2 / 2)
        ratio = float(np.median(tests.flow_l_min[members] / due.flow_l_min[members]))
        usual = float(usual_l[k]) * onsite.SPAN_DAYS
        as_a_day = ratio * np.exp(-onsite.carried_mean(level[k]))  # tests of this unit show so much more than its days
        one["unit"], one["day"], one["since"] = tests.row[k], tests.day[k], onsite.SPAN_DAYS
        one["supply_l"], one["measured_l"], one["expected_l"] = usual, as_a_day * usual, usual * np.exp(level[k])
        one["clearness"], one["weather_var"], one["light_gain"] = 1.0, variance, due.light_gain[k]
        # The tank takes all of a quarter of an hour: a float switch has far more room than the unit could fill.
        one["demand_l"] = 50 * usual_l[k] if np.isfinite(drawn_l[k]) else np.nan
        one["high_l"] = drawn_l[k]
        one["told_by"] = (
            (onsite.BUCKET_DIPPED if tests.dipped[k] else onsite.BY_BUCKET) if tests.bucket[k]
            else (onsite.METER_DIPPED if tests.dipped[k] else onsite.BY_METER)
        )  # fmt: skip
        one["noon_w_m2"] = tests.sun_w_m2[k]
        if tests.bucket[k] and tests.flow_l_min[k] > 0:
            one["meant"] = tests.beside_l_min[k] / tests.flow_l_min[k]
        if tests.sun_sd[k] <= SURE_OF_SUN:
            one["noon_v"], one["noon_a"], one["noon_level_m"] = tests.volts[k], tests.amps[k], tests.pumping_level_m[k]
        dip = dips[place]
        dip["unit"], dip["day"], dip["since"], dip["told_by"] = one["unit"], one["day"], one["since"], onsite.DIP
        dip["noon_w_m2"] = one["noon_w_m2"]
        if not np.isfinite(one["noon_level_m"]):  # the pumping level has the resting one in it
            dip["noon_level_m"] = tests.rest_m[k]
    rows = np.concatenate([rows, dips[np.isfinite(dips["noon_level_m"])]]).astype(OBSERVATION)
    return rows[np.lexsort((rows["told_by"], rows["day"], rows["unit"]))]
