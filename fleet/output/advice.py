"""The causes in words for people: what each is, what to check first on site, what to take along.

Checks and parts follow the trade's failure catalogue (common practice, no source); the order is by how quickly a check
is done at the well and how much it says.
"""

from django.utils.translation import gettext_lazy as _

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
    "stands_still": _("stands still"),
    "meter_stands": _("the meter stands still"),
    "meter_slow": _("the meter reads low"),
    "less_drawn": _("people draw less"),
}

CHECKS = {
    "wash": (
        _("Measure one module's short-circuit current, wash it, measure again."),
        {"dirt"},
    ),
    "look_at_shade": (
        _("Stand at the frame at the hours that are missing: is there a shadow on the modules?"),
        {"shade_before_noon", "shade_after_noon"},
    ),
    "bearing": (
        _("Take the frame's bearing and tilt, or look at its shadow at solar noon."),
        {"frame_turned"},
    ),
    "string_currents": (
        _("Measure each string's current in the same sun: one without current is open."),
        {"string_open"},
    ),
    "drop_under_load": (
        _("Measure the voltage at the modules and at the box at work, and the loop resistance against commissioning."),
        {"poor_joint"},
    ),
    "power_and_flow": (
        _("Measure volts, amps, flow and level in the same two minutes; the answer parts array, pump and well."),
        {"dirt", "string_open", "pump_worn", "inlet_blocked", "main_leaks", "water_sinks"},
    ),
    "first_water": (
        _("Stop the pump for ten minutes, start it, time the first water: long or never means water falls back."),
        {"main_leaks"},
    ),
    "dip": (
        _("Dip the level after an hour's rest and again at work."),
        {"water_sinks", "cuts_out"},
    ),
    "watch_stops": (
        _("Watch for half an hour around noon whether it stops by itself, and dip the level when it does."),
        {"cuts_out"},
    ),
    "volts_no_amps": (
        _("Is there voltage at the box, and is the tank full? Voltage, no current and no full tank: find the break."),
        {"stands_still"},
    ),
    "bucket_against_meter": (
        _("Fill a bucket three times against the watch and compare with the meter."),
        {"meter_stands", "meter_slow"},
    ),
    "ask_caretaker": (
        _("Ask the caretaker by telephone whether the tank stays full and how much is drawn."),
        {"less_drawn"},
    ),
}

PARTS = {
    "dirt": [_("water and a soft cloth")],
    "shade_before_noon": [_("saw")],
    "shade_after_noon": [_("saw")],
    "frame_turned": [_("frame bolts and clamps"), _("spanners")],
    "string_open": [_("connector pairs"), _("string fuses")],
    "poor_joint": [_("splice kit"), _("terminals and crimps")],
    "pump_worn": [_("exchange pump or pump end"), _("lifting gear")],
    "inlet_blocked": [_("strainer"), _("lifting gear")],
    "main_leaks": [_("pipe joints and inserts"), _("lifting gear")],
    "water_sinks": [_("dip meter"), _("extra pipe, rope and cable")],
    "cuts_out": [_("dry-run probe"), _("controller")],
    "stands_still": [_("controller"), _("float switch"), _("splice kit"), _("fuses")],
    "meter_stands": [_("water meter")],
    "meter_slow": [_("water meter"), _("bucket")],
    "less_drawn": [],
}
# A joint that heats can burn, and leads under water can put a voltage on the well head.
DANGER = {"poor_joint": 1}
LEADING = 0.12  # odds from which a cause is worth a check or a part


def word(cause):
    return CAUSES.get(cause, cause.replace("_", " "))


def _leading(causes):
    return [c["cause"] for c in causes if c["odds"] >= LEADING][:3] or [c["cause"] for c in causes[:1]]


def checks(causes):
    """Codes of the one or two checks that would part the leading causes, the most telling first."""
    odds = {c["cause"]: c["odds"] for c in causes}
    leading = _leading(causes)
    told = []
    for code, (_words, shows) in CHECKS.items():
        inside = sum(odds.get(c, 0) for c in leading if c in shows)
        outside = sum(odds.get(c, 0) for c in leading if c not in shows)
        # A check says most where about half of what is likely would show in it.
        told.append((inside * outside + 0.25 * odds.get(leading[0], 0) * (leading[0] in shows), inside, code))
    told.sort(key=lambda t: (-t[0], -t[1], t[2]))
    return [code for value, inside, code in told[:2] if value > 0 and inside > 0]


def parts(causes):
    """What to take along, as it stands in English; pages translate it. The likeliest cause first, nothing twice."""
    found = []
    for cause in _leading(causes):
        for part in PARTS.get(cause, []):
            name = str(part)
            if name not in found:
                found.append(name)
    return found


def danger(causes):
    """0 none, 1 caution: by the causes that are likely enough to be checked."""
    return max((DANGER.get(cause, 0) for cause in _leading(causes)), default=0)
