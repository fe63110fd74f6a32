"""What each cause, at several sizes, does to a unit's readings: the chain run again with the fault put in.

Many units go in one call, and what was worked out is kept by what the answer rests on (the installation's own values,
rounded, and the month), so that installations built alike at like depth share it, and so do the nights of a month.
"""

from collections import OrderedDict
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from sizing import chain, sun
from sizing.causes import table, weigh
from sizing.causes.names import CAUSES, NAMES, NUMBER, RAMPS

# Of what keeps light from the array, the own cell sees a share: of dirt more or less, as it happens to be wiped; a
# turned frame turns it along where it is fixed to it, and not where it stands by itself (judgements, no source).
CELL_SEES = {"dirt": (0.35, 0.7), "frame_turned": (1.0, 0.0)}
LOST_LIGHT = (0.1, 0.17, 0.25, 0.35, 0.45, 0.6)
SHADE = (18.0, 26.0, 34.0, 43.0, 54.0, 68.0)  # degrees above the horizon: the top of what stands there
TURN = (-150.0, -100.0, -55.0, 55.0, 100.0, 150.0)
JOINT = (0.08, 0.15, 0.25, 0.4, 0.65, 1.0, 1.6)  # of the array's own resistance at its best point
SLIP = (0.08, 0.15, 0.25, 0.35, 0.5, 0.7)
INLET = (4.0, 9.0, 18.0, 35.0, 70.0, 140.0)  # metres of head lost at the flow of a good sun
LEAK = (0.08, 0.15, 0.23, 0.33, 0.47, 0.7)  # of the flow of a good sun
ANY_PACE = 0.5  # of what grows does so at any of the paces, whatever is usual for its cause (a judgement)
EVEN_LEAK = 0.5  # of a leak is the same at every flow, by the column over it; the rest goes with the flow (a judgement)
SINK = (2.5, 4.5, 7.0, 10.0, 14.0, 20.0)  # m
OFF = (0.12, 0.2, 0.3, 0.45, 0.7)  # share of the time
OFF_ABOVE = (500.0, 650.0, 800.0)  # W/m2 in the plane from which it stands: too hot, or too much voltage
SLOW = (0.12, 0.2, 0.3, 0.42, 0.58, 0.78)
DRAWN = (0.8, 0.65, 0.52, 0.4, 0.3)
GOOD_SUN = 800.0
KNOTS = np.array([0, 75, 125, 175, 225, 275, 325, 400, 475, 550, 650, 750, 850, 950, 1100, 1400.0])  # W/m2, solved
PHYSICAL = ("dirt", "string_open", "poor_joint", "pump_worn", "inlet_blocked", "water_sinks")  # asked of the chain
KEPT_AT_MOST = 4000
SHADES, HALF = ("shade_before_noon", "shade_after_noon"), 0.5


@dataclass(frozen=True)
class Signatures:
    """For one unit and month, h hypotheses: cause (h,), size (h,), cell_sees (h,) which of the cause's CELL_SEES, form
    (h,) what it changes (`weigh`), water (h, k) litres over healthy litres at each clearness, demand (h,) factor,
    scatter (h,) standard deviation a day that comes with it, cell (h, k) what the own cell reads of the truth; over
    in-plane irradiance (h, suns): noon current and voltage ratios, level rise, flow over healthy flow, and idle, the
    chance to stand at noon (NaN: as a sound unit)."""

    cause: np.ndarray
    size: np.ndarray
    cell_sees: np.ndarray
    form: np.ndarray
    water: np.ndarray
    demand: np.ndarray
    scatter: np.ndarray
    cell: np.ndarray
    current: np.ndarray
    voltage: np.ndarray
    level: np.ndarray
    flow: np.ndarray
    idle: np.ndarray
    tracking: bool

    @cached_property
    def log_water(self):
        """Log of water left (h, k), never below what counts as nothing."""
        return np.log(np.maximum(self.water, weigh.LEAST))

    @cached_property
    def log_cell(self):
        """Log of what the own cell reads of the truth (h, k)."""
        return np.log(self.cell)

    @cached_property
    def cell_of_dirt(self):
        """The same of dirt alone (h, 1), for the noon's own sun: a turned frame turns its cell along with it."""
        return np.where(self.cause == NUMBER["dirt"], self.log_cell[:, 0], 0.0)[:, None]

    @cached_property
    def rest(self):
        """Metres that the water at rest stands lower (h, suns), at whatever sun."""
        return np.repeat(np.where(self.cause == NUMBER["water_sinks"], self.size, 0.0)[:, None], table.SUNS.size, 1)

    @cached_property
    def smaller(self):
        """Place of the next smaller size of the same cause and sign (h,), -1: none."""
        out = np.full(len(self.cause), -1)
        for i in range(len(out)):
            alike = (self.cause == self.cause[i]) & (np.sign(self.size) == np.sign(self.size[i]))
            alike &= self.cell_sees == self.cell_sees[i]
            less = np.flatnonzero(alike & (np.abs(self.size) < np.abs(self.size[i])))
            if less.size and self.form[i] != weigh.DRAWN and self.size[i] > 0:
                out[i] = less[np.argmax(np.abs(self.size[less]))]
        return out

    @cached_property
    def without_cell(self):
        """These as they are asked where no own cell tells the light: each cause and size once."""
        once = self.cell_sees == 0
        kept = {f.name: getattr(self, f.name) for f in fields(self)}
        return Signatures(**{k: x[once] if isinstance(x, np.ndarray) else x for k, x in kept.items()})

    @cached_property
    def shares(self):
        """How a cause comes: share of each manner (h, ramps)."""
        return SHARES[self.cause]

    @cached_property
    def sizes_of_cause(self):
        """Among how many hypotheses each one's cause is spread (h,)."""
        return np.bincount(self.cause, minlength=len(NAMES))[self.cause]


