"""Units with one fault each, and sound ones, simulated in quarter hours: what the odds of causes are measured on.

Water comes from the project's chain, everything else is drawn otherwise than the judgement assumes: clouds that pass,
dirt that rain washes off, wells that sink and rise with the season, tanks that fill and are drawn from, frames, wells
and machines that differ from their record, caretakers who forget to tick. Built like the sample fleet's installations;
places, weather, wells and faults are new. What is true of a unit stands in `Truth`.
"""

from typing import NamedTuple

import numpy as np

from sizing import chain
from sizing.causes.names import CAUSES, NUMBER, RATES
from sizing.causes.shape import QUARTERS
from sizing.causes.table import SUNS
from sizing.judge.nightly import Sites
from sizing.judge.record import Days, Totals
from tests.makers.judged_fleet import JudgedFleet
from tests.makers.troubled_sky import HOUR, STEPS, clearness, in_plane, quarters
from tests.makers.troubled_sky import dirt as dirt_of

START = 19417  # 2023-03-01
GROWTH = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
DRAW = np.interp(HOUR, [6, 8, 10, 13, 15, 17, 18], [8, 10, 5, 4, 6, 12, 10])
DRAW = DRAW / DRAW.sum()
HERE = slice(int(np.argmin(np.abs(QUARTERS - HOUR[0]))), int(np.argmin(np.abs(QUARTERS - HOUR[0]))) + STEPS)


class Truth(NamedTuple):
    """cause (n,): number of the cause, -1 sound; onset (n,) day; size (n,); lost (n,): share of the metered water that
    the books lose in the 60 days after the onset."""

    cause: np.ndarray
    onset: np.ndarray
    size: np.ndarray
    lost: np.ndarray


