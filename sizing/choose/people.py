"""Water that people need, where nobody measured what they draw.

Source: Sphere Handbook, water supply standard 1 (seen): at least 15 L a person and day, 7.5 to 15 to survive, a 20 L
can filled in at most three minutes. Common minimum in national rules: 20 L (seen in an open course text).
"""

import numpy as np

from sizing.checks import within

LEAST_L_PERSON_DAY = 15.0
SURVIVAL_L_PERSON_DAY = (7.5, 15.0)
USUAL_L_PERSON_DAY = 20.0
CAN_L, CAN_MIN = 20.0, 3.0
# people a source can serve, and the flow it stands for, L/min (from memory)
SOURCES = {"tap": (250, 7.5), "hand pump": (500, 17.0), "open well": (400, 12.5)}


def need_l_day(people, litres_each=USUAL_L_PERSON_DAY):
    """Litres a day for people; shapes broadcast. Holds: up to a million people, 1 to 500 L each."""
    return within(people, 0, 1e6, "people") * within(litres_each, 1, 500, "litres_each")


def taps_for(people):
    """Taps at which nobody waits too long, whole numbers; shape kept. Source: 250 people a tap (from memory)."""
    return np.ceil(within(people, 0, 1e6, "people") / SOURCES["tap"][0])
