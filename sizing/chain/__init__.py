"""The whole chain, from sun to litres, over a fleet of installations as arrays."""

from .days import Curve, DayTable, ExpectedDays, curve, day_table, expected_days
from .faults import NONE, Faults
from .fleet import DEFAULTS, Fleet, FleetRead, fleet_from_rows
from .operating import STATES, Spot, spot
from .prepare import default_air

__all__ = [
    "DEFAULTS", "NONE", "STATES", "Curve", "DayTable", "ExpectedDays", "Faults", "Fleet", "FleetRead", "Spot", "curve",
    "day_table", "default_air", "expected_days", "fleet_from_rows", "spot",
]  # fmt: skip
