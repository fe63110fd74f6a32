"""What can hurt someone at a well, said in full the first time and in short after.

The substance is trade practice with published rules where a figure stands (WHO on disinfecting: no chlorine into water
above 20 NTU, thirty minutes' contact, use again only below 0.5 mg/L; half an hour after the last thunder is a weather
services' rule, from memory; five minutes for stored charge where no label says otherwise is common practice, no
source). Local codes, the maker's sheet and a licensed person come first; every caution says so by ending alike.
"""

from django.utils.translation import gettext_noop as _

CODES_FIRST = _("Local codes, the maker's sheet and a licensed person come before this page.")

CAUTIONS = {
    "DC": {
        "title": _("Live direct current"),
        "full": _(
            "Modules are live in any daylight and cannot be switched off. Cover them, open the isolator, lock it, and "
            "prove both poles dead with a meter before you touch. Never pull apart a connector that carries current: "
            "a direct-current arc does not go out by itself. Meter and gloves must be rated for the open-circuit "
            "voltage. Where the law asks for a licensed person, wait for one."
        ),
        "short": _("Live in daylight. Isolate, lock, prove dead. Never part a connector under load."),
    },
    "CAP": {
        "title": _("Stored charge in the box"),
        "full": _(
            "The box keeps its charge after it is isolated. Wait the time on its label; if there is none, wait five "
            "minutes. Then measure before you touch."
        ),
        "short": _("Wait the label's time (none: 5 minutes), then measure before touching."),
    },
    "HEIGHT": {
        "title": _("Work above the ground"),
        "full": _(
            "Use a sound ladder with its feet held. Wear a harness where the law asks for one. Not in wind, not on wet "
            "steel. Never stand on modules. Nobody stands below."
        ),
        "short": _("Sound ladder, held. No wind, no wet, nobody below, never stand on modules."),
    },
    "LIFT": {
        "title": _("Load over an open well"),
        "full": _(
            "A full rising main is heavy: about 0.8 kg a metre for 32 mm pipe, 1.2 kg for 40 mm, 1.9 kg for 50 mm, and "
            "cable and pump on top. A hundred metres weigh 80 to 200 kg. Use a rated tripod and winch, or enough "
            "trained hands. The clamp as second hold stays on at all times. Nothing ever hangs by the cable. No hand "
            "or foot under the load or inside a loop. Wear gloves."
        ),
        "short": _("Rated tripod or enough hands. Second hold always on. Nothing hangs by the cable."),
    },
    "WELL": {
        "title": _("Open well"),
        "full": _(
            "Cover or guard the open mouth at once. Tie tools to lines. Keep children and animals away. Nobody goes "
            "down: bad air kills without warning."
        ),
        "short": _("Cover the mouth. Tools on lines. Children away. Nobody goes down."),
    },
    "HOT": {
        "title": _("Flame and hot sleeves"),
        "full": _(
            "Shrink sleeves away from dry grass, fuel and the well mouth. Keep water at hand. Let the joint cool "
            "before you hold it. Keep to fire bans."
        ),
        "short": _("No dry grass, no fuel, water at hand. Let it cool."),
    },
    "STORM": {
        "title": _("Thunder"),
        "full": _(
            "When you hear thunder, stop. Leave array, mast and well. Go on thirty minutes after the last thunder."
        ),
        "short": _("Thunder: stop and leave. Go on 30 minutes after the last."),
    },
    "CLEAN": {
        "title": _("People drink this water"),
        "full": _(
            "Clean hands and tools. Pipe, rope and pump lie on a clean sheet, never on the ground. After anything was "
            "pulled or opened, disinfect. No chlorine into water cloudier than 20 NTU. Let it stand thirty minutes or "
            "longer. People drink again only when the residual is below 0.5 mg/L; until then the tap says: do not "
            "drink."
        ),
        "short": _("Clean hands, clean sheet. Disinfect after any pull. Drink only below 0.5 mg/L."),
    },
    "CHLOR": {
        "title": _("Chlorine powder"),
        "full": _(
            "The powder gives off poisonous gas. Mix it outdoors, with goggles and gloves, upwind, powder into water. "
            "Never with acid or any other cleaner."
        ),
        "short": _("Outdoors, goggles, gloves, upwind. Never with acid."),
    },
    "ALONE": {
        "title": _("Alone on the road and at the well"),
        "full": _(
            "The base knows your route and when you are back. No lifting, no height, no live work alone. Take water, "
            "shade and a first-aid box. The road is a danger too: do not drive tired or in the dark."
        ),
        "short": _("Base knows your route. No lifting, height or live work alone."),
    },
    "GLASS": {
        "title": _("Hot glass"),
        "full": _(
            "Wash only when the modules are cool, early or late. Cold water breaks hot glass. No water on a cracked "
            "module: it can be live where it is wet. Soft cloth, no step on the glass."
        ),
        "short": _("Cool modules only. No water on cracked glass."),
    },
}
