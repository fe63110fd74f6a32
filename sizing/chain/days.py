"""Days: litres that an installation should give, from the day's irradiation, for any number of (unit, day) rows.

For each unit and level the flow is worked out once (see `fast`), then the day's water over the day's irradiation for
thirteen kinds of day; a row is read off between them and between the two months around its date.
"""

from typing import NamedTuple

import numpy as np

from .. import compiled
from ..checks import Refusal, one_of, within
from ..sky.light import EAST, HOURS, LIT, OPEN, ROWS, day_geometry
from .asking import ROOM, SPAN, ask, steepness
from .daylight import (
    BRIGHT,
    CLOUDED,
    FUSED,
    HIDDEN,
    KINDS,
    NOON,
    OF_KIND,
    REAL,
    SUN_OUT,
    TABLE,
    WIDE,
    even_lights,
    hide_low_sun,
    lights,
    put_in_shade,
)  # fmt: skip
from .fast import EDGES, FIRST, HEATS, KNOTS, LEAST_SUN, NODES, flow_at, flows_at, year_rows
from .faults import NONE
from .machine import COUPLING, LIGHT
from .prepare import prepare
from .ranges import (
    ARRAY_SIGMA,
    DIPPED_LEVEL_SIGMA_M,
    DRAWDOWN_SIGMA,
    GEAR,
    IRRADIATION_SIGMA,
    METER_SIGMA,
    PUMPING_MIN,
    RECORD_LEVEL_SIGMA_M,
    UNREST_SHARE,
    about_the_sheet,
    geared,
    reach,
)
from .work import spread_over

STEP_W_M2 = 20.0
DEEPEST_M = 1000.0
LEVELS = 4  # static levels between the least and the greatest asked for, straight lines between them


class Curve(NamedTuple):
    """Flow over irradiance: flow_l_min (n, 12, k) at irradiance_w_m2 (k,), at each month's air and level."""

    irradiance_w_m2: np.ndarray
    flow_l_min: np.ndarray
    air_c: np.ndarray


class DayTable(NamedTuple):
    """Water over irradiation, by unit, month and kind of day (n, 12, kinds): litres, in-plane and level kWh/m2, and
    litres on a day of even light of the same irradiation, which shows how much the day's unrest matters."""

    volume_l: np.ndarray
    in_plane_kwh_m2: np.ndarray
    horizontal_kwh_m2: np.ndarray
    even_l: np.ndarray


class ExpectedDays(NamedTuple):
    """Litres expected of a sound unit that nothing stops, one a row; low_l and high_l hold 80 % of sound unit-days;
    beyond: the irradiation lay beyond a clear day's, so that the answer is stretched. climate_l, model_l, instrument_l:
    how far the range would reach on either side for that reason alone (`ranges`); their squares add to the whole's."""

    volume_l: np.ndarray
    low_l: np.ndarray
    high_l: np.ndarray
    beyond: np.ndarray
    climate_l: np.ndarray
    model_l: np.ndarray
    instrument_l: np.ndarray


@compiled()
def _curves(rows, pump, kind, cp, cv, ci, watts, air, level, first, last, flows):
    space, nodes, node_edges = np.empty((SPAN, ROOM)), np.empty((NODES, KNOTS), REAL), np.empty((NODES, EDGES))
    year, edges = np.empty((12, KNOTS), REAL), np.empty((12, EDGES))
    heats, heat_edges = np.empty((HEATS, KNOTS), REAL), np.empty((HEATS, 2))
    for i in range(first, last):
        m, p = rows[i], pump[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + air[i].sum() + level[i].sum()):
            flows[i] = np.nan
            continue
        year_rows(
            m, cp[p], cv[p], ci[p], watts[kind[i]], air[i], level[i], space, nodes, node_edges, heats, heat_edges, year,
            edges,
        )  # fmt: skip
        for month in range(12):
            for k in range(flows.shape[2]):
                flows[i, month, k] = flow_at(year[month], edges[month], k * STEP_W_M2)


