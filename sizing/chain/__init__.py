"""The whole chain, from sun to litres, over a fleet of installations as arrays."""

from .faults import NONE, Faults
from .fleet import DEFAULTS, Fleet, FleetRead, fleet_from_rows
from .operating import STATES, Spot, spot

__all__ = [
    "DEFAULTS", "NONE", "STATES", "Faults", "Fleet", "FleetRead", "Spot", "fleet_from_rows", "spot",
]  # fmt: skip