def _share(cause, ramp):
    if ramp == 0:
        return cause.sudden
    usual = 1 / len(cause.ramp_days) if ramp in cause.ramp_days else 0.0
    if cause.name == "cuts_out":  # whose scatter makes each pace dear to ask
        return (1 - cause.sudden) * usual
    return (1 - cause.sudden) * (usual + (1 / (len(RAMPS) - 1) - usual) * ANY_PACE)


SHARES = np.array([[_share(cause, ramp) for ramp in RAMPS] for cause in CAUSES])


def hypotheses(strings, float_switch):
    """(cause, size, which of CELL_SEES) worth asking of a unit; cuts_out of a negative size stands above that sun."""
    sizes = {
        "dirt": LOST_LIGHT, "shade_before_noon": SHADE, "shade_after_noon": SHADE, "frame_turned": TURN,
        "poor_joint": JOINT, "pump_worn": SLIP, "inlet_blocked": INLET, "main_leaks": LEAK, "water_sinks": SINK,
        "cuts_out": (*OFF, *(-x for x in OFF_ABOVE)), "stands_still": (1.0,), "meter_stands": (1.0,),
        "meter_slow": SLOW,
    }  # fmt: skip
    if strings > 1:
        sizes["string_open"] = tuple(range(1, int(min(strings, 4))))
    if float_switch:
        sizes["less_drawn"] = DRAWN
    seen = {name: range(len(CELL_SEES.get(name, (0,)))) for name in sizes}
    return [(name, size, which) for name, list_ in sizes.items() for which in seen[name] for size in list_]


_kept = OrderedDict()


def of_units(fleet, units, month, air_c=table.AIR_C):
    """Signatures of some units in a month (0-11), a list in their order."""
    units = [int(u) for u in units]
    if not units:
        return []
    rough = _roughly(fleet, units, month)
    keys = _keys(rough, month, air_c)
    made = {}
    for place, key in enumerate(keys):
        if key not in _kept:
            made.setdefault(key, place)
    if made:
        answers = _worked_out(rough.take(list(made.values())), month, air_c)
        for key, one in zip(made, answers, strict=True):
            _kept[key] = one
    found = []
    for key in keys:
        _kept.move_to_end(key)
        found.append(_kept[key])
    while len(_kept) > max(KEPT_AT_MOST, len(units)):
        _kept.popitem(last=False)
    return found


def of_unit(fleet, unit, month, air_c=table.AIR_C):
    """Signatures of one unit in a month (0-11)."""
    return of_units(fleet, [unit], month, air_c)[0]


# How finely installations are told apart: half a metre of water, a degree of tilt, half a degree of latitude.
ROUGH = {"static_level_m": 0.5, "latitude_deg": 0.5, "tilt_deg": 1.0, "azimuth_deg": 2.0, "setting_depth_m": 0.5,
         "pipe_length_m": 2.0, "cable_length_m": 2.0, "tank_rise_m": 0.5, "flow_scale": 0.02, "age_y": 1.0,
         "drawdown_b_m_per_l_min": 0.001, "altitude_m": 200.0}  # fmt: skip
