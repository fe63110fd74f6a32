"""From odds to flags: raise, say it again when it got worse or its cause changed, close when the evidence is gone.

A flag is raised when the log odds of a loss (`bank.find`) pass the limit that the fleet's one setting, false alarms
per hundred units a year, gives for this way of reporting (`limits`). The same limit raises a note when less water is
drawn. Causes are asked only then, and again while the flag is open; they name it, they do not raise it.
"""

from typing import NamedTuple

import numpy as np

from sizing.causes import names

MISREAD = 0.5  # chance that nothing but the newest figure is wrong, above which a flag waits for the next
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


def raised(found, limit):
    """Whether what was found is worth a flag or a note, so that the causes must be asked."""
    return found is not None and surest(found) > limit


def surest(found):
    """Log odds of what is surest: a loss, less drawn, or that either is, when both are likely and neither alone."""
    none = min(max(found.none, 1e-12), 1 - 1e-12)
    return max(found.fault, found.less, float(np.log1p(-none) - np.log(none)))


def agreed(found, odds):
    """Odds of the causes brought together with what was found: that nothing is wrong, or nothing but the newest figure,
    and that less is only drawn."""
    cause = odds.cause
    if found.less > found.fault:
        least = 1.0 / (1.0 + np.exp(max(found.fault - found.less, -30.0)))
        now = cause[names.NOT_A_FAULT]
        if now < least:
            cause = cause * (1.0 - least) / max(1.0 - now, 1e-9)
            cause[names.NOT_A_FAULT] = least
    return odds._replace(cause=cause, none=found.none + (1.0 - found.none) * odds.misread)


def decide(case, found, odds, day, limit):
    """Step of one unit from what was found today (bank.Found) and the causes' odds (causes.odds.Odds).

    odds may be None where nothing is `raised`: a case that is open then only waits for its end.
    """
    if not raised(found, limit) or odds is None:
        if case is None:
            return Step(NOTHING, None)
        calm = case.calm + 1 if found is None or surest(found) < limit - CALM_BELOW else 0
        if calm >= CALM_ASKED:
            return Step(CLOSED, None)
        return Step(NOTHING, case._replace(calm=calm, asked=day))
    if case is None and odds.misread > MISREAD:
        return Step(NOTHING, None)  # the next figure will tell; a slip of the pen raises no flag
    top = int(np.argmax(odds.cause))
    if case is None:
        return Step(RAISED, Case(day, top, odds.kept, 0, day))
    # A note becomes a flag once a fault is likelier than not, though no single cause may be.
    likely = 1.0 - odds.cause[names.NOT_A_FAULT] if case.note else odds.cause[top]
    changed = top != case.top and likely > 0.5
    worse = odds.kept < case.kept * WORSE
    if (changed or worse) and day - case.day >= PATIENCE_DAYS:
        return Step(TOLD_AGAIN, Case(day, top, odds.kept, 0, day))
    return Step(NOTHING, case._replace(calm=0, asked=day))
