"""Steps that several procedures have in common.

Acceptance figures: strings within 5 % of each other and the tests' order as in IEC 62446-1 (read second-hand);
insulation of pump and drop cable 2 Mohm new and 0.5 Mohm in use from a trade table for submersible motors; a sleeve
joint 50 Mohm after an hour under water from one trade handbook; the rest is common practice, no source.
"""

from django.utils.translation import gettext_noop as _

from fleet.visits.procedures.building import (
    as_expected,
    between,
    choice,
    clock,
    is_yes,
    mark,
    near,
    near_known,
    not_below_known,
    note,
    number,
    one_of,
    photo,
    rising,
    serial,
    spot,
    step,
    yes_no,
)


def arrive():
    return step(
        "arrive",
        _("Arrive and talk it through"),
        _(
            "Greet the caretaker and say what you will do. Walk round once and look before touching anything. Read the "
            "site code on the plate."
        ),
        cautions=["ALONE", "STORM"],
        captures=[
            yes_no("right_site", _("Site code on the plate is the right one")),
            note("present", _("Who is present")),
            photo("overview", _("Four photos: well head, array, box, tank"), least=4, required=False),
        ],
        rules=[
            is_yes(
                "right_site",
                _("This seems to be another site. Check the plate and the visit before going on."),
                stop=True,
            )
        ],
    )


def ask_caretaker():
    return step(
        "ask_caretaker",
        _("Ask the caretaker first"),
        _("Before any meter comes out: what do they see, since when, how many days without water. Write their words."),
        cautions=["ALONE", "STORM"],
        captures=[
            note("words", _("In the caretaker's words"), required=True),
            number("days_without_water", _("Days without water since the last visit"), _("days"), 0, 2000),
            choice(
                "since",
                _("It began"),
                [
                    ("at_once", _("from one day to the next")),
                    ("slowly", _("slowly")),
                    ("comes_and_goes", _("comes and goes")),
                    ("nothing", _("nothing is wrong")),
                ],
            ),
        ],
    )


def meter_and_tank():
    return step(
        "meter",
        _("Meter figure, tank and sky"),
        _("Read all the digits with the clock time. A figure without its hour is a day's water uncertain."),
        captures=[
            number("meter_total_l", _("Meter figure"), "L", 0, 1e10, required=False),
            clock("meter_at", _("Read at"), required=False),
            photo("meter_photo", _("Photo of the meter"), required=False),
            choice(
                "tank",
                _("The tank is"),
                [("full", _("full")), ("part", _("part full")), ("empty", _("empty")), ("no_tank", _("no tank"))],
            ),
            choice("running", _("The pump is"), [("running", _("running")), ("still", _("standing still"))]),
            choice(
                "sky",
                _("The sky is"),
                [("clear", _("clear")), ("haze", _("hazy")), ("broken", _("broken cloud")), ("dull", _("dull"))],
            ),
        ],
        rules=[
            not_below_known(
                "meter_total_l",
                "last_meter_l",
                _(
                    "The figure is below the last one. Read it again; was the meter changed, or has it started "
                    "again from zero?"
                ),
            )
        ],
    )


def static_level():
    return step(
        "static_level",
        _("Static level after rest"),
        _("From the datum mark. Say how long the pump has rested."),
        cautions=["WELL", "CLEAN"],
        captures=[
            number("static_level_m", _("Static level below datum"), "m", -5, 400),
            number("rested_h", _("Hours since the pump last ran"), "h", 0, 1000),
        ],
        rules=[
            between("rested_h", 0.5, None, _("Rested less than half an hour: the level may still be rising.")),
            near_known(
                "static_level_m",
                "last_static_level_m",
                0.25,
                _("More than a quarter away from the last static level. Measure once more from the datum mark."),
            ),
        ],
    )


