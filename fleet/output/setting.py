"""What the one setting of the judgement costs in days: fewer false alarms, later true ones.

The days stand in the table from which the limits come (`sizing.judge.limits`), so that page and judgement agree.
"""

from sizing.judge import days_to_notice
from sizing.judge.limits import LOSSES
from sizing.judge.noise import KINDS

CHOICES = (2, 5, 10, 20, 40)  # false alarms per hundred units a year


def table(alarms):
    """Rows of the page: a loss, and days to notice by way of reporting; None: not within half a year."""
    return [
        {"loss": loss, **{name: days_to_notice(alarms, loss, kind) for kind, name in enumerate(KINDS)}}
        for loss in LOSSES
    ]