def curve(fleet, *, air_c=None, static_level_m=None, faults=NONE, cores=1):
    """Each unit's flow over in-plane irradiance, by month (Curve).

    air_c (n, 12) or broadcastable: daylight air; left out: the default by place. static_level_m likewise; left out: the
    fleet's record. NaN rows give NaN.
    """
    prepared = prepare(fleet, air_c, static_level_m, faults)
    grid = np.arange(int(1400 / STEP_W_M2) + 1) * STEP_W_M2
    flows = np.empty((fleet.n, 12, grid.size))
    spread_over(cores, fleet.n, lambda a, b: _curves(*prepared.loops, a, b, flows))
    return Curve(grid, flows, prepared.air_c)


@compiled()
def open_day(geometry, frame, dates, month, glass, shade, which, opened, left, half):
    """`day_geometry` of the middle of a month with what hides the sun put in; arguments as `Prepared.sun` has them.
     Returns (first lit hour, sunset, irradiation above the air, whether afternoons are as mornings); where they are
    and `half` is enough, only the hours up to noon are there."""
    even = which < 0 and abs(frame[EAST]) < 1e-12 and shade[2] == 0.0 and shade[3] == 0.0
    alike = even and shade[0] == shade[1]
    first, sunset, above = day_geometry(
        frame, dates[0, month], dates[1, month], dates[2, month], glass, geometry, half and alike
    )
    if which >= 0:
        put_in_shade(geometry, first, opened[which, month], left[which])
    if shade[2] > 0.0 or shade[3] > 0.0:
        hide_low_sun(geometry, first, dates[2, month], shade[2], shade[3])
    return first, sunset, above, alike


@compiled()
def day_space(count):
    """Scratch space for days of so many clearnesses, as `days_water` takes it: suns (TABLE, 24 * blocks, WIDE), flows
    (2, 24 * blocks, WIDE), kinds (OF_KIND, blocks, WIDE), litres (24 * blocks, WIDE); suns and flows again, flat."""
    blocks = (count + WIDE - 1) // WIDE
    flat_suns, flat_flows = np.zeros((TABLE, HOURS * blocks * WIDE), REAL), np.zeros((2, HOURS * blocks * WIDE), REAL)
    return (
        flat_suns.reshape((TABLE, HOURS * blocks, WIDE)), flat_flows.reshape((2, HOURS * blocks, WIDE)),
        np.zeros((OF_KIND, blocks, WIDE), REAL), np.zeros((HOURS * blocks, WIDE), REAL), flat_suns, flat_flows,
    )  # fmt: skip


@compiled(fastmath=FUSED)
def days_water(row, edge, geometry, frame, first, end, sunset, clearness, shade, space):
    """One unit's days of several clearnesses (kinds,), none of them NaN, in one month: fills the litres of space
    with litres an hour from hour first to end, its suns with the lights. Returns how many blocks an hour takes."""
    suns, flows, kinds, litres, flat_suns, flat_flows = space
    blocks = lights(geometry, frame, first, end, sunset, clearness, shade, suns, kinds)
    count = (end - first) * blocks * WIDE
    flows_at(row, edge, flat_suns, SUN_OUT, count, flat_flows)
    flows_at(row, edge, flat_suns, CLOUDED, count, flat_flows)
    for h in range(first, end):
        whole = REAL(geometry[LIT, h] * 60.0)
        for block in range(blocks):
            at = (h - first) * blocks + block
            for j in range(WIDE):
                bright, dull = flows[SUN_OUT, at, j], flows[CLOUDED, at, j]
                litres[at, j] = whole * (dull + kinds[BRIGHT, block, j] * (bright - dull))
        opened = geometry[OPEN, h]
        if opened < 1.0:
            for k in range(clearness.size):
                at, j = (h - first) * blocks + k // WIDE, k % WIDE
                hidden = flow_at(row, edge, suns[HIDDEN, at, j]) * geometry[LIT, h] * 60.0
                litres[at, j] += (1.0 - opened) * (hidden - litres[at, j])
    return blocks


