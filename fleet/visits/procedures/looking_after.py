"""Inspection, fault call, relocation, retirement."""

from django.utils.translation import gettext_noop as _

from fleet.visits.procedures import shared_electric as electric
from fleet.visits.procedures import shared_steps as common
from fleet.visits.procedures.building import (
    choice,
    clock,
    is_no,
    is_yes,
    mark,
    note,
    number,
    one_of,
    photo,
    step,
    yes_no,
)


def _look():
    return step(
        "look",
        _("Look round"),
        _(
            "Modules, frame, cables, box, seal, paint line, leaks, trees. One overview photo; then a photo of each "
            "fault only."
        ),
        cautions=["HEIGHT", "DC"],
        captures=[
            choice(
                "dirt",
                _("The modules are"),
                [
                    ("clean", _("clean")),
                    ("dusty", _("dusty")),
                    ("dirty", _("dirty")),
                    ("droppings", _("spotted by birds")),
                ],
            ),
            yes_no("shade", _("Something throws shade on the modules")),
            yes_no("cracked", _("A module is cracked or burnt")),
            yes_no("frame_firm", _("The frame is firm and faces where it should")),
            yes_no("chewed", _("A cable is chewed, loose or bare")),
            yes_no("paint_line", _("The paint line from pipe to clamp is whole")),
            yes_no("leaks", _("Water leaks somewhere")),
            photo("overview", _("Overview photo"), required=False),
            photo("faults", _("Photo of each fault"), required=False),
        ],
        rules=[
            is_no(
                "cracked", _("Keep off and keep it dry: a cracked module can be live. Note it as a finding."), stop=True
            ),
            is_yes("frame_firm", _("Note it as a finding, with the bearing it faces now.")),
            is_no("chewed", _("Isolate before you touch it. Note it as a finding.")),
            is_yes("paint_line", _("The main may have slipped in its clamp. Note it as a finding.")),
            is_no("leaks", _("Note where, as a finding.")),
        ],
    )


def _wash():
    return step(
        "wash",
        _("Wash, then the same test again"),
        _("Soft cloth, clean water, modules cool. Then repeat the spot test: the gain is what the dirt cost."),
        cautions=["HEIGHT", "DC", "GLASS"],
        needed=False,
        captures=[yes_no("washed", _("Modules washed"))],
    )


def _recovery():
    return step(
        "recovery",
        _("Stop, rest, recovery"),
        _("Stop the pump, watch the level come back. The trend tells a tired well from a tired pump."),
        cautions=["WELL", "CLEAN"],
        needed=False,
        captures=[
            number("static_level_m", _("Level after rest, below datum"), "m", -5, 400),
            number("recovery_min", _("Minutes it took"), "min", 0, 5000),
        ],
    )


def _small_repairs():
    return step(
        "small_repairs",
        _("Small repairs and parts"),
        _("What you could mend at once. Put parts and findings on their own pages; then an after-test."),
        cautions=["DC"],
        needed=False,
        captures=[note("done", _("What was done"))],
    )


def inspection():
    washed = common.spot_step(
        "after_wash",
        _("Spot test after washing"),
        _("The same readings again, within the hour."),
        "visit",
        otherwise=_("Washing did not bring it back. Look further: strings, level, first water."),
        needed=False,
    )
    return [
        common.arrive(),
        common.ask_caretaker(),
        common.meter_and_tank(),
        _look(),
        common.spot_test(),
        _wash(),
        washed,
        _recovery(),
        electric.strings_isolated(needed=False),
        electric.string_currents(),
        {**electric.insulation(new=False), "needed": False},
        {**electric.loop_and_earth(), "needed": False},
        common.cut_offs(),
        _small_repairs(),
        common.after_test(needed=False),
        common.say_goodbye(),
    ]