def first_water():
    return step(
        "first_water",
        _("Start, water to waste, time to first water"),
        _(
            "Start the watch when the pump starts. Note whether the rising main was full or drained. Let it run "
            "until the water is clear."
        ),
        cautions=["CLEAN"],
        captures=[
            clock("started_at", _("Pump started at")),
            number("first_water_min", _("Minutes to first water"), "min", 0, 240),
            choice(
                "main",
                _("The rising main was"),
                [("drained", _("drained")), ("full", _("full")), ("unknown", _("not known"))],
            ),
            choice(
                "clear", _("The water is"), [("clear", _("clear")), ("cloudy", _("cloudy")), ("sand", _("with sand"))]
            ),
        ],
        rules=[
            one_of(
                "clear",
                ["clear"],
                _("Let it run longer. Sand that does not stop wears the pump: note it as a finding."),
            )
        ],
    )


def spot_step(code, title, text, test_kind, *, otherwise, cautions=("DC",), needed=True):
    return step(
        code,
        title,
        text,
        cautions=list(cautions),
        needed=needed,
        captures=[spot("spot", _("Sun, volts, amps, flow and level in the same two minutes"), test_kind)],
        rules=[as_expected("spot", otherwise)],
    )


def spot_test(test_kind="visit"):
    return spot_step(
        "spot_test",
        _("Spot test"),
        _(
            "Wait for steady sun and a steady level. Three buckets. Irradiance, volts, amps, flow and level within the "
            "same two minutes. Below about 500 W/m² the answer is weak."
        ),
        test_kind,
        otherwise=_("Less than expected. Find out now, before you leave: what the page says to check comes first."),
    )


def after_test(needed=True):
    return spot_step(
        "after_test",
        _("After-test"),
        _("The same spot test again, now that the work is done. A repair without it stays open."),
        "after_work",
        otherwise=_("Still less than expected. The visit stays open: say what is missing and which part is awaited."),
        needed=needed,
    )


def cut_offs():
    return step(
        "cut_offs",
        _("Cut-offs, valves, float switch, meter against bucket"),
        _(
            "Dry-run probe by hand, float switch both ways, every valve full open. Meter against the bucket, three "
            "runs."
        ),
        cautions=["HEIGHT", "CLEAN"],
        captures=[
            choice(
                "dry_run",
                _("Dry-run cut-off"),
                [("works", _("stops and restarts")), ("fails", _("does not")), ("none", _("none fitted"))],
            ),
            choice(
                "float",
                _("Float switch"),
                [("works", _("stops and restarts")), ("fails", _("does not")), ("none", _("none fitted"))],
            ),
            yes_no("valves_open", _("All valves full open")),
            number("meter_l", _("Litres by the meter"), "L", 0, 10000, required=False),
            number("bucket_l", _("Litres by the bucket"), "L", 0, 10000, required=False),
        ],
        rules=[
            one_of(
                "dry_run", ["works", "none"], _("The dry-run cut-off does not work: a dry pump is soon a dead pump.")
            ),
            one_of("float", ["works", "none"], _("The float switch does not work: mend or note it.")),
            is_yes("valves_open", _("Open the valve, or note why it stays shut.")),
            near("meter_l", "bucket_l", 0.05, _("Meter and bucket differ by more than 5 %: note both figures.")),
        ],
    )


def disinfect():
    return step(
        "disinfect",
        _("Disinfect, flush, test, sample"),
        _("After anything was pulled or opened. The tap says do not drink until the residual is below 0.5 mg/L."),
        cautions=["CHLOR", "CLEAN", "WELL"],
        captures=[
            number("dose_g", _("Chlorine product used"), "g", 0, 100000),
            number("contact_min", _("Minutes it stood"), "min", 0, 3000),
            number("residual_mg_l", _("Residual after flushing"), "mg/L", 0, 50),
            yes_no("sample_taken", _("Water sample taken"), required=False),
        ],
        rules=[
            between("contact_min", 30, None, _("Let it stand thirty minutes or longer.")),
            between("residual_mg_l", None, 0.5, _("Flush on: people drink only below 0.5 mg/L."), stop=True),
        ],
    )


