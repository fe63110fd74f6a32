"""The whole chain, from sun to litres, over a fleet of installations as arrays.

`fleet_from_rows` makes the record; `spot` answers for one moment, `first_water` for the first minutes, `day` for a day
hour by hour, `expected_days` for any number of unit-days at once, `baseline` for the months of a climate; `curve` and
`day_table` give what these read off, `working` shows every step for one installation. `Faults` puts faults into any of
them.
"""

from .baseline import Baseline, baseline
from .days import Curve, DayTable, ExpectedDays, curve, day_table, expected_days, level_sensitivity
from .faults import NONE, Faults
from .fleet import DEFAULTS, Fleet, FleetRead, fleet_from_rows
from .operating import STATES, Spot, spot, untested
from .prepare import default_air, open_sky
from .running import DRAW_BY_HOUR, Day, day, first_water
from .working import STAGES, Step, working

__all__ = [
    "DEFAULTS", "DRAW_BY_HOUR", "NONE", "STAGES", "STATES", "Baseline", "Curve", "Day", "DayTable", "ExpectedDays",
    "Faults", "Fleet", "FleetRead", "Spot", "Step", "baseline", "curve", "day", "day_table", "default_air",
    "expected_days", "first_water",
    "fleet_from_rows", "level_sensitivity", "open_sky", "spot",
    "untested", "working",
]  # fmt: skip
