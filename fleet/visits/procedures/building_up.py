"""Survey, installation, commissioning."""

from django.utils.translation import gettext_noop as _

from fleet.visits.procedures import shared_electric as electric
from fleet.visits.procedures import shared_steps as common
from fleet.visits.procedures.building import (
    alike,
    between,
    choice,
    is_yes,
    mark,
    note,
    number,
    one_of,
    photo,
    serial,
    step,
    yes_no,
)

ABOVE_PROBE_M = 1.0  # pumping level above the cut-off probe, common practice, no source


def survey():
    return [
        common.arrive(),
        step(
            "place",
            _("Place and way in"),
            _("Stand at the well head for the position. Describe the road as the next driver needs it."),
            captures=[
                number("latitude_deg", _("Latitude"), "°", -90, 90),
                number("longitude_deg", _("Longitude"), "°", -180, 180),
                note("way_in", _("Way in: road, crossings, wet season, gate"), required=True),
                note("consent", _("Landowner's consent and committee"), required=True),
                choice(
                    "signal", _("Telephone signal"), [("good", _("good")), ("weak", _("weak")), ("none", _("none"))]
                ),
            ],
        ),
        step(
            "need",
            _("Need"),
            _("Count people and animals that draw here, and the hours they come. Keep the norm beside the number."),
            captures=[
                number("people", _("People"), _("people"), 0, 100000),
                number("cattle", _("Cattle"), _("animals"), 0, 100000),
                number("small_stock", _("Sheep and goats"), _("animals"), 0, 100000),
                number("need_m3_day", _("Need in the driest month"), "m³/d", 0, 10000),
                note("hours", _("Hours of drawing, other water in reach")),
            ],
        ),
        step(
            "well",
            _("The well"),
            _("Lower a dummy of the pump's size before you promise that it fits. Keep the datum mark."),
            cautions=["WELL", "CLEAN"],
            captures=[
                number("inside_diameter_mm", _("Inside diameter"), "mm", 30, 5000),
                number("depth_m", _("Depth"), "m", 1, 500),
                number("datum_above_ground_m", _("Datum above ground"), "m", -2, 5),
                yes_no("dummy_passed", _("The dummy went down and came up freely"), required=False),
                photo("well_photo", _("Photo of the well head with a tape"), required=False),
            ],
        ),
        common.static_level(),
        step(
            "test_pumping",
            _("Test pumping"),
            _(
                "Static level first, then a steady rate above the need, levels at set times, then recovery. If it "
                "cannot be done today the survey ends with: needs test pumping."
            ),
            cautions=["WELL", "CLEAN"],
            needed=False,
            captures=[
                number("test_flow_l_min", _("Steady rate"), "L/min", 0, 3500),
                number("test_level_m", _("Pumping level at that rate"), "m", 0, 400),
                number("recovery_min", _("Minutes to recover"), "min", 0, 5000, required=False),
                number("sand_after_15_min_ml", _("Sand in 20 litres after 15 minutes"), "mL", 0, 2000, required=False),
            ],
        ),
        step(
            "water",
            _("Water quality"),
            _("On the spot with the kit, the rest by sample."),
            cautions=["CLEAN"],
            needed=False,
            captures=[
                number("conductivity_us_cm", _("Conductivity"), "µS/cm", 0, 100000),
                number("water_c", _("Temperature"), "°C", 0, 60),
                number("ph", _("pH"), "pH", 0, 14),
                number("iron_mg_l", _("Iron"), "mg/L", 0, 100, required=False),
                number("turbidity_ntu", _("Turbidity"), "NTU", 0, 4000, required=False),
            ],
        ),
        step(
            "lift",
            _("Lift and run"),
            _("From the datum to the inlet of the tank; then along the pipe."),
            cautions=["HEIGHT"],
            captures=[
                number("rise_m", _("Rise from well head to tank inlet"), "m", -50, 200),
                number("run_m", _("Run of pipe"), "m", 0, 5000),
                number("tank_m3", _("Tank"), "m³", 0, 2000, required=False),
            ],
        ),
        step(
            "skyline",
            _("Skyline and ground for the array"),
            _("From the array spot: bearing and height angle of everything above the horizon. Growing trees count."),
            captures=[
                note("skyline_pairs", _("Bearing and height of each corner, for example 90:12, 110:20")),
                choice(
                    "ground",
                    _("Array spot"),
                    [("good", _("open and firm")), ("fence", _("needs a fence")), ("bad", _("shaded or floods"))],
                ),
                photo("skyline_photos", _("Photos of the four skylines"), least=4, required=False),
            ],
            rules=[one_of("ground", ["good", "fence"], _("Look for another spot for the array."))],
        ),
        step(
            "answer",
            _("What the survey says"),
            _("Decide here, so that nobody has to guess later."),
            captures=[
                choice(
                    "fit",
                    _("This place is"),
                    [("fit", _("fit")), ("not_fit", _("not fit")), ("needs_test", _("needs test pumping"))],
                ),
                note("because", _("Because"), required=True),
            ],
        ),
        common.say_goodbye(),
    ]


