"""What the one setting of the judgement costs in days: fewer false alarms, later true ones."""

import numpy as np

from sizing.judge import limit

CHOICES = (2, 4, 8, 15, 30)  # false alarms per hundred units a year
LOSSES = (0.10, 0.20, 0.40, 1.0)
# One sigma of a day's (a period's) figure against the expected, as a share, and the days that a figure covers; from the
# spread of sound units in simulated fleets: daily with the sun measured, daily with the neighbours' sky, monthly meter.
INSTRUMENTS = {"logger": (0.055, 1), "daily": (0.10, 1), "meter": (0.075, 14)}
OPEN_LEVEL = 0.05  # what stays open of the unit's own level, the same every day
PRIOR = np.log(1 / (0.4 * 30 / 365))  # odds beforehand that something began in the last month, 0.4 faults a year


def days_to_notice(alarms, loss, instrument):
    """Days from a sudden loss to a flag, about, in whole figures that must come in. None: not within half a year.

    The evidence of a constant shift d grows as d²/2 over its variance, with the own level's uncertainty shared by all
    days (Kay, Detection Theory, 1998, sec. 4.4); the flag falls when it passes limit and odds beforehand together.
    """
    sigma, covers = INSTRUMENTS[instrument]
    shift = -np.log(max(1 - loss, 0.05))
    needed = float(limit(alarms, instrument != "meter")) + PRIOR
    figures = np.arange(1, 400)
    evidence = shift**2 / 2 / (OPEN_LEVEL**2 + sigma**2 / figures)
    enough = np.flatnonzero(evidence >= needed)
    if not len(enough):
        return None
    days = int(figures[enough[0]]) * covers
    return days if days <= 182 else None


def table(alarms):
    """Rows of the page: a loss, and days to notice by instrument."""
    return [{"loss": loss, **{name: days_to_notice(alarms, loss, name) for name in INSTRUMENTS}} for loss in LOSSES]
