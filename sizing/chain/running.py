"""A day hour by hour, with what stops a sound unit: a full tank, a well at the pump's intake, too little sun."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .. import compiled
from ..checks import Refusal, known, within
from ..head import pipe_volume_l
from .faults import NONE
from .operating import CUT_OUT, WELL_LIMIT, spot
from .work import lead

# Share of a day's draw in each hour: people come in the morning and, more, towards evening (field notes from Burkina
# Faso; the figures themselves are common practice, no source)
DRAW_BY_HOUR = np.array([0, 0, 0, 0, 0, 3, 8, 10, 8, 5, 4, 4, 4, 4, 5, 8, 11, 12, 9, 4, 1, 0, 0, 0]) / 100
FILLINGS = 24  # steps in which the rising main is filled
RESTART_BELOW = 0.95  # of the tank's capacity: a float switch lets the pump on again (common practice, no source)


class Day(NamedTuple):
    """flow_l_min (n, h): what arrives, mean of each step; volume_l (n,): of the whole day, metered_l: by the meter.

    start_h, stop_h: first and last hour of the day with water (NaN where none comes); full_h, dry_h, cut_h: hours
    stopped by the float switch, held to what the well gives, cut out; morning_share: of the volume, before the
    middle of the steps; tank_l (n, h): water in the tank at the end of each step; short_l: draw that found no water;
    spilled_l: over the rim of a tank without float switch.
    """

    flow_l_min: np.ndarray
    volume_l: np.ndarray
    metered_l: np.ndarray
    start_h: np.ndarray
    stop_h: np.ndarray
    full_h: np.ndarray
    dry_h: np.ndarray
    cut_h: np.ndarray
    morning_share: np.ndarray
    tank_l: np.ndarray
    short_l: np.ndarray
    spilled_l: np.ndarray


@compiled()
def _tank(flow, step_min, draw, capacity, has_float, start, rounds, arrived, level, stopped, short, spilled):
    for i in range(flow.shape[0]):
        held = start[i]
        for _ in range(rounds):
            full = held >= capacity[i]
            short[i], spilled[i], stopped[i] = 0.0, 0.0, 0.0
            for h in range(flow.shape[1]):
                water = flow[i, h] * step_min
                if np.isnan(capacity[i]):
                    arrived[i, h], level[i, h] = water, np.nan
                    continue
                if has_float[i] and full and held - draw[i, h] < RESTART_BELOW * capacity[i]:
                    full = False
                if has_float[i]:
                    let_in = 0.0 if full else min(water, max(capacity[i] - held + draw[i, h], 0.0))
                    if water > 0.0:
                        stopped[i] += (1.0 - let_in / water) * step_min / 60.0
                    if let_in < water:
                        full = True
                else:
                    let_in = water
                held += let_in - draw[i, h]
                if held < 0.0:
                    short[i] -= held
                    held = 0.0
                if held > capacity[i]:
                    spilled[i] += held - capacity[i]
                    held = capacity[i]
                arrived[i, h], level[i, h] = let_in, held


def day(
    fleet, poa_w_m2, air_c, static_level_m=None, *, step_h=1.0, first_h=0.0, month=None, draw_by_hour=DRAW_BY_HOUR,
    tank_start_l=None, faults=NONE, cores=1,
):  # fmt: skip
    """A day hour by hour (Day).

    poa_w_m2, air_c: (n, h) or broadcastable, at the middles of h steps of step_h hours, the first beginning at first_h
    (solar time); static_level_m: number or (n,). month (0-11): whose need is drawn; left out: the year's mean. Units
    with a tank and a known need fill it and are drawn from by draw_by_hour (24 shares of a day); with a float switch
    they stop at the rim. tank_start_l: left out: as such days one after the other leave it.
    Of shades only the shares of light are applied here, not the heights.
    Refuses steps that do not divide an hour or join whole hours, shares that do not add up to one.
    """
    poa, air = lead(fleet.n, poa_w_m2=(poa_w_m2, 0, 2000), air_c=(air_c, -60, 70))
    if poa.ndim != 2:
        raise Refusal("poa_w_m2", poa.shape, because="installations by hours (n, h) are needed")
    n, h = poa.shape
    shares = known(draw_by_hour, "draw_by_hour")
    if shares.shape != (24,) or abs(shares.sum() - 1) > 1e-6 or (shares < 0).any():
        raise Refusal("draw_by_hour", shares.shape, because="24 shares that add up to one are needed")
    step = float(within(step_h, 1 / 60, 3, "step_h"))
    hours = first_h + step * (np.arange(h) + 0.5)
    left = np.stack([1 - faults.column(f"shade_{half}_fraction", n) for half in ("morning", "afternoon")], axis=1)
    poa = poa * np.where(hours < 12, left[:, :1], left[:, 1:])
    running = 1 - faults.column("off_share", n)
    at = spot(fleet, poa, air, _column(static_level_m, n), faults, cores)
    need = fleet.need_l_day.mean(axis=1) if month is None else fleet.need_l_day[:, int(within(month, 0, 11, "month"))]
    need = np.where(np.isfinite(faults.column("demand_l_day", n)), faults.column("demand_l_day", n), need)
    capacity = np.where(np.isfinite(need), fleet.tank_capacity_l, np.nan)
    draw = np.nan_to_num(need)[:, None] * step * shares[(hours % 24).astype(int)]
    start = 0.5 * np.nan_to_num(capacity) if tank_start_l is None else np.full(n, 1.0) * np.asarray(tank_start_l, float)
    flow = np.ascontiguousarray(at.flow_l_min * running[:, None])
    arrived, level = np.empty((n, h)), np.empty((n, h))
    stopped, short, spilled = np.zeros(n), np.zeros(n), np.zeros(n)
    _tank(
        flow, 60 * step, draw, capacity, fleet.float_switch, np.ascontiguousarray(start),
        8 if tank_start_l is None else 1, arrived, level, stopped, short, spilled,
    )  # fmt: skip
    volume = arrived.sum(axis=1)
    runs = arrived > 0
    meter = np.where(faults.column("meter_stopped", n) > 0, 0.0, faults.column("meter_factor", n))
    with np.errstate(invalid="ignore", divide="ignore"):
        morning = np.where(volume > 0, arrived[:, hours < 12].sum(axis=1) / volume, np.nan)
    first, last = runs.argmax(axis=1), h - 1 - runs[:, ::-1].argmax(axis=1)
    return Day(
        arrived / (60 * step), volume, volume * meter,
        np.where(runs.any(axis=1), hours[first] - step / 2, np.nan),
        np.where(runs.any(axis=1), hours[last] + step / 2, np.nan),
        stopped, (at.state == WELL_LIMIT).sum(axis=1) * step, (at.state == CUT_OUT).sum(axis=1) * step,
        morning, level, short, spilled,
    )  # fmt: skip


def _column(level, n):
    if level is None:
        return None
    level = np.asarray(level, float)
    return level[:, None] if level.ndim == 1 and level.size == n else level


def first_water(fleet, irradiance_w_m2, air_c, static_level_m=None, *, main_full=False, faults=NONE):
    """Minutes from switching on until water leaves the upper end, (n,), in a steady sun.

    An empty rising main holds no water above the static level; it fills along its length while the head grows with the
    water in it. A full main gives water at once: 0. Infinity where the pump cannot lift so high in this sun. Numbers or
    (n,) for sun, air and level. The drawdown is that of the settled well, a little more than in the first minutes.
    """
    n = fleet.n
    level = fleet.static_level_m.mean(axis=1) if static_level_m is None else static_level_m
    sun, air, level = lead(
        n, irradiance_w_m2=(irradiance_w_m2, 0, 2000), air_c=(air_c, -60, 70), static_level_m=(level, 0, 1000)
    )
    if main_full:
        return np.where(np.isnan(sun + air + level + fleet.latitude_deg), np.nan, 0.0)
    level = level + faults.column("static_level_drop_m", n)
    lift = level + fleet.tank_rise_m
    share = (np.arange(FILLINGS) + 0.5) / FILLINGS
    bare = fleet.with_(tank_rise_m=0.0, setting_depth_m=fleet.setting_depth_m + fleet.tank_rise_m)
    quiet = replace(faults, static_level_drop_m=0.0)
    flow = spot(bare, sun[:, None], air[:, None], np.maximum(lift, 0)[:, None] * share, quiet).flow_l_min
    dry = fleet.pipe_length_m * np.clip(lift / (fleet.setting_depth_m + fleet.tank_rise_m), 0, 1)
    litres = pipe_volume_l(dry, fleet.pipe_inside_mm)
    with np.errstate(divide="ignore"):
        return (litres[:, None] / FILLINGS / flow).sum(axis=1)