@compiled(fastmath=FUSED)
def minute_by_minute(row, edge, geometry, light, first, end):
    """What flows on a day whose light (24,) goes straight from the middle of one hour to that of the next, from zero at
    sunrise and to zero at sunset, in L/min h.

    Whole hours at their middles' flow would jump by as much as an hour of it where the frame turns a little and the
    light of some hour passes the threshold: most with pumps straight on the array, whose flow stands steep above it.
    Each piece is taken by Simpson's rule, from the minute on at which the light passes the threshold. Straight lines
    cut the tops off: all light is raised by what they lose of the day's sum.
    """
    summed, straight, before, half_before = 0.0, 0.0, 0.0, 0.0
    for h in range(first, end):
        half = 0.5 * geometry[LIT, h]
        summed += 2.0 * half * light[h]
        straight += 0.5 * (half + half_before) * (before + light[h])
        before, half_before = light[h], half
    straight += half_before * before * (1.0 if end < HOURS - first else 0.5)
    if not straight > 0.0:
        return 0.0
    raised = summed / straight
    threshold, whole = max(edge[FIRST], edge[LEAST_SUN]), 0.0
    begun = flow_at(row, edge, threshold + 1e-3)
    before, flow_before, half_before = 0.0, 0.0, 0.0
    for h in range(first, end + 1):
        inside = h < end
        if not inside and end < HOURS - first:  # the morning alone is counted: noon is as bright as its neighbours
            return whole + half_before * flow_before
        here, half = (raised * light[h], 0.5 * geometry[LIT, h]) if inside else (0.0, 0.0)
        flow = flow_at(row, edge, here) if here > threshold else 0.0
        low, high = min(before, here), max(before, here)
        if high > threshold:
            bottom = max(low, threshold)
            share = (high - bottom) / (high - low) if high > low else 1.0
            ends = flow_before + flow if low > threshold else begun + max(flow_before, flow)
            middle = flow_at(row, edge, 0.5 * (bottom + high))
            whole += share * (half + half_before) * (ends + 4.0 * middle) * (1.0 / 6.0)
        before, flow_before, half_before = here, flow, half
    return whole