def _frame():
    return step(
        "frame",
        _("Footing, pole, frame, direction"),
        _(
            "Turn the frame to the bearing on the face-the-sun page, by the shadow at solar noon rather than by a "
            "compass near steel. Lower edge about 3 m up when unfenced, 1.5 m or lower when fenced."
        ),
        cautions=["HEIGHT"],
        captures=[
            note("concrete", _("Footing poured on, and left to set until")),
            number("mounting_height_m", _("Lower edge of the modules above ground"), "m", 0, 15),
            yes_no("fenced", _("Fenced")),
            number("tilt_deg", _("Tilt"), "°", 0, 90),
            number("azimuth_deg", _("Azimuth from true north"), "°", 0, 359.9),
            choice(
                "azimuth_by",
                _("Direction found by"),
                [("shadow", _("shadow at solar noon")), ("compass", _("compass")), ("map", _("map or landmark"))],
            ),
            photo("frame_side", _("Photo from the side with the level")),
            photo("frame_back", _("Photo from behind")),
        ],
        rules=[
            between("tilt_deg", 5, 60, _("A tilt below 5° keeps its dirt; above 60° it loses summer sun. Is it meant?"))
        ],
    )


def _modules():
    return step(
        "modules",
        _("Modules: serial and place"),
        _("From the left, from the top. Scan each label. Clamps to the maker's torque."),
        cautions=["DC", "HEIGHT"],
        captures=[
            serial("module_serials", _("Module serials in order"), "module", repeats="modules"),
            number("clamp_nm", _("Torque of the clamps"), "N·m", 0, 60, required=False),
            photo("module_labels", _("Photo of labels and back wiring")),
        ],
    )


def _box():
    return step(
        "box",
        _("Controller box"),
        _("In the shade of the modules. Surge protection in, glands at the bottom, every gland and cover tight."),
        cautions=["DC", "CAP"],
        captures=[
            serial("controller_serial", _("Controller serial"), "controller"),
            yes_no("boxes_shaded", _("Boxes hang in the shade of the modules")),
            yes_no("glands_tight", _("Every gland and cover was tightened by hand, one by one")),
            note("settings", _("Settings")),
            photo("box_photo", _("Photo of the inside and the settings")),
        ],
        rules=[
            is_yes("boxes_shaded", _("A box in the sun cuts back at noon. Move it into the shade.")),
            is_yes("glands_tight", _("One loose gland lets in water and ants. Go round again.")),
        ],
    )


def _well_head():
    return step(
        "well_head",
        _("Well head"),
        _("Hanging clamp, seal, breather, dip tube, earth, non-return valve, meter with its arrow along the flow."),
        cautions=["WELL", "CLEAN"],
        captures=[
            serial("meter_serial", _("Meter serial"), "meter", required=False),
            number("meter_total_l", _("Meter figure at the start"), "L", 0, 1e10, required=False),
            yes_no("clamp_holds", _("The hanging clamp carries the load; paint line drawn")),
            yes_no("dip_tube", _("Dip tube in, free to the bottom")),
            photo("well_head_photo", _("Photo of the well head")),
        ],
        rules=[is_yes("clamp_holds", _("Set the clamp before anything else is done."), stop=True)],
    )