NO_MATTER = {"pumps", "longitude_deg", "need_l_day", "tank_capacity_l", "dry_run_probe"}


def _roughly(fleet, units, month):
    """These units as signatures know them, a fleet of their own.

    What is kept is worked out from the rounded values, never from those of whoever asked first: the same installation
    gets the same answer in every process, whatever was asked before.
    """
    some = fleet.take(units)
    level = some.static_level_m[:, month]
    near = {name: np.round(getattr(some, name) / step) * step for name, step in ROUGH.items()}
    near["static_level_m"] = np.round(level / ROUGH["static_level_m"]) * ROUGH["static_level_m"]
    room = (some.setting_depth_m - level) / ROUGH["setting_depth_m"]  # that the pump hangs below the water is kept
    near["setting_depth_m"] = near["static_level_m"] + np.round(room) * ROUGH["setting_depth_m"]
    near["static_level_m"] = near["static_level_m"][:, None]
    return some.with_(**near)


def _keys(some, month, air_c):
    columns = []
    for f in fields(some):
        values = getattr(some, f.name)
        if f.name in NO_MATTER or values is None or f.name == "pump_index":
            continue
        values = np.asarray(values, float)
        if f.name == "static_level_m":
            values = values[:, month]
        columns.append(values.reshape(some.n, -1))
    rows = np.concatenate(columns, axis=1)
    curves = [
        b"".join(np.ascontiguousarray(c).tobytes() for c in (p.power_c, p.voltage_c, p.current_c))
        + repr((p.flow_scale, p.head_scale, p.voltage_limit)).encode()
        for p in some.pumps
    ]
    return [(curves[int(p)], month, air_c, row.tobytes()) for p, row in zip(some.pump_index, rows, strict=True)]


class _Asked:
    """What is asked of one unit, and which of it the chain must answer."""

    def __init__(self, fleet, unit):
        asked = hypotheses(fleet.strings[unit], bool(fleet.float_switch[unit]))
        self.name = np.array([a[0] for a in asked])
        self.size = np.array([a[1] for a in asked], float)
        self.cell_sees = np.array([a[2] for a in asked])
        self.physical = np.flatnonzero(np.isin(self.name, PHYSICAL))

    def faults(self, one):
        """Sizes of the physical ones, the sound unit last: {field: values}, inlets in metres of head."""
        name, size = self.name[self.physical], self.size[self.physical]

        def of(cause, factor=1.0):
            return np.append(np.where(name == cause, size * factor, 0.0), 0.0)

        ohm = float((one.v_mp_v * one.modules_in_series / (one.i_mp_a * one.strings))[0])
        return {
            "soiling_extra": of("dirt"), "strings_open": of("string_open"),
            "series_resistance_ohm": of("poor_joint", ohm), "pump_slip_head": of("pump_worn"),
            "static_level_drop_m": of("water_sinks"), "metres": of("inlet_blocked"),
        }  # fmt: skip


def _worked_out(fleet, month, air_c):
    units = list(range(fleet.n))
    asked = [_Asked(fleet, u) for u in units]
    lengths = [len(a.physical) + 1 for a in asked]
    many = fleet.take(np.repeat(units, lengths))
    sound = chain.spot(
        fleet, GOOD_SUN, air_c, fleet.static_level_m[:, month]
    ).pump_flow_l_min  # fmt: skip
    parts = [a.faults(fleet.take([u])) for a, u in zip(asked, units, strict=True)]
    sizes = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    sizes["intake_block_factor"] = _narrowed(
        sizes.pop("metres"), np.repeat(np.nan_to_num(np.ravel(sound)), lengths),
        np.array([p.flow_scale for p in many.pumps])[many.pump_index],
    )  # fmt: skip
    shape = (many.n, KNOTS.size)
    level = many.static_level_m[:, month]
    spot = chain.spot(
        many, np.broadcast_to(KNOTS, shape), air_c, np.broadcast_to(level[:, None], shape), chain.Faults(**sizes)
    )
    ends = np.cumsum(lengths)
    caught, plane = table.days_of_each_clearness(fleet.take(np.repeat(units, len(TURN) + 1)).with_(
        azimuth_deg=((fleet.azimuth_deg[:, None] + np.array([*TURN, 0.0])) % 360).ravel()
    ), [month])  # fmt: skip
    caught, plane = (x[:, 0].reshape(len(units), len(TURN) + 1, *x.shape[2:]) for x in (caught, plane))
    hidden = table.light_without_beam(fleet, [month])[:, 0]
    under = _share_under(fleet.latitude_deg, table.MID_MONTH[month])
    return [
        _of_one(bool(fleet.coupling[u]), a, [x[end - m : end] for x in spot[:7]], c, p, d, s)
        for u, a, end, m, c, p, d, s in zip(units, asked, ends, lengths, caught, plane, hidden, under, strict=True)
    ]


