"""Faults of a simulated fleet: which unit gets what and when, and what of it stands on a day."""

from typing import NamedTuple

import numpy as np

from sizing import sun
from sizing.chain.faults import Faults
from tests.makers import simulated_sky

HOURS = simulated_sky.QUARTERS
# kind: (weight, sudden share, sizes from, to)
KINDS = {
    "soiling": (7, 0.0, 0.08, 0.6),
    "shade_morning": (4, 0.4, 15, 55),
    "shade_afternoon": (4, 0.4, 15, 55),
    "frame_turned": (3, 1.0, 30, 150),
    "string_open": (5, 1.0, 1, 2),
    "splice_resistance": (7, 0.5, 0.1, 1.2),
    "pump_wear": (6, 0.0, 0.08, 0.6),
    "intake_blocked": (5, 0.4, 0.1, 0.9),
    "pipe_leak": (9, 0.4, 0.08, 0.6),
    "water_table_fall": (7, 0.0, 4, 18),
    "controller_cutout": (7, 0.4, 0.1, 0.75),
    "stopped": (8, 1.0, 1, 1),
    "meter_stopped": (7, 1.0, 1, 1),
    "meter_slow": (3, 0.3, 0.12, 0.6),
    "lower_demand": (8, 0.5, 0.25, 0.65),
}
SHARE = 0.45  # of units that get something


class Plan(NamedTuple):
    """What happens to one unit: kind, day, days it grows (0: at once), size when grown."""

    kind: str
    onset: int
    ramp: int
    size: float


def planned(rng, units, days):
    """A Plan or None for each unit."""
    out = []
    for u in range(units.n):
        if rng.random() > SHARE:
            out.append(None)
            continue
        names = [k for k in KINDS if (k != "string_open" or units.true.strings[u] > 1)
                 and (k != "lower_demand" or units.floats[u])]  # fmt: skip
        weight = np.array([KINDS[k][0] for k in names], float)
        kind = str(rng.choice(names, p=weight / weight.sum()))
        _, sudden, low, high = KINDS[kind]
        size = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        if kind == "string_open":
            size = float(rng.integers(1, int(units.true.strings[u])))
        if kind == "frame_turned":
            size *= rng.choice([-1, 1])
        first = units.begins[u] + (10 if units.begins[u] else 60)
        onset = int(rng.integers(first, max(days - 25, first + 1)))
        out.append(Plan(kind, onset, 0 if rng.random() < sudden else int(rng.integers(12, 110)), size))
    return out


def faults_of_day(rng, plan, units, day, sky):
    """(Faults for the chain, what goes beside them): sky's replaced parts, draw factor, off share by quarter, meter
    factor, dirt and cell factor."""
    n = units.n
    at = {k: np.zeros(n) for k in ("dirt", "strings", "ohm", "slip", "leak", "drop", "turn", "off")}
    inlet, draw, meter, stopped = np.ones(n), np.ones(n), np.ones(n), np.zeros(n, bool)
    shade = np.zeros((n, 2))
    array_ohm = units.true.v_mp_v * units.true.modules_in_series / (units.true.i_mp_a * units.true.strings)
    for u, p in enumerate(plan):
        if p is None or day < p.onset:
            continue
        grown = min((day - p.onset + 1) / p.ramp, 1.0) if p.ramp else 1.0
        size = p.size * grown
        match p.kind:
            case "soiling":
                at["dirt"][u] = size
            case "shade_morning":
                shade[u, 0] = size
            case "shade_afternoon":
                shade[u, 1] = size
            case "frame_turned":
                at["turn"][u] = size
            case "string_open":
                at["strings"][u] = size
            case "splice_resistance":
                at["ohm"][u] = size * array_ohm[u]
            case "pump_wear":
                at["slip"][u] = size
            case "intake_blocked":
                inlet[u] = _inlet(units, u, size)
            case "pipe_leak":
                at["leak"][u] = size
            case "water_table_fall":
                at["drop"][u] = size
            case "controller_cutout":
                at["off"][u] = size
            case "stopped":
                stopped[u] = True
            case "meter_stopped":
                meter[u] = 0.0
            case "meter_slow":
                meter[u] = 1 - size
            case "lower_demand":
                draw[u] = 1 - size
    faults = Faults(
        soiling_extra=at["dirt"], strings_open=at["strings"], series_resistance_ohm=at["ohm"],
        pump_slip_head=at["slip"], intake_block_factor=inlet, leak_fraction=at["leak"],
        static_level_drop_m=at["drop"], stopped=stopped,
    )  # fmt: skip
    off = np.where(at["off"][:, None] > 0, _outages(rng, at["off"]), 0.0)
    off = np.maximum(off, _halted(rng, units, day))
    extra = {"draw": draw, "meter": meter, "off": off, "dirt": at["dirt"], "cell": np.ones(n), "sky": {}}
    if shade.any() or at["turn"].any():
        extra["sky"] = {"caught": _light(units, sky, shade, at["turn"], day)}
    return faults, extra


def _halted(rng, units, day):
    """Quarters in which somebody had a sound unit switched off: spells of hours up to two days, now and then."""
    if day == 0:
        units.halted_until = np.full(units.n, -1.0)
    hour = day * 24 + HOURS[None, :]
    begins = rng.random(units.n) < 0.7 / 365
    start = day * 24 + rng.uniform(6, 16, units.n)
    until = np.where(begins, start + rng.exponential(11, units.n) + 2, units.halted_until)
    since = np.where(begins, start, -np.inf)
    units.halted_until = np.minimum(until, start + 44)
    return ((hour >= since[:, None]) & (hour < units.halted_until[:, None])).astype(float)


def _inlet(units, u, size):
    """The inlet's free share that costs about that share of the lift."""
    return float(np.clip((1 - size) ** 1.5, 0.03, 1.0))


def _outages(rng, share):
    """Quarters in which the box is off: runs of about an hour, more on some days than on others."""
    n = len(share)
    today = np.clip(share * np.exp(rng.normal(0, 0.35, n)), 0, 0.97)
    z, out = rng.normal(size=n), np.zeros((n, HOURS.size))
    edge = np.quantile(rng.normal(size=4000), 1 - today)
    for q in range(HOURS.size):
        z = 0.78 * z + 0.626 * rng.normal(size=n)
        out[:, q] = z > edge
    return out


def _light(units, sky, shade, turn, day):
    """What the cells get behind a shade up to a height (degrees; morning, afternoon) or on a turned frame."""
    doy = (35 + day) % 365 + 1
    decl, hour = sun.declination_deg(doy), 15.0 * (HOURS - 12)[None, :]
    cos_z = sun.cos_zenith(units.lat[:, None], decl, hour)
    height = np.degrees(np.arcsin(np.clip(cos_z, -1, 1)))
    top = np.where(HOURS[None, :] < 12, shade[:, :1], shade[:, 1:])
    hidden = np.clip((top - height) / 4 + 0.5, 0, 1) * (top > 0)
    direct = sky["direct"] * sky["caught"]
    was = sun.cos_incidence(units.lat[:, None], decl, hour, units.true_tilt[:, None], units.true_azimuth[:, None])
    now = sun.cos_incidence(
        units.lat[:, None], decl, hour, units.true_tilt[:, None], (units.true_azimuth + turn)[:, None] % 360
    )
    turned = np.where(turn[:, None] != 0, np.clip(now, 0, 1) / np.maximum(was, 0.08), 1.0)
    return np.minimum(sky["caught"] - direct + direct * np.minimum(turned, 3.0) * (1 - hidden), 1400)
