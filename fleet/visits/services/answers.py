"""Around the answer to a spot test: what to check next, and kind questions about figures that look like a slip.

The phone asks the same questions by the same numbers; they are packed with the visit.
"""

from django.utils.translation import gettext_lazy

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
    "controller": [
        gettext_lazy("Volts and amps before and behind the box. Is it hot, or in the sun?"),
        gettext_lazy("Its lamps, its code and its settings."),
    ],
    "meter": [gettext_lazy("The meter's strainer, its arrow, three runs against the bucket; note both figures.")],
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
    """What to check next: where the flow is below, the stage that loses most; a meter that shows something else."""
    fall = answer.get("waterfall") or {}
    wrong = CHECKS["meter"] if fall.get("meter") and not fall["meter"]["agrees"] else []
    if answer.get("verdict") != "below":
        return [str(c) for c in wrong]
    steps = [s for s in fall.get("steps", []) if s["loss_l_min"] > 0]
    worst = max(steps, key=lambda s: s["loss_l_min"], default=None)
    parted = any(s["stage"] == "array" for s in fall.get("steps", []))
    if worst is None or (worst["stage"] == "pump" and not parted):
        return [str(c) for c in CHECKS["first"] + CHECKS["pump"] + wrong]
    return [str(c) for c in CHECKS[worst["stage"]] + wrong]


def questions_about(answer):
    ratio = answer.get("ratio")
    if not ratio:
        return []
    return [str(words) for factor, words in SLIPS if abs(ratio / factor - 1) < SLIP_BAND]


def whole(answer):
    """The answer with checks and questions."""
    return {**answer, "checks": checks_for(answer), "questions": questions_about(answer)}
