"""The one setting, false alarms per hundred units a year, turned into the limit of log odds.

Found by simulating healthy fleets (tests/makers/simulated_fleet.py) and counting flags; kept here with their source.
"""

import numpy as np

ASK = 1.5  # running evidence from which the causes are asked
ALARMS = np.array([2.0, 5.0, 10.0, 20.0, 40.0])  # false alarms per hundred units a year
DAILY = np.array([8.0, 6.0, 4.0, 2.5, 1.0])  # limits for units that report day by day
PERIODS = np.array([4.0, 2.5, 1.0, 0.0, -1.0])  # and for meters read every week or month, which are asked more seldom


def limit(alarms_per_hundred, daily):
    """Limit of log odds (broadcasts); between the simulated ones on a logarithmic scale, held beyond them."""
    x = np.log(np.clip(alarms_per_hundred, ALARMS[0], ALARMS[-1]))
    return np.where(daily, np.interp(x, np.log(ALARMS), DAILY), np.interp(x, np.log(ALARMS), PERIODS))
