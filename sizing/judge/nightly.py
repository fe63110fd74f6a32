"""One night: readings of a day in, states and observations out.

Call `tell` for the whole fleet first (what each unit says of the sky), `weather.read` for the sky over each, then
`night` for the
units in batches of any size. All of it is arithmetic on arrays; the same night run twice gives the same answer.
"""

from dataclasses import dataclass, fields

import numpy as np

from sizing.causes.table import light_gain
from sizing.judge import doubts, mistakes, season, weather
from sizing.judge.doubts import COMMON, HOUR_UNKNOWN, LASTING
from sizing.judge.evidence import (
    CHAIN_NOISE,
    DEMAND_SPREAD,
    FROZEN,
    LEAST,
    LIGHT_NOISE,
    METER_NOISE,
    freedom,
    limited,
    weigh,
)
from sizing.judge.record import NODES, OBSERVATION, Totals, blank

CELL_SD = (
    # relative, an own cell's day, dirt and calibration left to the level (5 % by hand, 2-3 % fixed: from memory)
    0.02
)
BRIGHT_W_M2, VOLTS_PRESENT, NO_AMPS = 350.0, 12.0, 0.1  # noons at which it should run and stood (a judgement)
USUALLY_DRAWN = 0.6  # of the usual draw: what leaves the tank full enough to have stopped the pump
# A day on which the water stood at the pump or its probe and less came than was due is the well's matter first. What it
# adds to the variance of its figure: of the search and the causes, so that one such day proves nothing and a week of
# them does, and of the running evidence and the own level, which learn little from it (both judgements).
FALLS_SHORT, DRY_VAR, DRY_EVIDENCE_VAR = 0.9, 0.2, 0.3
_X, _W = np.polynomial.hermite_e.hermegauss(NODES)
_W = _W / _W.sum()


@dataclass(frozen=True)
class Sites:
    """What else judging must know of n installations; NaN rollover: never; dry_from_m: depth to water from which the
    pump or its dry-run probe draws air, NaN or None where that is not known; owner: a number each, None where all are
    one's: only among the installations of one owner may figures have been exchanged; at (n, 2): latitude and longitude,
    degrees, None where not known."""

    float_switch: np.ndarray
    rollover_l: np.ndarray
    has_cell: np.ndarray
    dry_from_m: np.ndarray = None
    owner: np.ndarray = None
    at: np.ndarray = None

    def __post_init__(self):
        if self.dry_from_m is None:
            object.__setattr__(self, "dry_from_m", np.full(len(self.float_switch), np.nan))
        if self.owner is None:
            object.__setattr__(self, "owner", np.zeros(len(self.float_switch), int))
        if self.at is None:
            object.__setattr__(self, "at", np.zeros((len(self.float_switch), 2)))

    def take(self, units):
        """Some of them."""
        return Sites(*(getattr(self, field.name)[units] for field in fields(self)))


def well_was_dry(sites, rows):
    """Which observations of days had the water at the pump or its probe, and less of it than was due (m,)."""
    with np.errstate(invalid="ignore"):
        short = rows["measured_l"] < FALLS_SHORT * rows["expected_l"]
        return short & (rows["noon_level_m"] >= sites.dry_from_m[rows["unit"]])


def stopped_by_full_tank(sites, days, demand):
    """Which units stood at a bright noon with voltage there, though what is usually drawn came that day (m,)."""
    with np.errstate(invalid="ignore"):
        stood = (days.noon_w_m2 > BRIGHT_W_M2) & (days.noon_v > VOLTS_PRESENT) & (days.noon_a <= NO_AMPS)
        return stood & sites.float_switch[days.unit] & (days.volume_l >= USUALLY_DRAWN * demand)


