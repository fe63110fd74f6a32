"""Steps on the electric side and in the cable that several procedures have in common; sources as in `shared_steps`."""

from django.utils.translation import gettext_noop as _

from fleet.visits.procedures.building import (
    alike,
    between,
    choice,
    is_yes,
    near_known,
    note,
    number,
    one_of,
    photo,
    step,
    yes_no,
)


def strings_isolated(needed=True):
    return step(
        "strings_isolated",
        _("Strings: polarity and voltage, before they are joined"),
        _(
            "Every string open. Polarity of each first, then the open-circuit voltage of each. Only then may they be "
            "joined."
        ),
        cautions=["DC"],
        needed=needed,
        captures=[
            choice(
                "polarity", _("Polarity of every string"), [("right", _("right")), ("reversed", _("one is reversed"))]
            ),
            number("string_voc_v", _("Open-circuit voltage of each string"), "V", 0, 1500, repeats="strings"),
            number("cell_c", _("Cell temperature, back of a module"), "°C", -20, 95, required=False),
            photo("voc_photo", _("Photo of a meter reading"), required=False),
        ],
        rules=[
            one_of(
                "polarity",
                ["right"],
                _("Do not join the strings. Find the reversed one and rewire it first."),
                stop=True,
            ),
            alike(
                "string_voc_v",
                0.05,
                _(
                    "The strings differ by more than 5 %. Look for a module left out, a shorted "
                    "diode or a bad connector."
                ),
            ),
        ],
    )


def insulation(new):
    least = 2.0 if new else 0.5
    said = (
        _("A new pump and cable in the well should show 2 Mohm or more. Find the damage before the pump runs.")
        if new
        else _("Below 0.5 Mohm there is damage in cable, joint or motor. Keep people off the well head and find it.")
    )
    return step(
        "insulation",
        _("Insulation: array, then pump and cable"),
        _(
            "Array first, controller off. Then pump and drop cable at 500 V with both leads taken off the box. Never "
            "test through electronics."
        ),
        cautions=["DC", "CAP"],
        captures=[
            number("array_mohm", _("Array to earth"), "Mohm", 0, 10000, required=False),
            number("pump_mohm", _("Pump and cable to earth"), "Mohm", 0, 10000),
            number("test_v", _("Test voltage at the pump"), "V", 50, 1000, required=False),
        ],
        rules=[
            between(
                "array_mohm", 0.5, None, _("Array insulation below 0.5 Mohm. Find the wet connector or chewed cable.")
            ),
            between("pump_mohm", least, None, said, stop=new),
        ],
    )


def loop_and_earth():
    return step(
        "loop_earth",
        _("Loop resistance and earth"),
        _(
            "Out and back through the motor, with both leads off the box. Compare with the cable table plus the "
            "motor's sheet now, and with itself on later visits."
        ),
        cautions=["CAP"],
        captures=[
            number("loop_ohm", _("Loop resistance of cable and motor"), "ohm", 0, 1000),
            number("earth_ohm", _("Earth resistance"), "ohm", 0, 10000, required=False),
        ],
        rules=[
            near_known(
                "loop_ohm",
                "last_loop_ohm",
                0.15,
                _("This differs by more than 15 % from the last loop resistance. A joint or the cable has changed."),
            )
        ],
    )


def string_currents():
    return step(
        "string_currents",
        _("String currents at work"),
        _("Zero the clamp first, same way round for each. In steady sun."),
        cautions=["DC"],
        captures=[number("string_a", _("Current of each string"), "A", 0, 100, repeats="strings")],
        rules=[alike("string_a", 0.05, _("The strings differ by more than 5 %. Dirt, shade, a fuse or a connector."))],
    )


def make_safe():
    return step(
        "make_safe",
        _("Isolate and prove dead"),
        _("Cover the modules, open and lock the isolator, wait, measure both poles against each other and to earth."),
        cautions=["DC", "CAP"],
        captures=[
            yes_no("isolated", _("Isolator open and locked")),
            number("volts_left", _("Voltage left at the pump's leads"), "V", 0, 1500),
        ],
        rules=[
            is_yes("isolated", _("Do not go on before the isolator is open and locked."), stop=True),
            between("volts_left", None, 12, _("Not dead yet. Wait and measure again."), stop=True),
        ],
    )


def joint():
    return step(
        "joint",
        _("Cable joint under water"),
        _(
            "Cut the conductors to different lengths so that the joints are staggered and no two face each other. "
            "Clean and dry. Sleeve each, then the outer sleeve: resin must be seen at both ends. After it cooled, "
            "an hour under water, then insulation."
        ),
        cautions=["HOT", "CLEAN"],
        captures=[
            note("kit", _("Joint kit and its use-by date"), required=True),
            yes_no("staggered", _("Conductor joints staggered: no two face each other")),
            yes_no("resin_both_ends", _("Resin seen at both ends of the sleeve")),
            number("joint_mohm", _("Insulation after one hour under water"), "Mohm", 0, 100000, required=False),
            number("joint_loop_ohm", _("Loop resistance of cable and motor"), "ohm", 0, 1000, required=False),
            photo("joint_open", _("Photo: joint open")),
            photo("joint_closed", _("Photo: joint closed")),
        ],
        rules=[
            is_yes(
                "staggered",
                _("Make the joint again: joints that face each other can touch through the sleeve."),
                stop=True,
            ),
            is_yes(
                "resin_both_ends", _("Without resin at both ends water will find its way in. Make it again."), stop=True
            ),
            between("joint_mohm", 50, None, _("Below 50 Mohm after an hour under water: make the joint again.")),
        ],
    )
