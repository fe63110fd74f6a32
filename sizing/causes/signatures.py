"""What each cause, at several sizes, does to a unit's readings: the chain run again with the fault put in."""

from dataclasses import dataclass

import numpy as np

from sizing import chain
from sizing.causes import table
from sizing.causes.names import NUMBER

CELL_SHARE = 0.5  # of the array's dirt that an own cell in the same frame shares (common practice, no source)
LOST_LIGHT = (0.12, 0.25, 0.4, 0.6)
SHADE = (0.25, 0.5, 0.8, 1.0)
TURN = (-50.0, -25.0, 25.0, 50.0)
JOINT = (0.1, 0.25, 0.5, 1.0)  # of the array's own resistance at its best point
SLIP = (0.1, 0.2, 0.35, 0.55)
INLET = (5.0, 15.0, 40.0, 100.0)  # metres of head lost at the flow of a good sun
LEAK = (0.1, 0.2, 0.35, 0.6)  # of the flow of a good sun
SINK = (3.0, 6.0, 10.0, 16.0)
OFF = (0.12, 0.25, 0.45, 0.7)
SLOW = (0.15, 0.35, 0.65)
DRAWN = (0.75, 0.55, 0.4)
GOOD_SUN = 800.0


@dataclass(frozen=True)
class Signatures:
    """For one unit and month, h hypotheses: cause (h,), size (h,), water (h, k) litres over healthy litres at each
    clearness, demand
    (h,) factor, scatter (h,) standard deviation a day that comes with it, cell (h,) what the own cell reads of the
    truth; noon current
    and voltage ratios and level rise over in-plane irradiance (h, suns)."""

    cause: np.ndarray
    size: np.ndarray
    water: np.ndarray
    demand: np.ndarray
    scatter: np.ndarray
    cell: np.ndarray
    current: np.ndarray
    voltage: np.ndarray
    level: np.ndarray
    tracking: bool


def hypotheses(strings, float_switch):
    """(cause, size) pairs worth asking of a unit."""
    sizes = {
        "dirt": LOST_LIGHT, "shade_before_noon": SHADE, "shade_after_noon": SHADE, "frame_turned": TURN,
        "poor_joint": JOINT, "pump_worn": SLIP, "inlet_blocked": INLET, "main_leaks": LEAK, "water_sinks": SINK,
        "cuts_out": OFF, "stands_still": (1.0,), "meter_stands": (1.0,), "meter_slow": SLOW,
    }  # fmt: skip
    if strings > 1:
        sizes["string_open"] = tuple(range(1, int(min(strings, 4))))
    if float_switch:
        sizes["less_drawn"] = DRAWN
    return [(name, size) for name, list_ in sizes.items() for size in list_]


