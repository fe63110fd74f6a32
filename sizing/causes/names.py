"""The causes, in plain words, with how they come and how often.

The odds beforehand start from the trade's failure catalogue, which knows order and manner but hardly a rate: they
are weak, and
confirmed findings of visits teach them (`taught`).
"""

from typing import NamedTuple

import numpy as np


class Cause(NamedTuple):
    """rate: faults a year among a hundred units; sudden: share that comes at once; ramp_days: how long the others grow
    (values of RAMPS)."""

    name: str
    rate: float
    sudden: float
    ramp_days: tuple


RAMPS = (0.0, 20.0, 60.0, 110.0)  # days; nought: at once
CAUSES = (
    Cause("dirt", 4.0, 0.0, (20.0, 60.0)),
    Cause("shade_before_noon", 2.0, 0.25, (60.0,)),
    Cause("shade_after_noon", 2.0, 0.25, (60.0,)),
    Cause("frame_turned", 1.5, 1.0, ()),
    Cause("string_open", 2.5, 1.0, ()),
    Cause("poor_joint", 3.0, 0.5, (20.0,)),
    Cause("pump_worn", 3.0, 0.0, (60.0, 110.0)),
    Cause("inlet_blocked", 2.5, 0.5, (20.0,)),
    Cause("main_leaks", 4.0, 0.4, (20.0, 60.0)),
    Cause("water_sinks", 3.0, 0.0, (60.0,)),
    Cause("cuts_out", 3.5, 0.4, (20.0,)),
    Cause("stands_still", 3.5, 1.0, ()),
    Cause("meter_stands", 3.5, 1.0, ()),
    Cause("meter_slow", 1.5, 0.3, (20.0,)),
    Cause("less_drawn", 6.0, 0.6, (20.0,)),
)
NAMES = tuple(c.name for c in CAUSES)
NUMBER = {name: i for i, name in enumerate(NAMES)}
NOT_A_FAULT = NUMBER["less_drawn"]
RATES = np.array([c.rate for c in CAUSES]) / 100 / 365.25  # per unit and day
FINDINGS_WORTH = 12.0  # so many findings weigh as much as the catalogue
# How much oftener than in others a cause comes in one kind of pump, and in a young or an old installation (judgements
# from the failure catalogue, no source): rubbing parts wear, fine inlets block, work of the first months shows.
BY_KIND = {
    "diaphragm": {"pump_worn": 1.4, "inlet_blocked": 0.8},
    "helical": {"pump_worn": 1.1, "inlet_blocked": 1.1},
    "centrifugal": {"pump_worn": 0.7, "inlet_blocked": 1.2},
}
YOUNG_Y, OLD_Y = 1.0, 6.0
BY_AGE = {  # (in the first year, after many)
    "pump_worn": (0.5, 1.8), "poor_joint": (1.4, 1.2), "string_open": (1.3, 1.0), "frame_turned": (1.3, 1.0),
    "main_leaks": (1.2, 1.2), "meter_stands": (0.9, 1.3), "stands_still": (1.0, 1.3), "cuts_out": (1.2, 1.1),
}  # fmt: skip


def beforehand(kind, age_y):
    """Rates by kind of pump and age of the installation, (n, causes), of the same sum as the catalogue's. kind: words
    (n,), unknown ones as usual; age_y (n,), NaN as usual."""
    kind, age = np.asarray(kind), np.asarray(age_y, float)
    factor = np.ones((len(kind), len(NAMES)))
    for name, causes in BY_KIND.items():
        for cause, times in causes.items():
            factor[kind == name, NUMBER[cause]] *= times
    for cause, (young, old) in BY_AGE.items():
        factor[age < YOUNG_Y, NUMBER[cause]] *= young
        factor[age > OLD_Y, NUMBER[cause]] *= old
    rates = RATES * factor
    return rates * RATES.sum() / rates.sum(axis=1, keepdims=True)


def taught(findings, rates=RATES):
    """Rates after findings: how often each cause was confirmed, (..., causes). The total keeps its place, its shares
    move.

    Shares are a Dirichlet mean: the catalogue counts as `FINDINGS_WORTH` findings.
    """
    findings = np.asarray(findings, float)
    total = rates.sum(axis=-1, keepdims=True)
    seen = findings.sum(axis=-1, keepdims=True)
    return total * (rates / total * FINDINGS_WORTH + findings) / (FINDINGS_WORTH + seen)
