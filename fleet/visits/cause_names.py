"""Why it happened, in words. The first part are the names by which the judgement knows causes."""

from django.utils.translation import gettext_lazy as _

from fleet.output.advice import CAUSES as JUDGED

FINER = {
    "string_reversed": _("a string or module is reversed"),
    "poor_terminal": _("loose or corroded terminal"),
    "module_aged": _("aged module"),
    "module_cracked": _("cracked module or shorted diode"),
    "controller_failed": _("controller failed"),
    "controller_hot": _("controller too hot"),
    "probe_false": _("dry-run probe cuts out falsely"),
    "float_stuck": _("float switch stuck or its wire cut"),
    "tank_full": _("the tank was full"),
    "cable_wet": _("water in joint or cable"),
    "cable_thin": _("cable too thin from the first day"),
    "scale": _("scale"),
    "sand": _("sand"),
    "valve_leaks": _("non-return valve leaks"),
    "clamp_slipped": _("the hanging clamp slipped"),
    "well_weak": _("the well yields too little"),
    "screen_clogged": _("clogged screen"),
    "theft": _("theft or damage"),
    "lightning": _("lightning"),
    "animals": _("animals"),
    "tank_leaks": _("tank or line leaks"),
    "valve_shut": _("a valve was shut"),
    "wrong_part": _("wrong part fitted"),
    "record_slip": _("a slip in the record"),
    "weather": _("haze or cloud everywhere"),
    "nothing": _("nothing was wrong"),
    "unknown": _("not known"),
}

CAUSES = {**JUDGED, **FINER}

# Under which judged cause a finer one teaches. Missing: it teaches nothing, because no signature answers to it.
TEACHES = {
    **{name: name for name in JUDGED},
    "string_reversed": "string_open",
    "poor_terminal": "poor_joint",
    "cable_wet": "poor_joint",
    "module_cracked": "string_open",
    "controller_failed": "stands_still",
    "controller_hot": "cuts_out",
    "probe_false": "cuts_out",
    "float_stuck": "stands_still",
    "tank_full": "less_drawn",
    "scale": "inlet_blocked",
    "sand": "pump_worn",
    "valve_leaks": "main_leaks",
    "well_weak": "cuts_out",
    "screen_clogged": "water_sinks",
    "theft": "stands_still",
    "lightning": "stands_still",
}

# These can hurt someone, or stop the water at once.
DANGERS = {"string_reversed", "cable_wet", "lightning", "theft", "clamp_slipped", "poor_terminal"}
NO_FAULT = {"tank_full", "less_drawn", "weather", "nothing", "record_slip"}
