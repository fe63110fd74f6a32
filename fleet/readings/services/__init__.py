"""What may be done with readings; the only code that writes them."""

from fleet.readings.services.area_weather import keep_weather
from fleet.readings.services.days import Kept, keep_days
from fleet.readings.services.decisions import take_back
from fleet.readings.services.dropping import Replacing, drop_days, put_back
from fleet.readings.services.logger_clock import clock_of, clocks_of
from fleet.readings.services.meters import keep_meter_reading, keep_meter_readings
from fleet.readings.services.missing import missing_periods
from fleet.readings.services.series import keep_series
from fleet.readings.services.settle import settle
from fleet.readings.services.spot import (
    check_limits,
    flow_of,
    keep_spot_test,
    keep_spot_tests,
    let_spot_test_count,
    move_spot_tests,
    without_water,
)

__all__ = [
    "Kept",
    "Replacing",
    "check_limits",
    "clock_of",
    "clocks_of",
    "drop_days",
    "flow_of",
    "keep_days",
    "keep_meter_reading",
    "keep_meter_readings",
    "keep_series",
    "keep_weather",
    "keep_spot_test",
    "let_spot_test_count",
    "keep_spot_tests",
    "missing_periods",
    "move_spot_tests",
    "put_back",
    "settle",
    "take_back",
    "without_water",
]
