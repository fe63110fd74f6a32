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


def taught(findings, rates=RATES):
    """Rates after findings: how often each cause was confirmed (15,). The total keeps its place, its shares move.

    Shares are a Dirichlet mean: the catalogue counts as `FINDINGS_WORTH` findings.
    """
    findings = np.asarray(findings, float)
    share = rates / rates.sum()
    return rates.sum() * (share * FINDINGS_WORTH + findings) / (FINDINGS_WORTH + findings.sum())
