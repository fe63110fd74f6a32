"""Short lists for what was found, and which parts go along for which cause.

A finding is five separate things, in the manner of ISO 14224 (its shape only; the lists are ours): how it shows, what
happened inside, why, how it was found, what was done; and where. Causes carry the names by which the judgement knows
them; finer causes say under which of these they teach the odds.
"""

from django.utils.translation import gettext_lazy as _

from fleet.visits.cause_names import CAUSES, DANGERS, TEACHES

ITEMS = {
    "modules": _("modules"),
    "frame": _("pole and frame"),
    "strings": _("strings and connectors"),
    "box": _("controller box"),
    "joint": _("cable joint in the well"),
    "cable": _("drop cable"),
    "pump": _("pump"),
    "main": _("rising main"),
    "valve": _("non-return valve"),
    "clamp": _("hanging clamp and rope"),
    "well": _("well"),
    "probe": _("dry-run probe"),
    "float": _("float switch"),
    "tank": _("tank and lines"),
    "meter": _("water meter"),
    "fence": _("fence"),
    "paper": _("record"),
    "none": _("nothing"),
}

FAILURE_MODES = {
    "no_water": _("no water"),
    "less_water": _("less water"),
    "comes_and_goes": _("comes and goes"),
    "late_start": _("starts late, stops early"),
    "stops_at_noon": _("stops in strong sun"),
    "bad_water": _("water is not clean"),
    "danger": _("dangerous, still runs"),
    "wrong_reading": _("reads wrong"),
    "worn": _("worn, still runs"),
    "none": _("no fault"),
}

MECHANISMS = {
    "covered": _("covered"),
    "broken": _("broken"),
    "loose": _("loose"),
    "corroded": _("corroded"),
    "burnt": _("burnt"),
    "wet": _("water got in"),
    "worn": _("worn down"),
    "blocked": _("blocked"),
    "slipped": _("slipped"),
    "misaligned": _("turned or tilted"),
    "misset": _("set wrongly"),
    "missing": _("missing"),
    "dry": _("ran dry"),
    "leaking": _("leaks"),
    "aged": _("aged"),
    "unknown": _("not known"),
    "none": _("none"),
}

DETECTIONS = {
    "figures": _("by its figures"),
    "call": _("someone rang"),
    "inspection": _("at an inspection"),
    "reading": _("by a reading on site"),
    "eye": _("by looking"),
    "after_pulling": _("after it was pulled"),
}

ACTIONS = {
    "cleaned": _("cleaned"),
    "tightened": _("tightened"),
    "adjusted": _("adjusted or reset"),
    "remade": _("joint or connection made anew"),
    "repaired": _("repaired in place"),
    "replaced": _("replaced"),
    "lowered": _("pump hung deeper"),
    "cut_back": _("trees or grass cut back"),
    "moved": _("moved"),
    "made_safe": _("made safe only"),
    "explained": _("explained, nothing to mend"),
    "part_awaited": _("waits for a part"),
    "none": _("nothing"),
}

OUTCOMES = {
    "restored": _("water is back as expected"),
    "in_order": _("in order"),
    "explained": _("explained, no fault"),
    "part_awaited": _("waits for a part"),
    "not_mended": _("not mended"),
    "not_reached": _("place was not reached"),
    "fits": _("place is fit"),
    "moved": _("moved"),
    "retired": _("retired"),
}

