"""The causes in words for people: what each is, what to check first on site, what to take along.

Checks and parts follow the trade's failure catalogue (common practice, no source). Which checks come first is worked
out from how much each is expected to tell (`sizing.causes.checks`).
"""

import numpy as np
from django.utils.translation import gettext_lazy as _

from sizing.causes import checks as telling
from sizing.causes import names

CAUSES = {
    "dirt": _("dirt on the modules"),
    "shade_before_noon": _("shade before noon"),
    "shade_after_noon": _("shade after noon"),
    "frame_turned": _("frame turned or tilted"),
    "string_open": _("a string is open"),
    "poor_joint": _("a poor joint in the cable"),
    "pump_worn": _("worn pump"),
    "inlet_blocked": _("blocked intake"),
    "main_leaks": _("the rising main leaks"),
    "water_sinks": _("the water table has sunk"),
    "cuts_out": _("cuts out in strong sun or by its probe"),
    "stands_still": _("the pump stands still"),
    "meter_stands": _("the meter stands still"),
    "meter_slow": _("the meter reads low"),
    "less_drawn": _("people draw less"),
}

# What to do on site, and the marks of the cautions that belong to it (`{% caution %}`).
CHECKS = {
    "ask_caretaker": (
        _("Ask the caretaker by telephone: does water come as always, less, or none; is the tank full?"),
        (),
    ),
    "look_at_modules": (
        _("Look at the modules: dirt, a shadow at the hours that are missing, the frame's bearing and tilt."),
        ("HEIGHT",),
    ),
    "volts_no_amps": (
        _("Is there voltage at the box, and is the tank full? Voltage, no current and no full tank: find the break."),
        ("DC", "CAP"),
    ),
    "bucket_against_meter": (
        _("Fill a bucket three times against the watch at the well head and compare with the meter."),
        ("CLEAN",),
    ),
    "power_and_flow": (
        _(
            "Measure volts, amps and flow around noon in the same two minutes; the answer parts array, pump and well."
        ),
        ("DC",),
    ),
    "dip": (_("Dip the level after an hour's rest and again while it pumps."), ("WELL", "CLEAN")),
    "string_currents": (
        _("Measure each string's voltage and current in the same sun: one without current is open."),
        ("DC",),
    ),
    "first_water": (
        _(
            "Stop the pump for ten minutes, start it, time the first water; then shut the valve for a moment and watch "
            "the gauge. A long wait or a falling gauge means that water falls back."
        ),
        ("CLEAN",),
    ),
    "drop_under_load": (
        _("Measure the voltage at the modules and at the box at work, and the loop resistance against commissioning."),
        ("DC", "CAP"),
    ),
    "watch_stops": (
        _("Watch for an hour around noon whether it stops by itself, and dip the level when it does."),
        ("WELL",),
    ),
    "look_at_shade": (
        _("Stand at the frame at the hours that are missing: is there a shadow on the modules?"),
        (),
    ),
    # Put forward in earlier days; their words stand for the shortfalls of then.
    "wash": (_("Measure one module's short-circuit current, wash it, measure again."), ("DC", "HEIGHT")),
    "bearing": (_("Take the frame's bearing and tilt, or look at its shadow at solar noon."), ()),
}

CAUTIONS = {
    "DC": _(
        "The modules give a dangerous direct voltage as long as there is daylight and cannot be switched off. Measure "
        "at closed boxes with a clamp and insulated probes; open nothing that you are not licensed to open."
    ),
    "CAP": _("The box stays charged after it is switched off: wait as its label says, and measure before you touch."),
    "HEIGHT": _("A sound ladder, footed; no wind, no wet; never step on the modules."),
    "WELL": _("Cover the open mouth at once, tools on lines, children and animals away; nobody goes down."),
    "CLEAN": _("This is drinking water: clean hands and clean tools, nothing laid on the ground."),
}