def of_unit(fleet, unit, month, air_c=table.AIR_C):
    """Signatures of one unit in a month (0-11)."""
    asked = hypotheses(fleet.strings[unit], bool(fleet.float_switch[unit]))
    h = len(asked)
    name = np.array([a[0] for a in asked])
    size = np.array([a[1] for a in asked], float)
    one = fleet.take([unit])
    many = fleet.take(np.full(h + 1, unit))  # the last: sound
    level = np.full(h + 1, one.static_level_m[0, month])
    array_ohm = (one.v_mp_v * one.modules_in_series / (one.i_mp_a * one.strings))[0]

    def sizes(cause, factor=1.0, rest=0.0):
        return np.append(np.where(name == cause, size * factor, rest), rest)

    faults = chain.Faults(
        soiling_extra=sizes("dirt"),
        strings_open=sizes("string_open"),
        series_resistance_ohm=sizes("poor_joint", array_ohm),
        pump_slip_head=sizes("pump_worn"),
        static_level_drop_m=sizes("water_sinks"),
        intake_block_factor=_narrowed(sizes("inlet_blocked"), one, level[-1], air_c),
    )
    shape = (h + 1, table.SUNS.size)
    spot = chain.spot(many, np.broadcast_to(table.SUNS, shape), air_c, np.broadcast_to(level[:, None], shape), faults)
    flow = np.maximum(np.nan_to_num(spot.flow_l_min), 0.0)
    good = np.interp(GOOD_SUN, table.SUNS, flow[-1])
    flow = np.maximum(flow - good * sizes("main_leaks")[:, None], 0.0)
    flow[:-1] *= np.where(np.isin(name, ("stands_still", "meter_stands")), 0.0, 1.0)[:, None]
    flow[:-1] *= (1 - np.where(np.isin(name, ("meter_slow", "cuts_out")), size, 0.0))[:, None]
    caught, _ = table.days_of_each_clearness(one, [month])
    caught = np.broadcast_to(caught[0, 0], (h + 1, *caught.shape[2:])).copy()
    before = np.arange(24) < 12
    for cause, hours in (("shade_before_noon", before), ("shade_after_noon", ~before)):
        for i in np.flatnonzero(name == cause):
            caught[i] = _shaded(caught[-1], hours, size[i])
    for i in np.flatnonzero(name == "frame_turned"):
        turned = one.with_(azimuth_deg=(one.azimuth_deg + size[i]) % 360)
        caught[i] = table.days_of_each_clearness(turned, [month])[0][0, 0]
    litres = table.water_by_hour(flow, caught)[0].sum(axis=-1)
    sound = np.maximum(litres[-1], 1e-6)
    with np.errstate(invalid="ignore", divide="ignore"):
        water = np.clip(np.where(litres[-1] > 1e-3, litres[:-1] / sound, 1.0), 0.0, 1.5)
        current = np.nan_to_num(spot.array_current_a[:-1] / spot.array_current_a[-1], nan=1.0)
        voltage = np.nan_to_num(spot.array_voltage_v[:-1] / spot.array_voltage_v[-1], nan=1.0)
    stands = name == "stands_still"
    current[stands] = 0.0
    rise = np.nan_to_num(spot.pumping_level_m[:-1] - spot.pumping_level_m[-1])
    rise[stands] = -np.nan_to_num(spot.drawdown_m[-1])
    leaks = name == "main_leaks"
    rise[leaks] = -(
        np.nan_to_num(spot.drawdown_m[-1]) * np.minimum(size[leaks, None] * good / np.maximum(flow[-1], 1e-3), 1)
    )
    cell = np.where(name == "dirt", 1 - CELL_SHARE * size, 1.0)
    scatter = np.where(name == "cuts_out", 0.18 + 0.5 * size, 0.0)
    demand = np.where(name == "less_drawn", size, 1.0)
    cause = np.array([NUMBER[c] for c in name])
    return Signatures(cause, size, water, demand, scatter, cell, current, voltage, rise, bool(one.coupling[0]))


def _shaded(caught, hours, strength):
    """A shade that cuts the low sun first: the outer hours wholly, towards noon less."""
    bright = np.flatnonzero(hours & (caught.max(axis=0) > 0))
    out = caught.copy()
    if not bright.size:
        return out
    from_noon = np.abs(bright + 0.5 - 12)
    reach = from_noon.max() * strength * 0.8
    cut = np.clip((from_noon - (from_noon.max() - reach)) / 1.0, 0, 1)
    out[:, bright] = caught[:, bright] * (1 - 0.75 * cut)
    return out


def _narrowed(metres, one, level, air_c):
    """The inlet's free share that costs so many metres of head at the flow of a good sun."""
    sound = chain.spot(one, GOOD_SUN, air_c, level)
    flow = max(float(np.nan_to_num(sound.pump_flow_l_min).ravel()[0]), 0.5)
    scale = one.pumps[int(one.pump_index[0])].flow_scale
    factor = np.clip(1 / np.sqrt(1 + 10 * metres * scale**2 / flow**2), 0.0101, 1.0)
    return np.where(metres > 0, factor, 1.0)