def _tank():
    return step(
        "tank",
        _("Tank, overflow, float switch"),
        _("Float both ways by hand. Overflow to a safe place."),
        cautions=["HEIGHT"],
        needed=False,
        captures=[
            choice(
                "float",
                _("Float switch"),
                [("works", _("stops and restarts")), ("fails", _("does not")), ("none", _("none fitted"))],
            ),
            yes_no("overflow_safe", _("Overflow leads to a safe place")),
            photo("tank_photo", _("Photo of float and overflow"), required=False),
        ],
        rules=[one_of("float", ["works", "none"], _("The float switch does not work: mend it before hand-over."))],
    )


def installation():
    return [
        common.arrive(),
        _frame(),
        _modules(),
        electric.strings_isolated(),
        electric.joint(),
        common.hang(),
        _well_head(),
        _box(),
        _tank(),
        electric.insulation(new=True),
        common.first_water(),
        common.seal(),
        common.say_goodbye(),
    ]


def _as_built():
    return step(
        "as_built",
        _("As built against as designed"),
        _(
            "Walk through the design sheet. What differs is named here; the expected output is worked out anew "
            "before you go on."
        ),
        cautions=["HEIGHT"],
        captures=[
            serial("pump_serial", _("Pump serial"), "pump"),
            serial("controller_serial", _("Controller serial"), "controller", required=False),
            number("modules_in_series", _("Modules in series"), _("modules"), 1, 40),
            number("strings", _("Strings"), _("strings"), 1, 20),
            number("tilt_deg", _("Tilt"), "°", 0, 90),
            number("azimuth_deg", _("Azimuth from true north"), "°", 0, 359.9),
            number("setting_depth_m", _("Setting depth below datum"), "m", 0, 400),
            yes_no("same", _("Everything is as designed")),
            note("differences", _("What differs")),
        ],
        rules=[is_yes("same", _("Tell the desk what differs, so that the expected output is right."))],
    )


def _pumping_level():
    return step(
        "pumping_level",
        _("Wait for a steady level"),
        _("About one centimetre in five minutes is steady. Then go on to the spot test."),
        cautions=["WELL", "CLEAN"],
        captures=[
            number("pumping_level_m", _("Pumping level below datum"), "m", 0, 400, repeats=2),
            number(
                "above_probe_m", _("Water above the cut-off probe or the pump intake"), "m", -5, 400, required=False
            ),
        ],
        rules=[
            alike("pumping_level_m", 0.01, _("The level still moves. Wait five minutes more.")),
            between(
                "above_probe_m",
                ABOVE_PROBE_M,
                None,
                _("Less than a metre above the cut-off: it may stop on a dry day."),
            ),
        ],
    )


def commissioning():
    again = common.spot_test("commissioning")
    again = {
        **again,
        "code": "second_sun",
        "title": _("Spot test at another sun"),
        "needed": False,
        "text": _("Earlier or later the same day, or a whole day by the meter."),
    }
    return [
        common.arrive(),
        _as_built(),
        electric.strings_isolated(),
        electric.insulation(new=True),
        electric.loop_and_earth(),
        common.static_level(),
        common.first_water(),
        _pumping_level(),
        common.spot_test("commissioning"),
        again,
        electric.string_currents(),
        common.cut_offs(),
        common.disinfect(),
        common.seal(),
        common.hand_over(),
        step(
            "hand_over_kind",
            _("Provisional or final hand-over"),
            _("Some programmes hand over for good only after a test one year later."),
            needed=False,
            captures=[
                choice("hand_over", _("This hand-over is"), [("provisional", _("provisional")), ("final", _("final"))]),
                mark("technician_mark", _("Technician's mark")),
            ],
        ),
    ]