def _share_under(latitude_deg, day_of_year):
    """Share of each solar hour with the sun under each height of SHADE (n, sizes, 24)."""
    hour = np.arange(0, 24, 0.125) + 0.0625
    height = sun.cos_zenith(latitude_deg[:, None], sun.declination_deg(day_of_year), 15 * (hour - 12))
    low = height[:, None, :] < np.sin(np.radians(SHADE))[:, None]
    return low.reshape(len(latitude_deg), len(SHADE), 24, -1).mean(axis=-1)


def _of_one(tracking, asked, spot, caught, plane, hidden, under):
    """Signatures from the chain's answers at KNOTS (rows of the physical hypotheses, the sound unit last), the light
    caught by the frame turned by TURN, and last as it should stand, that without the sun's beam (hidden), and the share
    of each hour with the sun under each height of SHADE."""
    name, size, physical = asked.name, asked.size, asked.physical
    h = len(name)

    def spread(values):
        return values @ BETWEEN

    flow_at, volts_at, amps_at, level_at = spread(_known(spot[0], 0.0)), spot[2], spot[3], spot[6]
    flow = np.repeat(flow_at[-1:], h + 1, axis=0)
    flow[physical] = flow_at[:-1]
    good = float(np.interp(GOOD_SUN, table.SUNS, flow[-1]))
    share = {c: np.where(name == c, size, 0.0)[:, None] for c in ("main_leaks", "meter_slow", "cuts_out")}
    above = (share["cuts_out"] < 0) & (table.SUNS[None, :] >= -share["cuts_out"])
    leaking = share["main_leaks"] * (EVEN_LEAK * good + (1 - EVEN_LEAK) * flow[-1])
    flow[:-1] = np.maximum(flow[:-1] - leaking, 0.0)
    flow[:-1][np.isin(name, ("stands_still", "meter_stands"))] = 0.0
    flow[:-1] *= 1 - share["meter_slow"] - np.maximum(share["cuts_out"], 0.0)
    flow[:-1][above] = 0.0
    lit = np.repeat(caught[-1:], h + 1, axis=0)
    before = np.arange(24) < 12
    for cause, hours in zip(SHADES, (before, ~before), strict=True):
        which = name == cause
        lit[:-1][which] = caught[-1] - (under * hours)[:, None, :] * (caught[-1] - hidden)
    cell = np.ones((h, table.X.size))
    turned = name == "frame_turned"
    lit[:-1][turned] = np.tile(caught[:-1], (len(CELL_SEES["frame_turned"]), 1, 1))
    along = turned & (asked.cell_sees == 0)
    cell[along] = np.clip(plane[:-1] / np.maximum(plane[-1], 1e-6), 0.3, 1.6)
    dirty = name == "dirt"
    cell[dirty] = 1 - (np.array(CELL_SEES["dirt"])[asked.cell_sees[dirty]] * size[dirty])[:, None]
    litres = table.day_water(flow, lit)
    sound = np.maximum(litres[-1], 1e-6)
    with np.errstate(invalid="ignore", divide="ignore"):
        water = np.clip(np.where(litres[-1] > 1e-3, litres[:-1] / sound, 1.0), 0.0, 1.5)
        kept = np.clip(np.where(flow[-1] > 1e-6, flow[:-1] / np.maximum(flow[-1], 1e-6), 1.0), 0.0, 1.5)
        amps, volts = _known(amps_at[:-1] / amps_at[-1], 1.0), _known(volts_at[:-1] / volts_at[-1], 1.0)
    current, voltage, rise = np.ones((h, table.SUNS.size)), np.ones((h, table.SUNS.size)), np.zeros(flow[:-1].shape)
    current[physical], voltage[physical] = spread(amps), spread(volts)
    drawn = spread(_known(level_at[-1:] - level_at[-1:, :1], 0.0))[0]
    rise[physical] = spread(_known(level_at[:-1] - level_at[-1], 0.0))
    apart = turned & ~along
    light = np.concatenate([_noon_in_shade(caught[-1], hidden, under)] * 2 + [_light_of_noon(caught)]) * table.SUNS
    apart = np.concatenate([np.flatnonzero(name == c) for c in SHADES] + [np.flatnonzero(apart)])
    was_a, was_v, was_m = (spread(_known(x[-1], 0.0)) for x in (amps_at, volts_at, level_at))
    with np.errstate(invalid="ignore", divide="ignore"):
        current[apart] = np.where(was_a > 1e-3, np.interp(light, table.SUNS, was_a) / was_a, 1.0)
        voltage[apart] = np.where(was_v > 1e-3, np.interp(light, table.SUNS, was_v) / was_v, 1.0)
    rise[apart] = np.where(was_m > 0, np.minimum(np.interp(light, table.SUNS, was_m) - was_m, 0.0), 0.0)
    leaks = name == "main_leaks"
    rise[leaks] = -drawn * np.minimum(size[leaks, None] * good / np.maximum(flow[-1], 1e-3), 1)
    idle = np.full(current.shape, np.nan)
    idle[name == "stands_still"] = STANDS
    dry = (name == "water_sinks")[:, None] & (kept < 0.01)
    idle[dry] = STANDS_DRY
    idle[name == "cuts_out"] = np.where(above, STANDS, np.maximum(share["cuts_out"], 0.01))[name == "cuts_out"]
    random = (name == "cuts_out") & (size > 0)
    form = np.where(np.isin(name, ("meter_stands", "meter_slow")), weigh.BOOKS, weigh.SUPPLY)
    return Signatures(
        cause=np.array([NUMBER[c] for c in name]), size=size, cell_sees=asked.cell_sees,
        form=np.where(name == "less_drawn", weigh.DRAWN, form), water=water,
        demand=np.where(name == "less_drawn", size, 1.0), scatter=np.where(random, 0.18 + 0.5 * size, 0.0), cell=cell,
        current=current, voltage=voltage, level=rise, flow=kept, idle=idle, tracking=tracking,
    )  # fmt: skip