def seal():
    return step(
        "seal",
        _("Mark the pipe, seal the well, lock the box"),
        _("Paint line from pipe to clamp. Seal and breather in place. Every gland and cover tight. Box locked."),
        cautions=["WELL"],
        captures=[
            yes_no("sealed", _("Well is sealed, breather in place")),
            yes_no("glands_tight", _("Every gland and cover was tightened by hand, one by one")),
            yes_no("box_locked", _("Box is locked")),
            photo("seal_photo", _("Photo of seal and paint line")),
        ],
        rules=[
            is_yes("sealed", _("Do not leave the well open."), stop=True),
            is_yes("glands_tight", _("One loose gland lets in water and ants. Go round again.")),
            is_yes("box_locked", _("Lock the box before you leave.")),
        ],
    )


def say_goodbye():
    return step(
        "goodbye",
        _("Tell the caretaker, agree the next date"),
        _("Say what was found, what was done and when someone comes next. The caretaker marks that it was said."),
        captures=[
            note("told", _("What was said"), required=False),
            mark("caretaker_mark", _("Caretaker's mark"), required=False),
        ],
    )


def pull():
    return step(
        "pull",
        _("Pull the pump"),
        _("Two people at least. Clamp as second hold at every stop. Lay pipe, rope and cable out on a clean sheet."),
        cautions=["LIFT", "WELL", "STORM", "CLEAN"],
        captures=[
            number("hands", _("People who lift"), _("people"), 1, 30),
            choice(
                "rig",
                _("Lifted with"),
                [("tripod", _("tripod and winch")), ("hands", _("trained hands")), ("crane", _("crane"))],
            ),
            number("pulled_depth_m", _("Depth by the marks on the pipe"), "m", 0, 400, required=False),
            serial("pump_serial_out", _("Serial of the pump that came out"), "pump"),
            photo("pulled_photo", _("Photo of pump, intake and joints as they came out")),
        ],
        rules=[between("hands", 2, None, _("Nobody pulls alone."), stop=True)],
    )


def hang():
    return step(
        "hang",
        _("Lower the pump"),
        _(
            "Pipe carries the pump. The rope is longer than the pipe and the cable longer than the rope, so that the "
            "cable never carries. Couplings tight, cable tied every two to three metres with slack, as pipe stretches."
        ),
        cautions=["LIFT", "WELL", "CLEAN", "STORM"],
        captures=[
            serial("pump_serial", _("Pump serial"), "pump"),
            number("pipe_m", _("Pipe in the well"), "m", 0, 400),
            number("rope_m", _("Safety rope"), "m", 0, 450),
            number("cable_m", _("Drop cable, well head to pump"), "m", 0, 500),
            number("setting_depth_m", _("Setting depth below datum"), "m", 0, 400),
            yes_no("couplings_tight", _("Every coupling tightened and marked")),
            note("touched", _("Anything that touched or stuck on the way down")),
            photo("pump_at_mouth", _("Photo: pump at the well mouth, joints and ties")),
        ],
        rules=[
            rising(
                ["pipe_m", "rope_m", "cable_m"],
                _("Pipe shorter than rope, rope shorter than cable: otherwise the cable or the rope carries the pump."),
                stop=True,
            ),
            is_yes("couplings_tight", _("Tighten and mark every coupling before it goes down."), stop=True),
        ],
    )


def hand_over():
    return step(
        "hand_over",
        _("Teach and hand over"),
        _(
            "Show what to wash, what to read, what never to open, who to call. The caretaker shows it back. Say it "
            "aloud in their language."
        ),
        captures=[
            note("taught", _("What was shown"), required=True),
            yes_no("shown_back", _("The caretaker showed it back")),
            yes_no("paper_left", _("Drawing, expected litres by month and telephone numbers left")),
            mark("caretaker_mark", _("Caretaker's mark")),
        ],
        rules=[is_yes("shown_back", _("Go through it once more."))],
    )