# Part, and in how many of the repairs of that cause it is used (judgements, no source).
PARTS = {
    "dirt": [(_("water and a soft cloth"), 1.0)],
    "shade_before_noon": [(_("saw"), 0.7)],
    "shade_after_noon": [(_("saw"), 0.7)],
    "frame_turned": [(_("frame bolts and clamps"), 0.8), (_("spanners"), 1.0)],
    "string_open": [(_("connector pairs"), 0.7), (_("string fuses"), 0.4)],
    "poor_joint": [(_("splice kit"), 0.7), (_("terminals and crimps"), 0.6)],
    "pump_worn": [(_("exchange pump or pump end"), 0.9), (_("lifting gear"), 1.0)],
    "inlet_blocked": [(_("strainer"), 0.4), (_("lifting gear"), 1.0)],
    "main_leaks": [(_("pipe joints and inserts"), 0.9), (_("lifting gear"), 1.0)],
    "water_sinks": [(_("dip meter"), 1.0), (_("extra pipe, rope and cable"), 0.5)],
    "cuts_out": [(_("dry-run probe"), 0.4), (_("controller"), 0.4)],
    "stands_still": [(_("controller"), 0.4), (_("float switch"), 0.2), (_("splice kit"), 0.25), (_("fuses"), 0.3)],
    "meter_stands": [(_("water meter"), 0.8)],
    "meter_slow": [(_("water meter"), 0.7), (_("bucket"), 1.0)],
    "less_drawn": [],
}
TAKE = 0.12  # chance of use from which a part is worth its place in the car
# A joint that heats can burn, and leads under water can put a voltage on the well head.
DANGER = {"poor_joint": 1}
LEADING = 0.12  # odds from which a cause is worth a check or a part
NAMED = 0.05  # odds from which a second cause is worth naming where there is room for few (a judgement)


def word(cause):
    return CAUSES.get(cause, cause.replace("_", " "))


def _leading(causes):
    return [c["cause"] for c in causes if c["odds"] >= LEADING][:3] or [c["cause"] for c in causes[:1]]


def named(causes, most):
    """The causes to name where there is room for few: the likeliest, and others that are not next to impossible."""
    return causes[:1] + [one for one in causes[1:most] if one.get("odds", 0.0) >= NAMED]


def checks(causes):
    """Codes of the one or two checks that would tell most, the best first, from causes with odds alone; where the
    unit's own signatures are at hand, the nightly judgement asks `sizing.causes.checks` with them."""
    odds = np.zeros(len(names.NAMES))
    for one in causes:
        if one["cause"] in names.NUMBER:
            odds[names.NUMBER[one["cause"]]] = one["odds"]
    return [code for code, _bits in telling.choose(odds)] if odds.sum() > 0 else []


def with_cautions(codes):
    """[(what to do, [(mark, caution)])] of checks, each caution beside the step that can hurt someone."""
    return [
        (CHECKS[code][0], [(mark, CAUTIONS[mark]) for mark in CHECKS[code][1]]) for code in codes if code in CHECKS
    ]


def in_words():
    """Causes and checks in the language of the moment, as plain data: {words: {cause: words}, check_words: {check:
    [words, [[mark, caution]]]}}."""
    return {
        "words": {cause: str(words) for cause, words in CAUSES.items()},
        "check_words": {
            code: [str(words), [[mark, str(caution)] for mark, caution in cautions]]
            for code in telling.MINUTES
            for words, cautions in with_cautions([code])
        },
    }  # fmt: skip


def parts(causes):
    """What to take along, as it stands in English (pages translate it): what is likely to be used, the likeliest first.

    A part's chance is that of the causes it mends, each by how often it is used there; two at least, if there are any.
    """
    use = {}
    for one in causes:
        for part, share in PARTS.get(one["cause"], []):
            use[str(part)] = use.get(str(part), 0.0) + one["odds"] * share
    ranked = sorted(use, key=lambda name: -use[name])
    return [name for n, name in enumerate(ranked) if use[name] >= TAKE or n < 2]


def danger(causes):
    """0 none, 1 caution: by the causes that are likely enough to be checked."""
    return max((DANGER.get(cause, 0) for cause in _leading(causes)), default=0)