def _noon_in_shade(caught, hidden, under):
    """Light of the quarter hour at noon behind a shade that hides the sun for half of it, before noon or after, over
    that without, by the latter's W/m2: (sizes, suns)."""
    whole, left = caught[:, 11:13].mean(axis=-1), hidden[:, 11:13].mean(axis=-1)
    taken = 1 - np.interp(table.SUNS, whole, left / np.maximum(whole, 1e-6))
    return 1 - HALF * under[:, 11:13].mean(axis=-1)[:, None] * taken


def _light_of_noon(caught):
    """Light at noon of a frame turned by each of TURN over that of one as it should stand, by the latter's W/m2:
    (turns, suns)."""
    noon = caught[:, :, 11:13].mean(axis=-1)
    lit = noon[-1] > 1.0
    if not lit.any():
        return np.ones((len(TURN), table.SUNS.size))
    share = noon[:-1, lit] / noon[-1, lit]
    return np.stack([np.interp(table.SUNS, noon[-1, lit], one) for one in share])


def _known(values, rest):
    return np.where(np.isfinite(values), values, rest)


def _straight_lines():
    """From values at KNOTS to those at table.SUNS: (knots, suns)."""
    return np.stack([np.interp(table.SUNS, KNOTS, one) for one in np.eye(KNOTS.size)])


BETWEEN = _straight_lines()
STANDS_DRY = 0.85  # the same where the water lies below the pump: most have a cut-off (common practice, no source)
STANDS = 0.97  # chance to find a unit that stands standing at a noon


def _narrowed(metres, flow, scale):
    """The inlet's free share that costs so many metres of head at the flow of a good sun."""
    factor = np.clip(1 / np.sqrt(1 + 10 * metres * scale**2 / np.maximum(flow, 0.5) ** 2), 0.0101, 1.0)
    return np.where(metres > 0, factor, 1.0)


def forget():
    """Lets go of what was kept."""
    _kept.clear()