# Parts that cars carry, and the causes for which they are taken along (field practice; common practice, no source).
PARTS = {
    "wash_kit": (_("soft cloth, brush, water can"), ["dirt"]),
    "saw": (_("saw and pruning hook"), ["shade_before_noon", "shade_after_noon"]),
    "frame_bolts": (_("bolts and clamps for the frame"), ["frame_turned"]),
    "connectors": (_("connector pairs and crimp tool"), ["string_open", "string_reversed", "poor_terminal"]),
    "fuse": (_("string fuses"), ["string_open", "string_reversed"]),
    "module": (_("module"), ["module_cracked", "module_aged", "theft"]),
    "controller": (_("controller"), ["stands_still", "cuts_out", "controller_failed", "controller_hot", "lightning"]),
    "surge": (_("surge protection"), ["lightning"]),
    "probe": (_("dry-run probe"), ["probe_false", "cuts_out"]),
    "float_switch": (_("float switch"), ["float_stuck", "stands_still"]),
    "joint_kit": (_("cable joint kit, in date"), ["poor_joint", "cable_wet"]),
    "drop_cable": (_("drop cable"), ["cable_wet", "cable_thin", "animals"]),
    "pump": (_("pump or pump end"), ["pump_worn", "stands_still", "lightning"]),
    "strainer": (_("intake strainer"), ["inlet_blocked", "sand", "scale"]),
    "fittings": (_("pipe fittings and inserts"), ["main_leaks"]),
    "valve": (_("non-return valve"), ["valve_leaks", "main_leaks"]),
    "clamp": (_("hanging clamp and rope"), ["clamp_slipped"]),
    "tripod": (
        _("tripod, winch, second clamp"),
        ["pump_worn", "inlet_blocked", "main_leaks", "poor_joint", "cable_wet", "water_sinks", "clamp_slipped", "sand"],
    ),
    "meter": (_("water meter"), ["meter_stands", "meter_slow"]),
    "tank_parts": (_("valve, patch, overflow pipe"), ["tank_leaks", "valve_shut"]),
    "chlorine": (
        _("chlorine, test kit, goggles"),
        ["pump_worn", "inlet_blocked", "main_leaks", "poor_joint", "cable_wet"],
    ),
}

# What always rides along: without these no reading can be taken.
ALWAYS = [
    _("bucket of known litres and stopwatch"),
    _("dip meter"),
    _("voltmeter and direct-current clamp"),
    _("irradiance cell or a clean reference module"),
    _("500 V insulation tester"),
    _("lock and tags, gloves"),
    _("first-aid box and water"),
]

# Asked by telephone before anyone drives. `hint`: what an answer may settle without a visit.
PHONE_QUESTIONS = [
    {
        "code": "tank_full",
        "ask": _("Is the tank full?"),
        "kind": "yes_no",
        "hint": {"yes": _("A full tank stops the pump. Ask them to draw it down and to ring again in three days.")},
    },
    {
        "code": "any_water",
        "ask": _("Does any water come?"),
        "kind": "choice",
        "options": {
            "none": _("none"),
            "less": _("less than before"),
            "sometimes": _("sometimes"),
            "normal": _("as before"),
        },
        "hint": {},
    },
    {"code": "since", "ask": _("Since when?"), "kind": "note", "hint": {}},
    {
        "code": "valves",
        "ask": _("Are all valves to the tank and taps open?"),
        "kind": "yes_no",
        "hint": {"no": _("Ask them to open the valves by hand and to ring again.")},
    },
    {
        "code": "dirty",
        "ask": _("Are the modules dusty or dirty?"),
        "kind": "yes_no",
        "hint": {"yes": _("Ask them to wash with a soft cloth, early in the morning when the glass is cool.")},
    },
    {
        "code": "storm",
        "ask": _("Was there a storm or thunder?"),
        "kind": "yes_no",
        "hint": {"yes": _("Lightning: take controller and surge protection. Nobody touches the box.")},
    },
    {
        "code": "theft",
        "ask": _("Is anything missing or broken?"),
        "kind": "yes_no",
        "hint": {"yes": _("Ask for a police paper and keep people away from bare wires.")},
    },
    {"code": "lamp", "ask": _("What does the lamp or display show, seen from outside?"), "kind": "note", "hint": {}},
    {
        "code": "sound",
        "ask": _("Does it hum, knock, or is water heard falling in the well?"),
        "kind": "note",
        "hint": {},
    },
    {
        "code": "tingle",
        "ask": _("Does anyone feel a tingle at the well head or the taps?"),
        "kind": "yes_no",
        "hint": {"yes": _("Danger: keep everybody away from the well head and send someone today.")},
    },
]
PHONE_CAUTION = _("The caretaker opens nothing, touches no wire and does not climb.")

__all__ = [
    "ACTIONS",
    "ALWAYS",
    "CAUSES",
    "DANGERS",
    "DETECTIONS",
    "FAILURE_MODES",
    "ITEMS",
    "MECHANISMS",
    "OUTCOMES",
    "PARTS",
    "PHONE_CAUTION",
    "PHONE_QUESTIONS",
    "TEACHES",
]