@compiled()
def _days(
    rows, pump, kind, cp, cv, ci, watts, air, level, dates, glass, frame, shade, which, opened, left, first, last, out
):  # fmt: skip
    space, nodes, node_edges = np.empty((SPAN, ROOM)), np.empty((NODES, KNOTS), REAL), np.empty((NODES, EDGES))
    year, edges = np.empty((12, KNOTS), REAL), np.empty((12, EDGES))
    heats, heat_edges = np.empty((HEATS, KNOTS), REAL), np.empty((HEATS, 2))
    geometry, of_days, of_kind = np.empty((ROWS, HOURS)), day_space(KINDS.size), KINDS.copy()
    even_suns, even_flows, light = np.zeros((1, HOURS), REAL), np.zeros((1, HOURS), REAL), np.zeros(HOURS, REAL)
    suns, _, kinds, litres, _, _ = of_days
    whole = np.ones(HOURS)
    for i in range(first, last):
        m, p = rows[i], pump[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + frame[i].sum() + air[i].sum() + level[i].sum()):
            out[:, i] = np.nan
            continue
        year_rows(
            m, cp[p], cv[p], ci[p], watts[kind[i]], air[i], level[i], space, nodes, node_edges, heats, heat_edges, year,
            edges,
        )  # fmt: skip
        place, hidden = frame[i], shade[i]
        for month in range(12):
            dawn, sunset, above, alike = open_day(
                geometry, place, dates, month, glass, hidden, which[i], opened, left, True
            )
            end = NOON if alike else HOURS - dawn
            blocks = days_water(
                year[month],
                edges[month],
                geometry,
                place,
                dawn,
                end,
                sunset,
                of_kind,
                hidden,
                of_days,
            )
            skyline = opened[which[i], month] if which[i] >= 0 else whole
            smooth = which[i] < 0 and hidden[2] <= 0.0 and hidden[3] <= 0.0
            for j in range(KINDS.size):
                water = 0.0
                for h in range(end - dawn):
                    water += litres[h * blocks + j // WIDE, j % WIDE]
                if smooth:  # hills, trees and windows of shade cut the light off where they will
                    water, bright = 0.0, kinds[BRIGHT, j // WIDE, j % WIDE]
                    for of in (SUN_OUT, CLOUDED):
                        share = bright if of == SUN_OUT else REAL(1.0) - bright
                        for h in range(dawn, end):
                            light[h] = suns[of, (h - dawn) * blocks + j // WIDE, j % WIDE]
                        water += 60.0 * share * minute_by_minute(year[month], edges[month], geometry, light, dawn, end)
                out[0, i, month, j] = 2.0 * water if alike else water
                plane = even_lights(geometry, place, dawn, end, sunset, KINDS[j], hidden, skyline, even_suns[0])
                flows_at(year[month], edges[month], even_suns, 0, HOURS, even_flows)
                steady = 0.0
                for h in range(dawn, end):
                    steady += even_flows[0, h] * geometry[LIT, h] * 60.0
                if smooth:
                    steady = 60.0 * minute_by_minute(year[month], edges[month], geometry, even_suns[0], dawn, end)
                halves = 2.0 if alike else 1.0
                out[1, i, month, j] = halves * plane / 1000.0
                out[2, i, month, j] = KINDS[j] * above
                out[3, i, month, j] = halves * steady


def day_table(fleet, *, air_c=None, static_level_m=None, faults=NONE, cores=1):
    """Water by unit, month and kind of day (DayTable); air_c and static_level_m as in `curve`."""
    return _table(prepare(fleet, air_c, static_level_m, faults), cores)


def _table(prepared, cores, rows=None):
    """The DayTable of what `prepare` gave; rows: other rows of its machines."""
    loops = prepared.loops if rows is None else (rows, *prepared.loops[1:])
    n = loops[0].shape[0]
    out = np.empty((4, n, 12, KINDS.size))
    spread_over(cores, n, lambda a, b: _days(*loops, *prepared.sun, a, b, out))
    return DayTable(*out)


@compiled()
def _sensitivity(rows, pump, kind, cp, cv, ci, watts, air, level, first, last, out):
    space = np.empty((SPAN, ROOM))
    for i in range(first, last):
        m, p = rows[i], pump[i]
        if np.isnan(m[COUPLING] + m[LIGHT] + air[i].sum() + level[i].sum()):
            out[i] = np.nan
            continue
        mean = level[i].mean()
        table = watts[kind[i]]
        most = ask(m, cp[p], cv[p], ci[p], table, mean, air[i].min(), space)
        out[i] = steepness(m, cp[p], cv[p], ci[p], table, mean, most, space) if most > 0.0 else 0.0


def level_sensitivity(fleet, *, faults=NONE, cores=1):
    """Share of the water that one metre deeper costs at the mean level, (n,); on a day of the middling sort."""
    prepared = prepare(fleet, faults=faults)
    out = np.empty(fleet.n)
    spread_over(cores, fleet.n, lambda a, b: _sensitivity(*prepared.loops, a, b, out))
    return out


@compiled()
def _one(irradiation, volume, even, wanted, out):
    """Fills out with litres, litres a kWh/m2 and the day's unrest in litres, between the kinds of day of one unit and
    month; beyond the clearest day in proportion. Returns whether it lay beyond."""
    last = irradiation.size - 1
    if wanted >= irradiation[last] or wanted <= irradiation[0]:
        k = last if wanted >= irradiation[last] else 0
        out[0] = volume[k] * wanted / irradiation[k]
        out[1] = volume[k] / irradiation[k]
        out[2] = abs(volume[k] - even[k])
        return wanted > 1.05 * irradiation[last]
    k = np.searchsorted(irradiation, wanted) - 1
    out[1] = (volume[k + 1] - volume[k]) / (irradiation[k + 1] - irradiation[k])
    share = (wanted - irradiation[k]) / (irradiation[k + 1] - irradiation[k])
    out[0] = volume[k] + share * (volume[k + 1] - volume[k])
    unrest, next_unrest = abs(volume[k] - even[k]), abs(volume[k + 1] - even[k + 1])
    out[2] = unrest + share * (next_unrest - unrest)
    return False


@compiled()
def _rows(irradiation, volume, even, unit, day, wanted, first, last, out, beyond):
    a_out, b_out = np.empty(3), np.empty(3)
    for r in range(first, last):
        u = unit[r]
        x = (day[r] - 15.5) / 30.4375
        m = int(np.floor(x))
        share = x - m
        a, b = m % 12, (m + 1) % 12
        if np.isnan(wanted[r]) or np.isnan(volume[u, a, 0]):
            out[:, r] = np.nan
            continue
        far = _one(irradiation[u, a], volume[u, a], even[u, a], wanted[r], a_out)
        beyond[r] = _one(irradiation[u, b], volume[u, b], even[u, b], wanted[r], b_out) or far
        for k in range(3):
            out[k, r] = (1.0 - share) * a_out[k] + share * b_out[k]


def expected_days(
    fleet, unit_index, day_of_year, irradiation_kwh_m2, kind="in_plane", *, static_level_m=None, air_c=None,
    faults=NONE, irradiation_sigma=None, level_sigma_m=None, unit_sigma=None, cores=1,
):  # fmt: skip
    """Litres that sound units should give on the days they had (ExpectedDays), one a row of (unit, day).

    unit_index, day_of_year, irradiation_kwh_m2 and static_level_m (optional, m that day) are arrays of one length.
    kind: 'in_plane' (a cell in the frame's plane, behind glass as the modules) or 'horizontal'. air_c: daylight air by
    month, (n, 12) or broadcastable. Nothing stops these units: a full tank or a dry well is not in the figure.
    irradiation_sigma: one sigma of the irradiation, relative, a number or one a row; left out: 3 % in the plane, 4 %
    level. level_sigma_m: of the static level; left out: 1.5 m where it comes from the record, 0.3 m where given.
    unit_sigma: share of the flow, of the unit about its record, once its own tests tell; left out: `ranges`, by kind.
    NaN irradiation gives NaN. Refuses a unit number the fleet does not have, a day outside 1-366, irradiation
    below 0 or above 15 kWh/m2.
    """
    kind = one_of(kind, ("in_plane", "horizontal"), "kind")
    unit = np.atleast_1d(np.asarray(unit_index, dtype=np.int64))
    if unit.size and not (unit.min() >= 0 and unit.max() < fleet.n):
        raise Refusal("unit_index", int(unit.max()), (0, fleet.n - 1))
    day = np.broadcast_to(within(np.atleast_1d(day_of_year), 1, 366, "day_of_year"), unit.shape)
    wanted = np.broadcast_to(within(np.atleast_1d(irradiation_kwh_m2), 0, 15, "irradiation_kwh_m2"), unit.shape)
    day, wanted = np.ascontiguousarray(day), np.ascontiguousarray(wanted)

    def read(table):
        over = table.in_plane_kwh_m2 if kind == "in_plane" else table.horizontal_kwh_m2
        out, beyond = np.empty((3, unit.size)), np.zeros(unit.size, bool)
        args = over, table.volume_l, table.even_l, unit, day, wanted
        spread_over(cores, unit.size, lambda a, b: _rows(*args, a, b, out, beyond))
        return out, beyond

    def answer(level):
        return read(_table(prepare(fleet, air_c, level, faults), cores))

    if static_level_m is None:
        out, beyond = answer(None)
        deeper, _ = answer(np.minimum(fleet.static_level_m + RECORD_LEVEL_SIGMA_M, DEEPEST_M))
        per_metre = (out[0] - deeper[0]) / RECORD_LEVEL_SIGMA_M
        stands = fleet.static_level_m.mean(axis=1)[unit]
    else:
        level = np.broadcast_to(within(np.atleast_1d(static_level_m), 0, 1000, "static_level_m"), unit.shape)
        low, high = _level_range(fleet, unit, level)
        answers = [answer((low + (high - low) * t)[:, None]) for t in np.linspace(0, 1, LEVELS)]
        place = (level - low[unit]) / (high - low)[unit] * (LEVELS - 1)
        knot = np.clip(np.nan_to_num(place).astype(int), 0, LEVELS - 2)
        stack, rows = np.stack([a[0] for a in answers]), np.arange(unit.size)
        step = stack[knot + 1, :, rows] - stack[knot, :, rows]
        out = (stack[knot, :, rows] + (place - knot)[:, None] * step).T
        per_metre = -step[:, 0] * (LEVELS - 1) / (high - low)[unit]
        beyond = answers[0][1]
        stands = level
    volume, slope, unrest = out
    per_metre = np.maximum(per_metre, 0.0)  # on that kind of day: near its threshold a pump loses more than in full sun
    by_light = slope * wanted
    if level_sigma_m is None:
        level_sigma_m = RECORD_LEVEL_SIGMA_M if static_level_m is None else DIPPED_LEVEL_SIGMA_M
    by_level = np.asarray(level_sigma_m, float) * per_metre
    flow = volume / PUMPING_MIN
    drawdown = flow * (fleet.drawdown_b_m_per_l_min[unit] + fleet.drawdown_c[unit] * flow)
    if unit_sigma is not None:
        own = (np.asarray(unit_sigma, float) * volume,)
    else:
        about = about_the_sheet(fleet)
        own = [about.flow[unit] * volume, about.power[unit] * by_light]
        own.append(about.head[unit] * (stands + fleet.tank_rise_m[unit]) * per_metre)
        if (about.motor > 0).any():
            usual = prepare(fleet, air_c, None, faults)
            plain, turned = (read(_table(usual, cores, rows))[0][0] for rows in (None, geared(usual.loops[0])))
            with np.errstate(invalid="ignore", divide="ignore"):
                share = np.where(plain > 0, turned / plain - 1, 0.0) / (GEAR - 1)
            own.append(about.motor[unit] * np.abs(share) * volume)
    sigma_h = IRRADIATION_SIGMA[kind] if irradiation_sigma is None else np.asarray(irradiation_sigma, float)
    of_record = static_level_m is None
    climate = reach(UNREST_SHARE * unrest)
    model = reach(*own, ARRAY_SIGMA * by_light, DRAWDOWN_SIGMA * drawdown * per_metre, by_level if of_record else 0.0)
    instrument = reach(METER_SIGMA * volume, sigma_h * by_light, 0.0 if of_record else by_level)
    whole = np.sqrt(climate**2 + model**2 + instrument**2)
    return ExpectedDays(volume, np.maximum(volume - whole, 0), volume + whole, beyond, climate, model, instrument)


def _level_range(fleet, unit, level):
    """Least and greatest level that each unit is asked for (n,), at least half a metre apart."""
    low, high = np.full(fleet.n, np.inf), np.full(fleet.n, -np.inf)
    known = np.isfinite(level)
    np.minimum.at(low, unit[known], level[known])
    np.maximum.at(high, unit[known], level[known])
    record = fleet.static_level_m.mean(axis=1)
    low, high = np.where(np.isfinite(low), low, record), np.where(np.isfinite(high), high, record)
    return low, np.maximum(high, low + 0.5)
