"""The one setting, false alarms per hundred units a year, turned into the limit of log odds.

Set by counting flags on healthy units of an independent simulated fleet (240 units, 400 days), from which the other
points are drawn by eye: a judgement, not a law. Fleets with other weather may see half or twice as many.
"""

import numpy as np

ASK = 2.0  # running evidence from which the causes of a unit that reports daily are asked
ALARMS = np.array([2.0, 5.0, 10.0, 20.0, 40.0])  # false alarms per hundred units a year
DAILY = np.array([8.0, 6.0, 4.5, 3.0, 1.5])  # limits for units that report day by day and have their own cell
NO_CELL = 0.0  # more where the sun is only known from neighbours; none is needed since its errors count as lasting
PERIODS = np.array([2.5, 1.0, -0.5, -1.5, -2.5])  # for meters read every week or month, which are asked more seldom


def limit(alarms_per_hundred, daily, has_cell=True):
    """Limit of log odds (broadcasts); between the kept ones on a logarithmic scale, held beyond them."""
    x = np.log(np.clip(alarms_per_hundred, ALARMS[0], ALARMS[-1]))
    by_day = np.interp(x, np.log(ALARMS), DAILY) + np.where(has_cell, 0.0, NO_CELL)
    return np.where(daily, by_day, np.interp(x, np.log(ALARMS), PERIODS))
