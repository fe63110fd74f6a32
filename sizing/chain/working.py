"""The working: every intermediate number for one installation, one day, one moment, with formula and source."""

from typing import NamedTuple

import numpy as np

from .. import cable, sun
from ..checks import Refusal, within
from ..sky.light import HOURS, LEFT, OPEN, ROWS, diffuse_share, glass_table
from ..units import hydraulic_power_w
from .daylight import BRIGHT, NOON, REAL, SUN_OUT, even_lights, lights
from .days import day_space, expected_days, open_day
from .faults import NONE
from .fleet import COLUMNS
from .machine import CABLE, CLEAN, EFFICIENCY, NOCT_SLOPE, build
from .operating import STATES, spot
from .prepare import default_air, open_sky, prepare

STAGES = ("day", "array", "feed", "head", "water", "range")  # of the way from sky to litres, in order


class Step(NamedTuple):
    """One line: stage (one of STAGES), name in plain words, symbol, value (a number or a word), unit, formula as text,
    source, and the origin of what goes in: 'what: how' with how 'recorded' or 'default', 'given', or the symbols of the
    steps that it rests on."""

    stage: str
    name: str
    symbol: str
    value: object
    unit: str
    formula: str
    source: str
    origin: str


def working(fleet, day_of_year, ghi_kwh_m2_day, *, air_c=None, static_level_m=None, assumed=(), faults=NONE):
    """Steps (tuple of Step) from the day's horizontal irradiation to its litres, and the operating point at solar noon.

    fleet: of one installation. air_c: daylight air, left out: the default by place. assumed: names of fields that were
    filled in by default (FleetRead.assumed), so that each input's origin is told. Numbers here come from the same
    functions as everywhere else. Refuses a fleet of more than one.
    """
    if fleet.n != 1:
        raise Refusal("fleet", fleet.n, because="the working is shown for one installation at a time")
    day = float(within(day_of_year, 1, 366, "day_of_year"))
    ghi = float(within(ghi_kwh_m2_day, 0.01, 12, "ghi_kwh_m2_day"))
    month = int((day - 1) // 30.4375) % 12
    one = {name: getattr(fleet, name)[0] for name in COLUMNS}
    air = float(default_air(fleet.latitude_deg, fleet.altitude_m)[0, month]) if air_c is None else float(air_c)
    level = float(one["static_level_m"][month]) if static_level_m is None else float(static_level_m)
    steps = []

    def told(name):
        return "default" if name in assumed else "recorded"

    stage = "day"

    def add(name, symbol, value, unit, formula, source, origin):
        steps.append(Step(stage, name, symbol, value, unit, formula, source, origin))

    # ---- the day ----
    declination = float(sun.declination_deg(day))
    geometry, suns, (table, _, kind, *_) = np.empty((ROWS, HOURS)), np.zeros(HOURS, REAL), day_space(1)
    prepared = prepare(fleet, faults=faults)
    frame, shade = prepared.frame[0], prepared.shade[0]
    opened, left = (a[0] for a in open_sky(fleet, day))
    extra = float(sun.SOLAR_CONSTANT_W_M2 * sun.distance_factor(day))
    date = np.array([[np.sin(np.radians(declination))], [np.cos(np.radians(declination))], [extra]])
    first, sunset, day0, _ = open_day(
        geometry, frame, date, 0, glass_table(), shade, 0, opened[None], left[None], False
    )
    clearness = ghi / day0
    diffuse = diffuse_share(clearness, sunset)
    lights(geometry, frame, first, HOURS - first, sunset, np.array([clearness]), shade, table, kind)
    bright, noon = float(kind[BRIGHT, 0, 0]), float(table[SUN_OUT, NOON - 1 - first : NOON + 1 - first, 0].mean())
    plane = float(even_lights(geometry, frame, first, HOURS - first, sunset, clearness, shade, opened[0], suns)) / 1000
    add("declination of the sun", "δ", declination, "°", "δ(n)", "Astronomical Almanac", "day: given")
    add(
        "daylight", "N", 24 / np.pi * sunset, "h", "(24/π) arccos(−tan φ tan δ)", "FAO-56, eq. 34", "latitude: recorded"
    )
    add(
        "irradiation above the air",
        "H0",
        day0,
        "kWh/m²",
        "∫ S cos θz dt",
        "Duffie & Beckman, sec. 1.10",
        "δ, latitude: recorded",
    )
    add("irradiation on level ground", "H", ghi, "kWh/m²", "", "", "given")
    add("clearness", "KT", clearness, "1", "H / H0", "definition", "H, H0")
    add("diffuse share", "Hd/H", diffuse, "1", "f(KT)", "Erbs, Klein & Duffie 1982", "KT")
    add("sunshine share", "n/N", bright, "1", "(KT − 0.25) / 0.5", "FAO-56, eq. 35", "KT")
    add(
        "irradiation in the array's plane", "Hi", plane, "kWh/m²", "τ·(Ib·Rb + Id·F + I·ρ)",
        "Hay & Davies 1980; Collares-Pereira & Rabl 1979; De Soto et al. 2006", f"tilt and azimuth: {told('tilt_deg')}",
    )  # fmt: skip
    bare = geometry.copy()
    bare[OPEN, first : HOURS - first] = bare[LEFT, first : HOURS - first] = 1.0
    clear_frame = frame if fleet.skyline_deg is None else prepare(fleet.with_(skyline_deg=None), faults=faults).frame[0]
    clear = (
        float(even_lights(bare, clear_frame, first, HOURS - first, sunset, clearness, shade, np.ones(HOURS), suns))
        / 1000
    )
    add(
        "of that left by skyline and windows of shade", "Hi/Hi,open", plane / clear if clear > 0 else 1.0, "1",
        "Hi / Hi,open", "sun's paths over the surveyed skyline; light lost as written down",
        "skyline and windows: recorded" if fleet.shaded[0] else "none recorded",
    )  # fmt: skip
    add(
        "irradiance in the plane at noon, sun out",
        "Gi",
        noon,
        "W/m²",
        "",
        "as above",
        "Hi",
    )

    # ---- array ----
    stage = "array"
    rows = build(fleet, faults).rows[0]
    at = spot(fleet, noon, air, level, faults)
    value = {name: float(getattr(at, name)[0]) for name in at._fields}
    add(
        "air",
        "Ta",
        air,
        "°C",
        "",
        "",
        "default" if air_c is None else "given",
    )
    add(
        "cell temperature", "Tc", value["cell_c"], "°C", f"Ta + {rows[NOCT_SLOPE]:.4f} Gi",
        "NOCT heat balance, Duffie & Beckman sec. 23.3; Faiman 2008", f"NOCT: {told('noct_c')}",
    )  # fmt: skip
    add(
        "light that arrives", "1 − losses", rows[CLEAN], "1", "(1 − d)(1 − m)(1 − a·y)",
        "PVWatts 5 defaults; Jordan et al. 2022", f"dirt: {told('soiling_fraction')}, age: {told('age_y')}",
    )  # fmt: skip
    add(
        "array voltage",
        "VA",
        value["array_voltage_v"],
        "V",
        "I(V, Gi, Tc)",
        "single-diode curve; De Soto et al. 2006",
        "data sheet",
    )
    add(
        "array current",
        "IA",
        value["array_current_a"],
        "A",
        "I(V, Gi, Tc)",
        "single-diode curve; De Soto et al. 2006",
        "data sheet",
    )
    add("array power", "PA", value["array_power_w"], "W", "VA · IA", "definition", "VA, IA")

    # ---- cable and controller ----
    stage = "feed"
    ohm = float(cable.loop_resistance(one["cable_length_m"], one["cable_area_mm2"], int(one["conductor_class"]), 45.0))
    add(
        "resistance of the cable, out and back", "R", ohm, "Ω", "2 L R20 (1 + 0.00393 (45 − 20))",
        "IEC 60228, tables 2 and 3; IEC 60028", f"length: {told('cable_length_m')}, section: recorded",
    )  # fmt: skip
    if rows[CABLE] != ohm:
        add("resistance with the fault", "R'", float(rows[CABLE]), "Ω", "R + ΔR", "", "fault: given")
    if one["coupling"]:
        add(
            "efficiency of the controller", "η", float(rows[EFFICIENCY]), "1", "ηmax × 0.975",
            "weighted against best efficiency (from memory)", f"best efficiency: {told('controller_efficiency')}",
        )  # fmt: skip
    add(
        "power at the pump's leads",
        "Pp",
        value["pump_power_w"],
        "W",
        "PA · η − IA² R",
        "",
        "PA, R, η",
    )

    # ---- head ----
    stage = "head"
    add("static level", "h0", level, "m", "", "", "recorded" if static_level_m is None else "given")
    add("drawdown", "s", value["drawdown_m"], "m", "B Q + C Q²", "Jacob 1947", told("drawdown_b_m_per_l_min"))
    add("rise to the tank", "z", float(one["tank_rise_m"]), "m", "", "", told("tank_rise_m"))
    add(
        "friction", "hf", value["friction_m"], "m", "(f L/d + ΣK) v²/2g", "Darcy-Weisbach; Colebrook 1939",
        f"bore: recorded, length: {told('pipe_length_m')}, fittings: {told('fittings_k')}",
    )  # fmt: skip
    add("total head", "Ht", value["head_m"], "m", "h0 + s + z + hf", "definition", "h0, s, z, hf")

    # ---- water ----
    stage = "water"
    curve = fleet.pumps[int(one["pump_index"])]
    least = float(curve.threshold(value["head_m"]))
    add(
        "least power that lifts so high", "Pmin", least, "W", "P(Ht, Q = 0)", "own fit to the test sheet", "test points"
    )
    add(
        "flow at noon", "Q", value["flow_l_min"], "L/min", f"Q(Ht, Pp) × {one['flow_scale']:.3f}",
        "pump's test points; unit's own test", told("flow_scale"),
    )  # fmt: skip
    add("state", "", STATES[int(value["state"])], "", "", "", "")
    lifted_w = float(hydraulic_power_w(value["pump_flow_l_min"], value["head_m"]))
    add("hydraulic power", "Ph", lifted_w, "W", "ρ g Q Ht", "definition", "Q, Ht")
    add("wire to water", "ηp", float(at.efficiency[0]), "1", "Ph / Pp", "definition", "Ph, Pp")
    dipped = None if static_level_m is None else [level]
    days = expected_days(fleet, [0], [day], [ghi], "horizontal", static_level_m=dipped, air_c=air, faults=faults)
    add(
        "water of the day",
        "V",
        float(days.volume_l[0]),
        "L",
        "∫ Q dt",
        "",
        "all above",
    )
    stage = "range"
    level_is = "h0: given" if static_level_m is not None else "h0: recorded"
    add(
        "how the light comes through the day", "±c", float(days.climate_l[0]), "L", "1.28 σ",
        "even against broken light; judged", "Hi",
    )  # fmt: skip
    add(
        "unit, array and well against their records", "±m", float(days.model_l[0]), "L", "1.28 √Σσ²",
        "tolerances of acceptance: ISO 9906, API 676, IEC 60034-1 (from memory), each through the chain's own slope",
        level_is,
    )  # fmt: skip
    add(
        "instruments: irradiance and meter", "±i", float(days.instrument_l[0]), "L", "1.28 √Σσ²",
        "class 2 meter; pyranometer and tilt", "V",
    )  # fmt: skip
    add("80 % of such days: at least", "V10", float(days.low_l[0]), "L", "V − √(c² + m² + i²)", "", "V, ±c, ±m, ±i")
    add("80 % of such days: at most", "V90", float(days.high_l[0]), "L", "V + √(c² + m² + i²)", "", "V, ±c, ±m, ±i")
    return tuple(steps)
