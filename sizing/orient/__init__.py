"""Which way the array should look, how to find it on site, and what an error costs.

Bearings are clockwise from true north; a compass bearing is clockwise from magnetic north. The day is handed in:
nothing here knows what time it is.
"""

from sizing.orient.bearings import (
    ClockRule,
    Facing,
    Noon,
    Shadow,
    SunNow,
    SunTable,
    clock_rule,
    clock_rule_by_month,
    compass_bearing_deg,
    facing,
    magnetic_declination_deg,
    shadow,
    solar_noon,
    sun_now,
    table_for_day,
    table_for_days,
)
from sizing.orient.cost import Cost, cost_in_irradiation, cost_in_litres

__all__ = [
    "ClockRule",
    "Cost",
    "Facing",
    "Noon",
    "Shadow",
    "SunNow",
    "SunTable",
    "clock_rule",
    "clock_rule_by_month",
    "compass_bearing_deg",
    "cost_in_irradiation",
    "cost_in_litres",
    "facing",
    "magnetic_declination_deg",
    "shadow",
    "solar_noon",
    "sun_now",
    "table_for_day",
    "table_for_days",
]