def _as_found():
    return step(
        "as_found",
        _("Make safe; note the state as found"),
        _("Danger first. Photos, lamp, switches, before anything is touched or reset."),
        cautions=["DC", "ALONE", "STORM"],
        captures=[
            yes_no("danger", _("Something is dangerous: bare wire, burnt box, tingling at the well head, open well")),
            note("lamp", _("Lamp, display, switches as found")),
            choice("running", _("The pump is"), [("running", _("running")), ("still", _("standing still"))]),
            photo("as_found_photo", _("Photos as found")),
        ],
        rules=[
            is_no(
                "danger",
                _("Keep people away, cover and isolate first. Call the desk if you cannot make it safe."),
                stop=True,
            )
        ],
    )


def _five_readings():
    return step(
        "five_readings",
        _("Five quick readings"),
        _(
            "They split most of it: is the tank full; string voltages and currents; volts and amps at a known sun; "
            "bucket flow with the time to first water; static and pumping level."
        ),
        cautions=["DC", "WELL"],
        captures=[
            choice(
                "tank",
                _("The tank is"),
                [("full", _("full")), ("part", _("part full")), ("empty", _("empty")), ("no_tank", _("no tank"))],
            ),
            number(
                "string_voc_v",
                _("Open-circuit voltage of each string"),
                "V",
                0,
                1500,
                repeats="strings",
                required=False,
            ),
            number("string_a", _("Current of each string"), "A", 0, 100, repeats="strings", required=False),
            number("first_water_min", _("Minutes to first water"), "min", 0, 240, required=False),
        ],
        rules=[
            one_of(
                "tank",
                ["part", "empty", "no_tank"],
                _("A full tank stops the pump: that is no fault. Draw it down and see it start."),
            )
        ],
    )


def _split():
    return step(
        "split",
        _("Find the part: strings, joints, box, cable, pump"),
        _(
            "In this order, each shown by a reading and not by swapping parts. Current low for the sun: the electric "
            "side. Current right and flow wrong: the water side; then the level parts the well from the pump."
        ),
        cautions=["DC", "CAP"],
        captures=[
            choice(
                "side",
                _("The readings point to"),
                [
                    ("array", _("modules and strings")),
                    ("cable", _("cable and joints")),
                    ("box", _("controller box")),
                    ("pump", _("pump and rising main")),
                    ("well", _("the well")),
                    ("tank", _("tank and lines")),
                    ("none", _("nothing is wrong")),
                ],
            ),
            note("shown_by", _("Which test showed it, and its result"), required=True),
        ],
    )


def _surface_cleared():
    return step(
        "why_pull",
        _("Before you pull"),
        _("Pull only when everything above ground is cleared."),
        cautions=["LIFT", "WELL", "STORM"],
        needed=False,
        captures=[
            yes_no("surface_cleared", _("Array, box, cable to the well head and valves are cleared by readings")),
            note("why", _("Why it must come out"), required=True),
        ],
        rules=[is_yes("surface_cleared", _("Clear the surface first: it is the cheaper half."), stop=True)],
    )


def _optional(step_):
    return {**step_, "needed": False}


def repair():
    return [
        common.arrive(),
        _as_found(),
        common.ask_caretaker(),
        _five_readings(),
        common.spot_step(
            "before_test",
            _("Spot test before the work"),
            _("If it runs at all: the same two minutes."),
            "visit",
            otherwise=_("Less than expected, as told. Go on to find the part."),
            needed=False,
        ),
        _split(),
        _surface_cleared(),
        _optional(electric.make_safe()),
        _optional(common.pull()),
        _optional(electric.joint()),
        _optional(common.hang()),
        _optional(electric.insulation(new=False)),
        _optional(common.disinfect()),
        common.after_test(),
        common.seal(),
        common.say_goodbye(),
    ]