def day_of_year(day):
    """1-366 of a day counted from 1970-01-01."""
    date = np.datetime64(int(day), "D")
    return int((date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype(int)) + 1


def _cell_var(x):
    """Variance of clearness (on its scale) measured by an own cell."""
    return (CELL_SD * (1 + np.exp(np.minimum(x, 3.0)))) ** 2


def tell(state, sites, table, days, day):
    """What each unit's own records say of the day's sky: clearness (n,) and variance (n,), NaN where nothing."""
    n = state.level.size
    seen, variance = np.full(n, np.nan), np.full(n, np.nan)
    if days is None or not len(days.unit):
        return seen, variance
    doy, u = day_of_year(day), days.unit
    own = table.clearness_of_plane(u, doy, days.irradiation_kwh_m2)
    healthy = days.volume_l * np.exp(-(state.level + offset(state, day))[u])
    by_water, slope = table.clearness_of_water(u, doy, healthy)
    spread = (state.level_var[u] + METER_NOISE**2 + (CHAIN_NOISE + LIGHT_NOISE) ** 2) / np.maximum(slope, 0.05) ** 2
    demand = np.where(sites.float_switch[u], np.exp(state.demand[u]), np.inf)
    with np.errstate(invalid="ignore"):
        full = (days.tank_full > 0) & sites.float_switch[u]
        useless = full | (days.noon_level_m >= sites.dry_from_m[u])
    useless |= (days.volume_l > 0.6 * demand) | (state.suspect[u] > 0) | (days.volume_l <= 0) | (slope < 0.15)
    spread = np.where(useless | (state.evidence[u].max(axis=1) > 3), np.nan, spread)
    cell = np.isfinite(own)
    seen[u] = np.where(cell, own, by_water)
    variance[u] = np.where(cell, _cell_var(own), spread)
    seen[~np.isfinite(variance)] = np.nan
    return seen, variance


def offset(state, day):
    """Log of each unit's output over its usual that the time of the year and the season around let expect (n,)."""
    return state.season + season.wave(state.split, day, state.days)


def _learn_split(state, u, ratio, variance, free, day, span):
    """States that have taken figures into what is known of their year: ratio (m,) log of measured over expected."""
    part = state.take(u)
    calm = (part.suspect == 0) & (part.evidence[:, :4].max(axis=1) < FROZEN) & (free >= season.FREE) & (span > 0)
    known = part.level + offset(part, day)
    lasts = np.where(span <= 1, season.LASTS, 1.0)
    split, doubt = season.take_in(
        state.split, state.split_var, u, np.where(calm, ratio + free * known, np.nan),
        variance * part.noise * lasts, free, day + 0.5 - span / 2,
    )  # fmt: skip
    return state.with_(split=split, split_var=doubt)


def due_today(state, sites, table, sky, day, own=None):
    """What each unit should give today. Returns supply (chain alone), expected (own level, demand), variance (litres
    squared) of the expected by not knowing the sky, clearness used, water's gain by light; each (n,)."""
    n = state.level.size
    units, doy = np.arange(n), day_of_year(day)
    own = np.full(n, np.nan) if own is None else own
    cell = np.isfinite(own)
    mean = np.where(cell, own, sky.mean)
    sd = np.sqrt(np.where(cell, _cell_var(own), sky.variance * state.patchy))
    x = mean[:, None] + sd[:, None] * _X
    supply, slope = table.water(units, doy, x)
    supply = supply * np.exp(offset(state, day))[:, None]
    gain = light_gain(slope[:, NODES // 2], mean)
    demand = np.where(sites.float_switch, np.exp(state.demand), np.nan)
    expected = limited(supply * np.exp(state.level)[:, None], demand[:, None])
    middle = expected @ _W
    shown = middle * freedom(supply @ _W * np.exp(state.level), demand)
    variance = np.maximum((expected - middle[:, None]) ** 2 @ _W, 0) + (shown * table.broken(units, doy, mean)) ** 2
    return supply @ _W, middle, variance, mean, gain


def night(state, sites, table, sky, days, totals, day, patchy=None, lean=None, beside=None):
    """Judge a day's readings. Units are places 0..n-1 in state, sites, table and sky; days and totals may be None.

    patchy, lean: `weather.learn_patchiness` and `season.read` of the night for these units, if they are to be carried
    on; beside: `Beside`, places from n on. Returns the states after the day and the observations (OBSERVATION), one
    for every reading that came: first of the totals, of a unit in the order in which they stand, then of the days. A
    further total of the day that says nothing of the water is `since` 0 days.
    """
    n, doy = state.level.size, day_of_year(day)
    split, doubt = season.pass_a_day(state.split, state.split_var)
    state = state.with_(split=split, split_var=doubt, season=state.season if lean is None else lean)
    own = np.full(n, np.nan)
    if days is not None and len(days.unit):
        own[days.unit] = table.clearness_of_plane(days.unit, doy, days.irradiation_kwh_m2)
    supply, due, var, clear, gain = due_today(state, sites, table, sky, day, own)
    out = []
    for turn, some in enumerate(_one_each(totals)):
        state, rows = _totals(state, sites, table, some, day, supply, due, var, clear, gain, beside)
        if turn:
            rows["since"] = np.where(np.isfinite(rows["measured_l"]), rows["since"], 0.0)
        out.append(rows)
    if days is not None and len(days.unit):
        state, rows = _days(state, sites, days, day, sky, supply, due, var, clear, own, gain)
        out.append(rows)
    state = state.with_(
        due_l=state.due_l + due,
        supply_l=state.supply_l + supply,
        due_var=state.due_var + var,
        sky_sum=state.sky_sum + clear,
        days=state.days + 1,
        patchy=state.patchy if patchy is None else patchy,
        sky_bias=weather.learn_bias(state.sky_bias, sky, table.prior(doy) + state.sky_bias),
    )
    return state, np.concatenate(out) if out else np.zeros(0, OBSERVATION)


def _one_each(totals):
    """The first total of each unit on that day, then the second of those that have one, and so on."""
    if totals is None or not len(totals.unit):
        return
    order = np.argsort(totals.unit, kind="stable")
    unit = totals.unit[order]
    start = np.flatnonzero(np.append(True, unit[1:] != unit[:-1]))
    turn = np.empty(len(unit), int)
    turn[order] = np.arange(len(unit)) - np.repeat(start, np.diff(np.append(start, len(unit))))
    if turn.max() == 0:
        yield totals
        return
    for k in range(int(turn.max()) + 1):
        yield Totals(*(getattr(totals, field.name)[turn == k] for field in fields(totals)))


def _blank(unit, day):
    rows = blank(len(unit))
    rows["unit"], rows["day"] = unit, day
    return rows


def _days(state, sites, days, day, sky, supply, due, var, clear, own, gain):
    u = days.unit
    part = state.take(u)
    rows = _blank(u, day)
    expected = np.maximum(due[u], 1e-3)
    demand = np.where(sites.float_switch[u], np.exp(part.demand), np.nan)
    with_level = supply[u] * np.exp(part.level)
    free = freedom(with_level, demand)
    weather_var = np.log1p(var[u] / expected**2)
    chain_var = CHAIN_NOISE**2 + (LIGHT_NOISE * gain[u] * free) ** 2
    floor = METER_NOISE**2 + chain_var + (15.0 / expected) ** 2  # a logger counts in steps of some litres
    spread = weather_var + floor + (1 - free) * DEMAND_SPREAD**2
    kind, meant = mistakes.doubt_days(
        days.volume_l, expected, np.sqrt(spread + part.level_var), part.evidence.max(axis=1)
    )
    kind = np.where(days.sure, mistakes.NONE, kind)
    low_slip = (kind == mistakes.SLIP_OF_TEN) & (meant > days.volume_l)
    kind = np.where(low_slip & (part.doubts >= 2), mistakes.NONE, kind)  # three days running is no slip of the pen
    ratio = np.log(np.maximum(days.volume_l, LEAST * expected) / expected) + 0.5 * weather_var
    usable = (kind == mistakes.NONE) & np.isfinite(days.volume_l) & (expected > 20)
    rows["measured_l"], rows["expected_l"], rows["noon_level_m"] = days.volume_l, due[u], days.noon_level_m
    dry = well_was_dry(sites, rows)
    widened = spread + DRY_EVIDENCE_VAR * dry
    after, z = weigh(part, np.where(usable, ratio, np.nan), widened, with_level, demand, day)
    after = after.with_(doubts=np.where(low_slip, part.doubts + 1, 0.0))
    band = np.minimum(1.2816 * np.sqrt(spread * part.noise + free**2 * part.level_var), 3.0)
    rows["since"], rows["supply_l"] = 1, supply[u]
    rows["low_l"], rows["high_l"] = expected * np.exp(-band), expected * np.exp(band)
    rows["clearness"], rows["demand_l"], rows["surprise"] = clear[u], demand, z
    rows["weather_var"], rows["light_gain"] = weather_var + DRY_VAR * dry, gain[u]
    rows["told_by"] = np.where(np.isfinite(own[u]), -1, sky.told_by[u])
    # A tick of a whole day: full at some time of it, be it in the evening after all that the unit could give. It says
    # how likely each explanation of the day's water is (causes.tank), and nothing without a float switch. A unit that
    # stands at a bright noon after the usual draw ticks it itself, where nobody else does.
    full = np.isnan(days.tank_full) & stopped_by_full_tank(sites, days, demand)
    rows["mistake"], rows["meant"], rows["tick"] = kind, meant, np.where(full, 1.0, days.tank_full)
    rows["noon_w_m2"], rows["noon_v"] = days.noon_w_m2, days.noon_v
    rows["noon_a"] = days.noon_a
    rows["own_kwh_m2"], rows["sky"], rows["sky_var"] = days.irradiation_kwh_m2, sky.mean[u], sky.variance[u]
    after = _learn_split(state.put(u, after), u, np.where(usable, ratio, np.nan), widened, free, day, 1.0 + 0 * ratio)
    return after, rows


def _totals(state, sites, table, totals, day, supply, due, var, clear, gain, beside):
    u = totals.unit
    part = state.take(u)
    rows = _blank(u, day)
    hour_known = np.isfinite(totals.hour)
    share = table.share_by(u, day_of_year(day), np.where(hour_known, totals.hour, 12.0))
    now_due, now_supply = part.due_l + share * due[u], part.supply_l + share * supply[u]
    now_var, now_sky = part.due_var + share * var[u], part.sky_sum + share * clear[u]
    now_days = part.days + share
    first = ~np.isfinite(part.total)
    period_due = np.where(first, np.nan, now_due - part.due_at)
    span = np.where(first, np.nan, now_days - part.days_at)
    period_var = now_var - part.due_var_at
    expected = np.maximum(period_due, 1.0)
    lasting = np.clip(span, 1.0, LASTING)  # a day alone has nothing to last into
    weather_var = np.log1p(lasting * np.maximum(period_var, 0) / expected**2) + COMMON**2
    demand = np.where(sites.float_switch[u], np.exp(part.demand), np.nan)
    mean_supply = (now_supply - part.supply_at) / np.maximum(span, 0.1)
    with_level = mean_supply * np.exp(part.level)
    free = freedom(with_level, demand)
    pumping_day = due[u] * (HOUR_UNKNOWN + 0 * share)
    edge = np.where(
        hour_known, 0.12 * due[u], pumping_day
    )  # the part of a day before and after the hour is an estimate
    floor = METER_NOISE**2 + 2 * (edge / expected) ** 2
    spread = weather_var + floor + (1 - free) * DEMAND_SPREAD**2 / np.maximum(span, 1)

    def elsewhere(i):
        return doubts.elsewhere(state, sites, int(u[i]), share[i], due, var, day, beside)

    kind, meant, other, litres, based = doubts.of_totals(
        state, part, sites, totals, expected, spread, now_due, span, day, elsewhere
    )
    # a total that follows only from the doubted one: the meter was changed or set; begin again from there
    ratio = np.log(np.maximum(litres, LEAST * expected) / expected) + 0.5 * weather_var
    good = (kind == mistakes.NONE) & ~first & ~based
    usable = good & (span > 0.5)
    after, z = weigh(
        part, np.where(usable, ratio, np.nan), spread, with_level, demand, day, np.where(usable, span, 0.0)
    )
    band = np.minimum(1.2816 * np.sqrt(spread * part.noise + free**2 * part.level_var), 3.0)
    rows["since"], rows["measured_l"] = span, np.where(usable, litres, np.nan)
    rows["supply_l"], rows["expected_l"] = now_supply - part.supply_at, period_due
    rows["low_l"], rows["high_l"] = expected * np.exp(-band), expected * np.exp(band)
    rows["light_gain"] = np.minimum(gain[u], 2.0)
    rows["clearness"] = (now_sky - part.sky_at) / np.maximum(span, 0.1)
    rows["weather_var"], rows["demand_l"], rows["surprise"] = weather_var + floor - METER_NOISE**2, demand, z
    rows["mistake"], rows["meant"], rows["tick"], rows["hour"] = kind, meant, totals.tank_full, totals.hour
    rows["other"] = other
    anchor = (kind == mistakes.NONE) & ~((span <= 0.5) & ~first)  # read twice within hours: the first stands
    wrong = (kind != mistakes.NONE) & (kind != mistakes.DUPLICATE)

    def pick(new, old):
        return np.where(anchor, new, old)

    after = after.with_(
        total=pick(totals.total_l, part.total),
        total_day=pick(float(day), part.total_day),
        due_at=pick(now_due, part.due_at),
        supply_at=pick(now_supply, part.supply_at),
        due_var_at=pick(now_var, part.due_var_at),
        sky_at=pick(now_sky, part.sky_at),
        days_at=pick(now_days, part.days_at),
        lacked=np.where(anchor, np.where(usable, np.maximum(expected - litres, 0.0), 0.0), part.lacked),
        doubted=np.where(wrong, totals.total_l, np.where(anchor, np.nan, part.doubted)),
        doubted_due=np.where(wrong, now_due, part.doubted_due),
        doubted_day=np.where(wrong, float(day), part.doubted_day),
    )
    ratio = np.where(usable, ratio, np.nan)
    return _learn_split(state.put(u, after), u, ratio, spread, free, day, np.where(usable, span, 0.0)), rows