def make(fleet, floats, n, days=330, seed=1, faulty=0.6, levels="ABC", only=None, quarters_kept=False):
    """A JudgedFleet of n units and its Truth. fleet: installations to build alike; floats (m,): which have a float
    switch. Levels of instruments in turn. only: names of the causes to have, each as often; quarters_kept: whether
    loggers keep their quarter hours."""
    rng = np.random.default_rng(seed)
    like = rng.integers(fleet.n, size=n)
    level = [levels[i % len(levels)] for i in range(n)]
    recorded = fleet.take(like)
    here = np.repeat(np.arange(n // 8 + 1), 8)[:n]
    region = here % 4
    recorded = recorded.with_(
        latitude_deg=np.array([11.0, 3.0, -15.0, 22.0])[region] + (here // 4 % 5) * 0.8 + rng.uniform(0, 0.07, n),
        longitude_deg=30.0 + region * 8 + (here // 20) * 0.9 + rng.uniform(0, 0.07, n),
    )
    recorded = recorded.with_(azimuth_deg=np.where(recorded.latitude_deg >= 0, 180.0, 0.0))
    cause, onset, size, ramp, sign = _troubles(rng, recorded, floats[like], days, faulty, only)
    built = _as_built(rng, recorded)
    sky = clearness(rng, region, here, days)
    out = _Readings(n, level, START)
    lost = np.zeros(n)
    for i in range(n):
        unit = _Unit(rng, built, i, sky[i], days, NUMBER_NAME.get(cause[i]), onset[i], size[i], ramp[i], sign[i])
        lost[i] = unit.report(rng, out, level[i], floats[like[i]])
    static = recorded.static_level_m
    tests = {i: _tests(rng, built.take([i]), static[i, 0]) for i in range(n)}
    sites = Sites(floats[like], np.full(n, np.nan), np.array([one == "C" for one in level]))
    made = JudgedFleet(
        [f"T{i:05d}" for i in range(n)], level, recorded, sites, tests, out.nights(), START, START + days - 1,
        np.zeros(n), np.full(n, START - 30), out.courses if quarters_kept else None,
    )  # fmt: skip
    return made, Truth(cause, START + onset, size, lost)


NUMBER_NAME = {i: name for name, i in NUMBER.items()}
SIZES = {  # of the fault at its worst; drawn evenly
    "dirt": (0.15, 0.65), "shade_before_noon": (25, 65), "shade_after_noon": (25, 65), "frame_turned": (40, 170),
    "string_open": (1, 1.9), "poor_joint": (0.15, 1.5), "pump_worn": (0.15, 0.9), "inlet_blocked": (4, 120),
    "main_leaks": (0.08, 0.7), "water_sinks": (3, 18), "cuts_out": (0.1, 0.7), "stands_still": (1, 1),
    "meter_stands": (1, 1), "meter_slow": (0.12, 0.7), "less_drawn": (0.3, 0.7),
}  # fmt: skip


def _troubles(rng, fleet, floats, days, faulty, only=None):
    n = fleet.n
    cause = np.full(n, -1)
    for i in np.flatnonzero(rng.random(n) < faulty):
        able = [c.name for c in CAUSES if (c.name != "string_open" or fleet.strings[i] > 1)
                and (c.name != "less_drawn" or floats[i])]  # fmt: skip
        if only:
            able = [name for name in able if name in only]
        rate = np.ones(len(able)) if only else RATES[[NUMBER[name] for name in able]]
        cause[i] = NUMBER[able[rng.choice(len(able), p=rate / rate.sum())]]
    onset = rng.integers(90, days - 70, n)
    size, ramp = np.ones(n), np.zeros(n)
    for i in np.flatnonzero(cause >= 0):
        low, high = SIZES[NUMBER_NAME[cause[i]]]
        size[i] = rng.uniform(low, high)
        kind = CAUSES[cause[i]]
        if rng.random() > kind.sudden:
            ramp[i] = rng.choice(kind.ramp_days) * np.exp(rng.normal(0, 0.3))
    size = np.where(cause == NUMBER["string_open"], np.floor(size), size)
    return cause, onset, size, ramp, np.where(rng.random(n) < 0.5, -1.0, 1.0)


def _as_built(rng, fleet):
    """What hangs there differs a little from its record."""
    n = fleet.n

    def about(sd):
        return np.exp(rng.normal(0, sd, n))

    return fleet.with_(
        tilt_deg=np.clip(fleet.tilt_deg + rng.normal(0, 2, n), 0, 60),
        azimuth_deg=(fleet.azimuth_deg + rng.normal(0, 5, n)) % 360,
        static_level_m=np.clip(fleet.static_level_m + rng.normal(0, 0.6, n)[:, None], 1, None),
        flow_scale=fleet.flow_scale * about(0.06) * 0.96,
        mismatch_fraction=np.clip(fleet.mismatch_fraction + rng.normal(0.02, 0.02, n), 0, 0.15),
        drawdown_b_m_per_l_min=fleet.drawdown_b_m_per_l_min * about(0.2),
        pipe_length_m=fleet.pipe_length_m * about(0.03),
    )


class _Unit:
    """One unit's days."""

    def __init__(self, rng, built, i, clear, days, fault, onset, size, ramp, sign):
        self.one, self.fault, self.size = built.take([i]), fault, size
        self.when = START + np.arange(days)
        date = self.when.astype("datetime64[D]")
        doy = (date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype(int) + 1
        self.month = date.astype("datetime64[M]").astype(int) % 12
        since = np.arange(days) - onset
        self.since = since
        self.grown = np.where(since >= 0, np.clip((since + 1) / max(ramp, 1e-9), 0, 1), 0.0) if fault else 0.0 * since
        one, lat = self.one, float(built.latitude_deg[i])
        quarter = quarters(rng, clear, doy, lat)
        tilt, azimuth = float(one.tilt_deg[0]), float(one.azimuth_deg[0])
        plane = in_plane(lat, tilt, azimuth, doy, quarter)
        dirt, rain = dirt_of(rng, clear)
        normal = dirt
        light = (1 - dirt)[:, None] * (plane.beam + plane.rest)
        sound = light
        if fault == "dirt":
            extra = size * self.grown * np.where(_since_rain(rain) < 4, rng.uniform(0.4, 0.9), 1.0)
            light = light * (1 - extra)[:, None]
            dirt = dirt + extra
        elif fault in ("shade_before_noon", "shade_after_noon"):
            half = (HOUR < 12) if fault == "shade_before_noon" else (HOUR > 12)
            hidden = (plane.height < size) & half[None, :] & (self.grown > 0)[:, None]
            kept = 1 - rng.uniform(0.6, 1.0) * np.where(self.grown > 0, 0.3 + 0.7 * self.grown, 0)[:, None]
            light = (1 - dirt)[:, None] * (np.where(hidden, kept, 1.0) * plane.beam + plane.rest)
        elif fault == "frame_turned":
            other = in_plane(lat, tilt, azimuth + sign * size, doy, quarter)
            there = (1 - dirt)[:, None] * (other.beam + other.rest)
            light = np.where((self.grown > 0)[:, None], there, light)
        self.sound_light, self.light, self.dirt, self.normal_dirt = sound, light, dirt, normal
        self.cell_light = light if fault in ("frame_turned",) else sound
        # wells rise and sink with the year, and wander
        season = rng.uniform(0.2, 1.2) * np.sin(2 * np.pi * (doy - rng.uniform(0, 365)) / 365)
        self.level = np.clip(one.static_level_m[0, 0] + season + np.cumsum(rng.normal(0, 0.03, days)), 0.5, None)
        self.air = 24 + 5 * np.sin(2 * np.pi * (doy - 60) / 365) + rng.normal(0, 2, days)
        self.days = days
        self.temper = rng.lognormal(0, 0.35, days) if fault == "poor_joint" else np.ones(days)

    def faults(self, grown):
        g, s = np.asarray(grown, float), self.size
        if self.fault == "string_open":
            return chain.Faults(strings_open=np.where(g > 0, s, 0))
        if self.fault == "poor_joint":
            one = self.one
            ohm = float((one.v_mp_v * one.modules_in_series / (one.i_mp_a * one.strings))[0])
            return chain.Faults(series_resistance_ohm=s * ohm * g)
        if self.fault == "pump_worn":
            return chain.Faults(pump_slip_head=0.8 * s * g, pump_flow_factor=1 - 0.15 * s * g)
        if self.fault == "inlet_blocked":
            q = max(float(np.nan_to_num(self._spot(800.0).pump_flow_l_min).ravel()[0]), 0.5)
            scale = self.one.pumps[int(self.one.pump_index[0])].flow_scale
            return chain.Faults(intake_block_factor=np.clip(1 / np.sqrt(1 + 10 * s * g * scale**2 / q**2), 0.011, 1))
        if self.fault == "main_leaks":
            q = float(np.nan_to_num(self._spot(800.0).pump_flow_l_min).ravel()[0])
            lift = float(self.one.static_level_m[0, 0] + self.one.tank_rise_m[0])
            return chain.Faults(leak_l_min_30m=np.minimum(s * g * q / np.sqrt(max(lift, 3) / 30 * 0.5), 990))
        if self.fault == "water_sinks":
            return chain.Faults(static_level_drop_m=s * g)
        return chain.NONE

    def _spot(self, sun):
        return chain.spot(self.one, sun, 27.0, float(self.one.static_level_m[0, 0]))

    def curves(self, level, air, grown):
        """Flow, volts, amps, level over SUNS: (rows, suns) for levels, airs and how far grown."""
        m = len(level)
        many = self.one.take(np.zeros(m, int))
        depth = float(self.one.setting_depth_m[0]) - 0.3
        shape = (m, SUNS.size)
        spot = chain.spot(
            many, np.broadcast_to(SUNS, shape), np.broadcast_to(air[:, None], shape),
            np.broadcast_to(np.minimum(level, depth)[:, None], shape), self.faults(grown),
        )  # fmt: skip
        return [np.nan_to_num(x) for x in (spot.flow_l_min, spot.array_voltage_v, spot.array_current_a,
                                           spot.pumping_level_m)]  # fmt: skip

    def report(self, rng, out, instruments, has_float):
        """Put what the books get into `out`; the share of water that they lose in sixty days."""
        sound = self._volumes(rng.spawn(1)[0], np.zeros(self.days), self.sound_light, has_float, False)
        seed = rng.spawn(1)[0]
        real = self._volumes(seed, self.grown * self.temper, self.light, has_float, True)
        volume, stopped, full, noon_full = real
        metered = volume.copy()
        if self.fault == "meter_stands":
            metered = np.where(self.grown > 0, 0, metered)
        if self.fault == "meter_slow":
            metered = metered * (1 - self.size * self.grown)
        window = (self.since >= 0) & (self.since < 60)
        lost = 1 - metered[window].sum() / max(sound[0][window].sum(), 1) if self.fault else 0.0
        metered = metered * np.exp(rng.normal(0, 0.01, self.days)) * np.exp(rng.normal(0, 0.015))
        i = out.count
        out.count += 1
        out.courses[i] = self._course(np.random.default_rng(i), metered / np.maximum(volume, 1), instruments)
        if instruments == "A":
            self._totals(rng, out, i, metered, full if has_float else None)
            return lost
        heard = rng.random(self.days) > 0.015
        mistaken = rng.random(self.days) < 0.004
        said = np.where(mistaken, metered * np.where(rng.random(self.days) < 0.5, 10, 0.1), metered)
        row = np.full((self.days, 6), np.nan)
        row[:, 0] = np.round(said)
        if instruments == "C":
            gain = np.exp(rng.normal(0, 0.025))
            caught = self.cell_light.sum(1) * 0.25 / 1000
            caught = caught * self.shared()
            row[:, 1] = caught * gain * np.exp(rng.normal(0, 0.01, self.days))
            row[:, 2:] = self._noon(rng, gain, stopped, noon_full)
        for d in np.flatnonzero(heard):
            out.daily.setdefault(int(self.when[d]), []).append((i, *row[d]))
        return lost

    def _volumes(self, rng, grown, light, has_float, faulty):
        """Litres by day, share of the day stopped by a fault, whether full at reading time, whether full at noon."""
        knots = np.unique(np.concatenate([np.arange(0, self.days, 20), [self.days - 1]]))
        base = np.stack([self.curves(self.level[knots], self.air[knots], np.full(len(knots), g))[0] for g in GROWTH]) \
            if faulty and self.fault in _PHYSICS else None  # fmt: skip
        plain = self.curves(self.level[knots], self.air[knots], np.zeros(len(knots)))[0]
        need = float(np.nan_to_num(self.one.need_l_day[0].mean(), nan=1e9))
        capacity = float(np.nan_to_num(self.one.tank_capacity_l[0], nan=2 * need))
        drawn = need * np.exp(rng.normal(0, 0.22, self.days))
        if faulty and self.fault == "less_drawn":
            drawn = drawn * (1 - (1 - self.size) * self.grown)
        held = 0.6 * capacity
        volume, stops = np.zeros(self.days), np.zeros(self.days)
        full, noon = np.zeros((self.days, STEPS), bool), np.zeros(self.days, bool)
        odd = rng.beta(2, 2, self.days)
        self.let = np.zeros((self.days, STEPS))
        cut_sun = rng.random() < 0.4  # some cut out in strong sun, some by chance
        for d in range(self.days):
            k = np.searchsorted(knots, d)
            a, b = max(k - 1, 0), k
            share = 0.0 if knots[b] == knots[a] else (d - knots[a]) / (knots[b] - knots[a])
            curve = (1 - share) * plain[a] + share * plain[b]
            if base is not None and grown[d] > 0:
                place = min(grown[d], 1.0) * (len(GROWTH) - 1)
                lo = min(int(place), len(GROWTH) - 2)
                t = place - lo
                curve = (1 - share) * ((1 - t) * base[lo, a] + t * base[lo + 1, a]) + share * (
                    (1 - t) * base[lo, b] + t * base[lo + 1, b]
                )
            flow = np.interp(light[d], SUNS, curve) * 15.0
            if faulty and self.fault == "stands_still" and grown[d] > 0:
                flow = flow * 0
                stops[d] = 1
            if faulty and self.fault == "cuts_out" and grown[d] > 0:
                off = np.clip(2 * odd[d] * self.size, 0, 1) * grown[d]
                if cut_sun:
                    flow = np.where(light[d] > np.quantile(light[d], 1 - off), 0, flow)
                else:
                    away = rng.random(8).repeat(6) < off
                    flow = np.where(away, 0, flow)
                stops[d] = float(flow[STEPS // 2] == 0 and curve.max() > 0)
            if has_float:
                for s in range(STEPS):
                    space = capacity - held + drawn[d] * DRAW[s]
                    if full[d, s - 1] and s and space < 0.05 * capacity:
                        space = 0.0
                    put = min(flow[s], max(space, 0))
                    full[d, s] = put < flow[s]
                    held = max(held + put - drawn[d] * DRAW[s], 0.0)
                    flow[s] = put
                noon[d] = full[d, STEPS // 2]
            volume[d], self.let[d] = flow.sum(), flow
        return volume, stops, full, noon

    def _course(self, rng, shown, instruments):
        """What a logger keeps by quarter hours: L/min by the meter, and W/m2 of the own cell where it has one."""
        ran, sun = np.full((2, self.days, QUARTERS.size), np.nan)
        ran[:, HERE] = self.let * shown[:, None] / 15 * np.exp(rng.normal(0, 0.02, self.let.shape))
        if instruments == "C":
            read = self.cell_light * self.shared()[:, None] * np.exp(rng.normal(0, 0.025))
            sun[:, HERE] = read * np.exp(rng.normal(0, 0.01, read.shape))
        return ran, sun

    def _noon(self, rng, gain, stopped, noon_full):
        """Sun, volts, amps, level in the quarter hour at noon."""
        flow, volts, amps, level = self.curves(self.level, self.air, np.minimum(self.grown * self.temper, 1))
        out = np.full((self.days, 4), np.nan)
        mid, shared = STEPS // 2, self.shared()
        for d in range(self.days):
            sun = self.light[d, mid]
            v, a, z, q = (np.interp(sun, SUNS, c[d]) for c in (volts, amps, level, flow))
            idle = stopped[d] > 0 or noon_full[d]
            if idle:
                one = self.one
                v, a, z = float(one.v_oc_v[0] * one.modules_in_series[0]) * 0.9, 0.0, self.level[d]
            elif q <= 0:
                z = self.level[d] + (self.size * self.grown[d] if self.fault == "water_sinks" else 0.0)
            out[d] = self.cell_light[d, mid] * shared[d] * gain, v, a, z
        return out * np.exp(rng.normal(0, [0.015, 0.01, 0.02, 0.001], (self.days, 4)))

    def shared(self):
        """What the own cell reads of the light that its own dirt, about half of the array's, leaves."""
        return (1 - 0.5 * self.dirt) / (1 - self.normal_dirt)

    def _totals(self, rng, out, i, metered, full):
        total, rhythm, d = rng.uniform(1e5, 9e5), rng.integers(7, 33), int(rng.integers(0, 10))
        through = np.concatenate([[0], np.cumsum(metered)])
        while d < self.days:
            hour = float(np.clip(rng.normal(12, 3), 6.5, 18))
            part = through[d] + metered[d] * np.clip((hour - 7.5) / 9, 0, 1)
            seen = full is not None and (full[max(d - 1, 0)].any() or full[d, : int(min((hour - 6) * 4, 47)) + 1].any())
            tick = np.nan if full is None or rng.random() < 0.25 else float(seen)  # today or yesterday
            said = np.nan if rng.random() < 0.2 else hour
            out.totals.setdefault(int(self.when[d]), []).append((i, said, np.round(total + part), tick))
            d += max(1, int(rhythm + rng.integers(-3, 4)))


_PHYSICS = {"string_open", "poor_joint", "pump_worn", "inlet_blocked", "main_leaks", "water_sinks"}


def _since_rain(rain):
    out, n = np.zeros(len(rain)), 99
    for d in range(len(rain)):
        n = 0 if rain[d] else n + 1
        out[d] = n
    return out


def _tests(rng, one, static):
    made = []
    for sun in rng.uniform(400, 950, 2):
        q = float(np.nan_to_num(chain.spot(one, sun, 29.0, float(one.static_level_m[0, 0])).flow_l_min).ravel()[0])
        if q > 0:
            made.append({"irradiance_w_m2": sun * np.exp(rng.normal(0, 0.04)), "ambient_c": 29.0,
                         "flow_l_min": q * np.exp(rng.normal(0, 0.025)),
                         "static_level_m": static + rng.normal(0, 0.3)})  # fmt: skip
    return made


class _Readings:
    def __init__(self, n, level, first):
        self.daily, self.totals, self.courses, self.count = {}, {}, {}, 0

    def nights(self):
        out = {}
        for day in sorted(set(self.daily) | set(self.totals)):
            d = np.array(sorted(self.daily.get(day, []))).reshape(-1, 7).T
            t = np.array(sorted(self.totals.get(day, []))).reshape(-1, 4).T
            out[day] = (Days(d[0].astype(int), *d[1:]), Totals(t[0].astype(int), *t[1:]))
        return out
