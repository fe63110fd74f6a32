"""From odds to flags: raise, say it again when it got worse or its cause changed, close when the evidence is gone.

A flag is raised when the log odds of a fault that costs water pass the limit that the fleet's one setting, false
alarms per hundred units
a year, gives for this rhythm of reporting (`limits`). The same limit raises a note when less water is drawn.
"""

from typing import NamedTuple

import numpy as np

from sizing.causes import names

WORSE = 0.75  # told again when the water left falls to this share of what it was
PATIENCE_DAYS = 7  # between two tellings
CALM_ASKED, CALM_BELOW = 3, 3.0  # closed after so many askings in a row this far below the limit

NOTHING, RAISED, TOLD_AGAIN, CLOSED = range(4)


class Case(NamedTuple):
    """An open flag of one unit, kept from night to night. top: cause; note: less drawn, not a fault."""

    day: int
    top: int
    kept: float
    calm: int
    asked: int

    @property
    def note(self):
        return self.top == names.NOT_A_FAULT


class Step(NamedTuple):
    """What one asking did: NOTHING, RAISED, TOLD_AGAIN or CLOSED, and the case afterwards (None: no open flag)."""

    what: int
    case: Case | None


def worth_asking(case, evidence, day, daily, ask):
    """Whether the causes of a unit should be asked today. evidence (sizes,); daily: reports day by day."""
    if case is None:
        # A meter figure comes so seldom that each is worth the question.
        return not daily or float(np.max(evidence)) >= ask
    return not daily or day - case.asked >= 4


def decide(case, odds, day, limit):
    """Step of one unit from its odds (causes.odds.Odds) today."""
    top = int(np.argmax(odds.cause))
    surest = max(odds.fault, odds.demand, _something(odds))
    raised = surest > limit
    if case is None:
        return Step(RAISED, Case(day, top, odds.kept, 0, day)) if raised else Step(NOTHING, None)
    if not raised:
        calm = case.calm + 1 if surest < limit - CALM_BELOW else 0
        if calm >= CALM_ASKED:
            return Step(CLOSED, None)
        return Step(NOTHING, case._replace(calm=calm, asked=day))
    changed = top != case.top and odds.cause[top] > 0.5
    worse = odds.kept < case.kept * WORSE
    if (changed or worse) and day - case.day >= PATIENCE_DAYS:
        return Step(TOLD_AGAIN, Case(day, top, odds.kept, 0, day))
    return Step(NOTHING, case._replace(calm=0, asked=day))


def _something(odds):
    """Log odds that anything is: a fault or less demand may both be likely, so that neither alone is sure."""
    none = min(max(odds.none, 1e-12), 1 - 1e-12)
    return float(np.log1p(-none) - np.log(none))
