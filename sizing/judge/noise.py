"""What a sound unit's figures scatter by, for each way of reporting, with and without a float switch.

Found by likelihood on sound units of simulated fleets (`tests/makers/simulated_fleet.py`, seeds 11 to 13; those without
a float switch again with seeds 41 and 42, once these skies scattered by no more than is documented) and rounded; no
fleet's rows went into them that is not of our own making. Each unit's own scatter then scales them (`figures`).
"""

from typing import NamedTuple

import numpy as np


class Noise(NamedTuple):
    """Standard deviations are shares of the water, unless said otherwise.

    level: times the doubt that the tests at commissioning leave; slow, slow_days: of the well and the seasons, and how
    long they last; dirt, dirt_days: of light; meter: variance of a figure that nothing explains; dull: of a day's
    figure at a clearness of about half, growing as it gets darker; lasting: correlation from day to day of what
    neighbours do not see of the weather; shape: of the chain over clearness; weather: factor on the variance by the
    sky; draw: of the draw from day to day; draw_level, draw_slow, draw_days: of the draw as known and as it wanders;
    own_figures: that weigh as much as all this when a unit's own scatter is learned.
    """

    level: float = 1.6
    slow: float = 0.04
    slow_days: float = 80.0
    dirt: float = 0.025
    dirt_days: float = 12.0
    meter: float = 0.000625
    dull: float = 0.022
    lasting: float = 0.3
    shape: float = 0.05
    weather: float = 1.0
    draw: float = 0.18
    draw_level: float = 0.1
    draw_slow: float = 0.16
    draw_days: float = 50.0
    own_figures: float = 10.0


NOISE = Noise._fields
METER, DAILY, CELL = range(3)  # ways of reporting: a running total now and then, a volume a day, sun besides
KINDS = ("meter", "daily", "logger")
_OF = (
    (Noise(level=1.3, slow=0.03, dirt=0.017, meter=0.0003), Noise(level=1.8, slow=0.06, slow_days=50.0, meter=0.001)),
    (
        Noise(level=1.8, slow=0.03, slow_days=90.0, dirt=0.03, dirt_days=48.0, meter=0.00035, dull=0.03, shape=0.056,
              weather=0.75),
        Noise(level=2.0, slow=0.05, slow_days=60.0, dirt=0.03, dull=0.045, draw=0.15, draw_slow=0.17, draw_days=30.0),
    ),
    (
        Noise(level=1.4, slow=0.027, slow_days=150.0, dirt=0.013, dirt_days=48.0, meter=0.0003, dull=0.018, shape=0.056,
              weather=0.45),
        Noise(slow=0.04, slow_days=150.0, dirt=0.015, dirt_days=48.0, dull=0.018, shape=0.056, draw_level=0.2,
              draw_slow=0.17, draw_days=40.0),
    ),
)  # fmt: skip
TABLE = np.array([[list(of) for of in pair] for pair in _OF])  # (kinds, float switch, values)


def kind_of(daily, has_cell):
    """METER, DAILY or CELL; broadcasts."""
    return np.where(daily, np.where(has_cell, CELL, DAILY), METER)
