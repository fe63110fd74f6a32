"""What may be done about expected output; the only code that writes its rows."""

from fleet.output.services.area_weather import (
    fetch_due,
    fetch_years,
    forget_weather,
    import_weather,
    nightly_service,
    weather_places,
)
from fleet.output.services.baselines import baselines, changed_since
from fleet.output.services.day_course import day_course
from fleet.output.services.gone import end_gone
from fleet.output.services.judging import (
    all_ids,
    batches,
    claim,
    due,
    end_shortfall,
    judge,
    judge_again,
    judge_through,
    release,
)
from fleet.output.services.learning import counts, findings_heard, learn, said_and_found
from fleet.output.services.spot import answer_spot, own_level
from fleet.output.services.spot_ahead import ahead_marks, ahead_of, weighing
from fleet.output.services.spot_causes import MAY_WELL, causes_of_test
from fleet.output.services.spot_slips import look_at_tests
from fleet.output.services.sweeping import sweep
from fleet.output.services.working import working

__all__ = [
    "MAY_WELL",
    "ahead_marks",
    "ahead_of",
    "all_ids",
    "answer_spot",
    "baselines",
    "batches",
    "causes_of_test",
    "changed_since",
    "claim",
    "counts",
    "day_course",
    "due",
    "end_gone",
    "end_shortfall",
    "fetch_due",
    "fetch_years",
    "findings_heard",
    "forget_weather",
    "import_weather",
    "weather_places",
    "judge",
    "judge_again",
    "judge_through",
    "learn",
    "look_at_tests",
    "nightly_service",
    "own_level",
    "release",
    "said_and_found",
    "sweep",
    "weighing",
    "working",
]