def relocation():
    return [
        step(
            "consent",
            _("Why, and who agreed"),
            _("Both communities agree on paper before a bolt is turned."),
            cautions=["ALONE"],
            captures=[
                note("why", _("Why it moves"), required=True),
                yes_no("consent", _("Both communities have signed")),
                photo("consent_photo", _("Photo of the signed paper")),
            ],
            rules=[is_yes("consent", _("Do not take a community's water without their word on paper."), stop=True)],
        ),
        step(
            "new_place_fits",
            _("The new place fits"),
            _(
                "A new survey and a new sizing must say that it fits: head, bore, yield, voltage window, cable. If "
                "not, the set goes to the store."
            ),
            captures=[
                choice("fits", _("Survey and sizing say"), [("fits", _("fits")), ("does_not", _("does not fit"))]),
                note("new_site", _("Where it goes"), required=True),
            ],
            rules=[one_of("fits", ["fits"], _("Store the set; do not hang it where it does not fit."), stop=True)],
        ),
        common.spot_step(
            "last_test",
            _("Last spot test and meter figure"),
            _("Its last word at this place."),
            "visit",
            otherwise=_("Note what is wrong before it moves: it would move along."),
            needed=False,
        ),
        common.meter_and_tank(),
        electric.make_safe(),
        common.pull(),
        electric.insulation(new=False),
        electric.loop_and_earth(),
        step(
            "old_well",
            _("The old well"),
            _("Close it at this hour. People must have another source."),
            cautions=["WELL"],
            captures=[
                clock("closed_at", _("The old place was closed at")),
                yes_no("capped", _("The well is capped and locked")),
                note("other_source", _("Where people draw now"), required=True),
                photo("cap_photo", _("Photo of the cap")),
            ],
            rules=[is_yes("capped", _("Never leave an open well."), stop=True)],
        ),
        step(
            "carry",
            _("Carry"),
            _("Modules upright and padded; no cable as a sling; pump dry and plugged."),
            captures=[yes_no("whole", _("Everything arrived whole"))],
            rules=[is_yes("whole", _("Note what broke as a finding, and its serial under parts."))],
        ),
        common.hang(),
        electric.strings_isolated(),
        common.first_water(),
        common.spot_test("commissioning"),
        common.disinfect(),
        common.seal(),
        common.hand_over(),
    ]


def retirement():
    return [
        step(
            "decision",
            _("Decision"),
            _("Who decided, why, and what a repair would cost against a new one."),
            captures=[
                note("who", _("Who decided"), required=True),
                note("why", _("Why"), required=True),
                number("repair_cost", _("Cost of a repair"), _("money"), 0, 1e9, required=False),
            ],
        ),
        common.meter_and_tank(),
        common.spot_step(
            "last_test",
            _("Last spot test"),
            _("If it still runs."),
            "visit",
            otherwise=_("As expected at the end of its life. Keep the reading."),
            needed=False,
        ),
        electric.make_safe(),
        {**common.pull(), "text": _("Two people at least. Cut no rope before the clamp holds.")},
        step(
            "well_end",
            _("The well"),
            _("Kept for another pump, capped, or sealed to local law."),
            cautions=["WELL"],
            captures=[
                choice(
                    "well",
                    _("The well is"),
                    [
                        ("kept", _("kept for another pump, covered")),
                        ("capped", _("capped")),
                        ("sealed", _("sealed to local law")),
                    ],
                ),
                photo("well_end_photo", _("Photo of the well as left")),
            ],
        ),
        step(
            "frame_down",
            _("Frame and modules down"),
            _("In calm air. Modules covered, leads safe in pairs."),
            cautions=["HEIGHT", "LIFT", "DC"],
            captures=[yes_no("down", _("Frame and modules are down"))],
            needed=False,
        ),
        step(
            "end_states",
            _("Where each part goes"),
            _("Every serial has an end: reused where, stored where, scrapped with the taker's paper, or lost."),
            captures=[
                note("ends", _("Each serial and where it goes"), required=True),
                choice(
                    "pump_end",
                    _("The pump is"),
                    [("stored", _("stored")), ("scrapped", _("scrapped")), ("lost", _("lost or stolen"))],
                ),
                photo("papers", _("Photo of the taker's paper"), required=False),
            ],
        ),
        step(
            "people_next",
            _("People's next source"),
            _("Nobody is left without being told."),
            captures=[
                note("next_source", _("Where people draw now"), required=True),
                mark("caretaker_mark", _("Caretaker's mark")),
            ],
        ),
    ]


__all__ = ["inspection", "relocation", "repair", "retirement"]
