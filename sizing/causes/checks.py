"""Which check on site would tell most: how much each is expected to narrow down the causes.

A check has outcomes; how likely each outcome is under a cause follows from the cause's signature in a good sun and from
what the instruments can tell apart, or, where no number is read, from how often a look finds it (judgements, no
source). What a check is worth is the fall of entropy that it brings on the mean over its outcomes (Lindley 1956, Annals
of Mathematical Statistics 27:986), less for a check that takes long.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from sizing.causes.names import NAMES, NUMBER
from sizing.causes.signatures import GOOD_SUN
from sizing.causes.table import SUNS

AMPS_SD, VOLTS_SD, FLOW_SD, LEVEL_SD = 0.07, 0.03, 0.09, 1.2  # of one check; sun, clamp, bucket, level on record
CLEARLY = 1.5  # standard deviations beyond which an outcome is called low or high
MINUTES = {
    "ask_caretaker": 10, "look_at_modules": 10, "volts_no_amps": 10, "bucket_against_meter": 15, "power_and_flow": 25,
    "dip": 30, "string_currents": 25, "first_water": 30, "drop_under_load": 40, "watch_stops": 60,
    "look_at_shade": 10,
}  # fmt: skip
# Outcomes that follow from a unit's own effects; causes whose effects are as usual: it runs or it does not.
BY_EFFECT = ("power_and_flow", "dip")
AS_USUAL = ("cuts_out", "stands_still", "less_drawn", "meter_stands", "meter_slow")
DEAD_DIP = (0.1, 0.8, 0.1)  # of a dip where the pump stands
HURRY = 0.35  # how much a longer check must tell more: worth falls with minutes to this power
LEAST_BITS = 0.03
# Odds from which the leading cause itself is confirmed, rather than parted from the others; what confirms it is found
# so often where it is the cause, and so many times oftener than where another is (judgements).
SURE, FOUND_SO, TIMES = 0.9, 0.6, 4.0


class Effect(NamedTuple):
    """What a cause does in a good sun, arrays (causes,): log ratios of current, voltage, flow; metres of level."""

    amps: np.ndarray
    volts: np.ndarray
    flow: np.ndarray
    level: np.ndarray


# Of a fault of middle size, where no signature is at hand (read off signatures of a few installations).
USUAL = {
    "dirt": (-0.35, -0.01, -0.35, -1.0),
    "string_open": (-0.7, -0.02, -0.8, -1.5),
    "poor_joint": (-0.15, 0.06, -0.3, -1.0),
    "pump_worn": (-0.05, 0.0, -0.35, -1.0),
    "inlet_blocked": (-0.1, 0.03, -0.4, -1.0),
    "main_leaks": (0.0, 0.0, -0.4, -1.0),
    "water_sinks": (0.0, 0.0, -0.3, 7.0),
    "cuts_out": (0.0, 0.0, -0.1, 0.0),
    "stands_still": (-3.0, 0.2, -4.0, -2.0),
}


def usual_effects():
    """Effects without a signature."""
    rows = np.array([USUAL.get(name, (0.0, 0.0, 0.0, 0.0)) for name in NAMES])
    return Effect(*rows.T)


def effects(signatures, size):
    """Effects of each cause at about the size (causes,) that the readings say; causes out of question: usual ones."""
    known = usual_effects()
    out = [column.copy() for column in known]
    at = int(np.argmin(np.abs(SUNS - GOOD_SUN)))
    for cause in np.unique(signatures.cause):
        mine = np.flatnonzero(signatures.cause == cause)
        i = mine[np.argmin(np.abs(signatures.size[mine] - size[cause]))]
        if NAMES[cause] in AS_USUAL:
            continue
        row = (signatures.current, signatures.voltage, signatures.flow)
        for k, curve in enumerate(row):
            out[k][cause] = np.log(max(curve[i, at], 0.02))
        out[3][cause] = signatures.level[i, at]
    return Effect(*out)


def outcomes(effect):
    """{check: chances of its outcomes (causes, outcomes)}."""
    n = len(NAMES)
    amps, volts = _thirds(effect.amps, AMPS_SD), _thirds(effect.volts, VOLTS_SD)
    flow, level = _thirds(effect.flow, FLOW_SD), _thirds(effect.level, LEVEL_SD)

    def of(rest, **named):
        rows = np.tile(np.asarray(rest, float), (n, 1))
        for name, chances in named.items():
            rows[NUMBER[name]] = chances
        return rows / rows.sum(axis=1, keepdims=True)

    found = {
        # no water, less water, as always, tank stays full
        "ask_caretaker": of(
            (0.05, 0.55, 0.37, 0.03), stands_still=(0.85, 0.1, 0.04, 0.01), meter_stands=(0.03, 0.07, 0.85, 0.05),
            meter_slow=(0.02, 0.13, 0.8, 0.05), less_drawn=(0.01, 0.04, 0.35, 0.6), cuts_out=(0.1, 0.6, 0.28, 0.02),
        ),
        # dirt, shadow, frame stands wrong, nothing
        "look_at_modules": of(
            (0.06, 0.05, 0.01, 0.88), dirt=(0.85, 0.03, 0.01, 0.11), shade_before_noon=(0.06, 0.8, 0.01, 0.13),
            shade_after_noon=(0.06, 0.8, 0.01, 0.13), frame_turned=(0.06, 0.04, 0.85, 0.05),
        ),
        "volts_no_amps": of((0.03, 0.97), stands_still=(0.97, 0.03), cuts_out=(0.35, 0.65), less_drawn=(0.4, 0.6)),
        "bucket_against_meter": of((0.03, 0.97), meter_stands=(0.97, 0.03), meter_slow=(0.9, 0.1)),
        "power_and_flow": _together(amps, volts, flow),
        "dip": level,
        "string_currents": of((0.03, 0.97), string_open=(0.97, 0.03)),
        "first_water": of((0.07, 0.93), main_leaks=(0.75, 0.25), pump_worn=(0.3, 0.7), inlet_blocked=(0.3, 0.7)),
        "drop_under_load": of((0.05, 0.95), poor_joint=(0.85, 0.15), stands_still=(0.3, 0.7)),
        "watch_stops": of((0.04, 0.96), cuts_out=(0.75, 0.25)),
    }  # fmt: skip
    dead = NUMBER["stands_still"]
    for check in ("dip",):
        found[check][dead] = np.array(DEAD_DIP)
    return found


def _thirds(shift, sd):
    """Chances to be called low, as it should be, high (causes, 3)."""
    low = ndtr((-CLEARLY * sd - shift) / sd)
    high = 1 - ndtr((CLEARLY * sd - shift) / sd)
    return np.clip(np.stack([low, 1 - low - high, high], axis=1), 0.002, 1)


def _together(*parts):
    """Chances of outcomes read at once, each by itself given the cause (causes, product of outcomes)."""
    whole = parts[0]
    for part in parts[1:]:
        whole = (whole[:, :, None] * part[:, None, :]).reshape(len(whole), -1)
    return whole / whole.sum(axis=1, keepdims=True)


def entropy(p):
    """Bits of uncertainty; p over the last axis."""
    p = np.asarray(p, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return -np.where(p > 0, p * np.log2(p), 0.0).sum(axis=-1)


def bits(cause, chances):
    """Bits by which a check narrows the causes on the mean: cause (causes,), chances (causes, outcomes)."""
    joint = cause[:, None] * chances
    outcome = joint.sum(axis=0)
    after = joint / np.maximum(outcome, 1e-300)
    return float(entropy(cause) - (outcome * entropy(after.T)).sum())


def at_their_hours():
    """Checks that only settle what is suspected already: chances of their outcomes (causes, outcomes)."""
    shadow = np.tile((0.04, 0.96), (len(NAMES), 1))
    for name in ("shade_before_noon", "shade_after_noon"):
        shadow[NUMBER[name]] = (0.92, 0.08)
    return {"look_at_shade": shadow}


def confirming(cause, tables):
    """Checks that would show the leading cause itself, the quickest first; of like ones that which others pass for
    least. The others are taken half as likely as they are held, half all alike, for they may be what nobody thought
    of."""
    lead = int(np.argmax(cause))
    rest = np.delete(cause, lead)
    rest = 0.5 * rest / max(rest.sum(), 1e-300) + 0.5 / len(rest)
    found = {}
    for check, table in tables.items():
        others = np.maximum(rest @ np.delete(table, lead, axis=0), 1e-6)
        times = np.where(table[lead] >= FOUND_SO, table[lead] / others, 0.0).max()
        if times >= TIMES:
            found[check] = times
    return sorted(found, key=lambda check: (MINUTES[check], -found[check]))


def choose(cause, effect=None, most=2, done=()):
    """The checks that would tell most, the best first: [(check, bits)]. cause (causes,): odds given that something is;
    done: checks whose readings are in the odds already.

    Where one cause is all but sure, the first is the quickest that confirms it; else the one that parts the leading
    ones best. The second is the one that adds most to the first.
    """
    cause = np.asarray(cause, float)
    cause = cause / max(cause.sum(), 1e-300)
    tables = outcomes(usual_effects() if effect is None else effect)
    tables = {check: table for check, table in tables.items() if check not in done}
    settle = confirming(cause, tables | at_their_hours()) if cause.max() > SURE else []
    chosen, so_far, known = [], np.ones((len(cause), 1)), 0.0
    while len(chosen) < most:
        told = {c: bits(cause, _together(so_far, t)) - known for c, t in tables.items() if c not in chosen}
        best = max(told, key=lambda c: told[c] / MINUTES[c] ** HURRY)
        if told[best] < LEAST_BITS:
            break
        if settle and not chosen:
            best = settle[0]
            tables |= {best: at_their_hours()[best]} if best not in tables else {}
            told[best] = bits(cause, tables[best])
        chosen.append(best)
        so_far = _together(so_far, tables[best])
        known += told[best]
    return [(c, round(bits(cause, tables[c]), 3)) for c in chosen]
