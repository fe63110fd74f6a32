"""Around the answer to a spot test: what to check next, and kind questions about figures that look like a slip.

The phone asks the same questions by the same numbers; they are packed with the visit.
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

STAGES = {
    "well": gettext_lazy("well"), "array": gettext_lazy("modules"), "cable": gettext_lazy("cable and controller"),
    "pump": gettext_lazy("pump and pipe"),
}  # fmt: skip

CHECKS = {
    "array": [
        gettext_lazy("Current low for this sun: measure the current of each string; one without current is open."),
        gettext_lazy("Wash one module and measure its short-circuit current before and after."),
        gettext_lazy("Look for shade and for a frame that faces elsewhere."),
    ],
    "cable": [
        gettext_lazy("Voltage at the modules against voltage at the box, at work: a difference is a poor joint."),
        gettext_lazy("Loop resistance against the last one."),
    ],
    "well": [
        gettext_lazy("Dip once more from the datum mark; compare with the last dry season."),
        gettext_lazy("Stop and watch the level come back: slow means a tired well."),
    ],
    "pump": [
        gettext_lazy("Stop ten minutes, start, time the first water: long or never means it falls back in the pipe."),
        gettext_lazy("Listen at the well head for water that falls."),
        gettext_lazy("Meter against bucket, valves full open, tank inlet free."),
    ],
    "first": [
        gettext_lazy("Measure volts and amps with the flow: they part the electric side from the water side."),
        gettext_lazy("Is the tank full, or a valve half shut?"),
    ],
}

# (ratio of measured to expected, question). A slip of ten; litres a second; cubic metres an hour; seconds for litres.
SLIPS = [
    (10.0, gettext_lazy("Ten times what is expected: is a point missing in litres or seconds?")),
    (0.1, gettext_lazy("A tenth of what is expected: is a digit too many in seconds, or one missing in litres?")),
    (1 / 60, gettext_lazy("This would fit litres a second. The page wants litres a minute.")),
    (0.06, gettext_lazy("This would fit cubic metres an hour. The page wants litres a minute.")),
]
SLIP_BAND = 0.15  # how near the ratio must come


def checks_for(answer):
    """What to check next where the flow is below: the stage that loses most comes first."""
    if answer.get("verdict") != "below":
        return []
    stages = [s for s in answer.get("stages", []) if (s.get("loss_l_min") or 0) > 0]
    worst = max(stages, key=lambda s: s["loss_l_min"], default=None)
    parted = {s["stage"] for s in answer.get("stages", [])} & {"array"}
    if worst is None or (worst["stage"] == "pump" and not parted):
        return [str(c) for c in CHECKS["first"] + CHECKS["pump"]]
    return [str(c) for c in CHECKS[worst["stage"]]]


def questions_about(answer):
    ratio = answer.get("ratio")
    if not ratio:
        return []
    return [str(words) for factor, words in SLIPS if abs(ratio / factor - 1) < SLIP_BAND]


def stage_words(stage):
    figure = "{:g} {}".format
    said = _("%(measured)s, expected %(expected)s") % {
        "measured": figure(stage["measured"], stage["unit"]), "expected": figure(stage["expected"], stage["unit"]),
    }  # fmt: skip
    loss = stage.get("loss_l_min") or 0
    if loss >= 0.1:
        said += " " + _("(costs %(loss)g L/min)") % {"loss": round(loss, 1)}
    return said


def whole(answer):
    """The answer with checks, questions and stages in words."""
    stages = [{**s, "name": str(STAGES.get(s["stage"], s["stage"])), "said": stage_words(s)}
              for s in answer.get("stages", [])]  # fmt: skip
    return {**answer, "stages": stages, "checks": checks_for(answer), "questions": questions_about(answer)}
