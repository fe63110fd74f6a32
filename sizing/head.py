"""The head: rise, friction by Darcy-Weisbach, fittings, standard PE pipe, and minutes to first water.

Friction factor: 64/Re below Re 2000, Colebrook & White (1939) above Re 4000, a straight line in Re between them, so
that head loss rises with flow everywhere. Water: density and viscosity between 4 and 40 C.
"""

import csv
from functools import lru_cache
from pathlib import Path

import numpy as np
from numba import vectorize

from . import compiled
from .checks import Refusal, known, one_of, within
from .units import STANDARD_GRAVITY_M_S2

PE_ROUGHNESS_MM = 0.007  # smooth polyethylene, a usual design value (common practice, no source)
GROUNDWATER_C = 25.0  # shallow tropical groundwater, near the mean air of the year (common practice, no source)
PE_STRENGTH_MPA = {"PE 80": 6.3, "PE 100": 8.0}  # design stress at 20 C, ISO 4427 (PE 80 from memory)

# Loss coefficients K of threaded fittings: a compiled engineering table; meters, foot valve, inlet, outlet from memory
FITTINGS = {
    "elbow_90": 1.5,
    "elbow_90_long": 0.7,
    "elbow_45": 0.4,
    "tee_straight": 0.9,
    "tee_branch": 2.0,
    "return_180": 1.5,
    "globe_valve": 10.0,
    "angle_valve": 2.0,
    "gate_valve": 0.15,
    "ball_valve": 0.05,
    "non_return_valve": 2.0,
    "foot_valve": 15.0,
    "meter_disk": 7.0,
    "meter_piston": 15.0,
    "meter_turbine": 6.0,
    "inlet": 0.5,
    "outlet": 1.0,
}
# Multiples of the turbulent friction factor of the pipe: Crane TP-410 (from memory)
EQUIVALENT_LENGTHS = {
    "elbow_90": 30,
    "elbow_45": 16,
    "tee_straight": 20,
    "tee_branch": 60,
    "gate_valve": 8,
    "ball_valve": 3,
    "non_return_valve": 100,
    "foot_valve": 420,
    "foot_valve_hinged": 75,
}


# ---- water ------------------------------------------------------------------------------------------------------

_WATER_C = np.array([4.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0])
_DENSITY = np.array([999.975, 999.702, 999.103, 998.207, 997.048, 995.649, 992.216])
_VISCOSITY_MPA_S = np.array([1.5673, 1.3059, 1.1376, 1.0016, 0.8900, 0.7972, 0.6527])


def water_density(water_c):
    """kg/m3 at 1 bar, 4-40 C. Source: IAPWS-95 points (computed with iapws 1.5.5), a cubic through them."""
    c = within(water_c, 0, 45, "water_c")
    return np.polyval(np.polyfit(_WATER_C, _DENSITY, 4), c)


def water_viscosity(water_c):
    """Kinematic viscosity, m2/s, 4-40 C. Source: as `water_density`; the logarithm of viscosity by a polynomial."""
    c = within(water_c, 0, 45, "water_c")
    return np.exp(np.polyval(np.polyfit(_WATER_C, np.log(_VISCOSITY_MPA_S), 4), c)) * 1e-3 / water_density(c)


# ---- friction ---------------------------------------------------------------------------------------------------


@compiled(inline="always")
def _colebrook(reynolds, relative):
    """Colebrook & White by Newton on x = 1/sqrt(f) from Haaland's start; two rounds reach 1e-8.

    The start leaves the roughness of smooth pipes aside, which changes it by less than 1 %.
    """
    rough = relative * (1.0 / 3.7)
    per_ten = 1.0 / np.log(10.0)
    uneven = rough**1.11 if rough * reynolds > 3.0 else 0.0
    x = -1.8 * per_ten * np.log(uneven + 6.9 / reynolds)
    k = 2.51 / reynolds
    for _ in range(2):
        inner = rough + k * x
        x -= (x + 2.0 * per_ten * np.log(inner)) / (1.0 + 2.0 * per_ten * k / inner)
    return 1.0 / (x * x)


@compiled(inline="always")
def colebrook_near(reynolds, relative, root):
    """1/sqrt(f) by Colebrook & White from that of a flow up to a third more or less: one step of Halley's, to 3e-6."""
    per_ten, k = 2.0 / np.log(10.0), 2.51 / reynolds
    inner = relative * (1.0 / 3.7) + k * root
    gap, share = root + per_ten * np.log(inner), k / inner
    slope = 1.0 + per_ten * share
    return root - 2.0 * gap * slope / (2.0 * slope * slope + gap * per_ten * share * share)


@compiled()
def friction_factor_scalar(reynolds, relative):
    """Darcy friction factor of one Reynolds number and relative roughness; see `friction_factor`."""
    if reynolds <= 2000.0:
        return 64.0 / max(reynolds, 1e-9)
    if reynolds >= 4000.0:
        return _colebrook(reynolds, relative)
    # Between the two kinds of flow nobody's law holds: a cubic that leaves the one and meets the other with their
    # slopes, so that nothing that is solved through it sees a corner
    t = (reynolds - 2000.0) / 2000.0
    turbulent, after = _colebrook(4000.0, relative), _colebrook(4040.0, relative)
    left, right = -0.032, 50.0 * (after - turbulent)
    u = 1.0 - t
    return u * u * ((1.0 + 2.0 * t) * 0.032 + t * left) + t * t * ((3.0 - 2.0 * t) * turbulent - u * right)


@vectorize(cache=True)
def _factor(reynolds, relative):
    if np.isnan(reynolds + relative):
        return np.nan
    return friction_factor_scalar(reynolds, relative)


@compiled()
def loss_scalar(flow_l_min, length_m, inside_m, fittings_k, roughness_m, viscosity_m2_s):
    """Friction head, m, of one flow; see `friction_head`."""
    if flow_l_min <= 0.0:
        return 0.0
    speed = flow_l_min / 60000.0 / (0.25 * np.pi * inside_m * inside_m)
    f = friction_factor_scalar(speed * inside_m / viscosity_m2_s, roughness_m / inside_m)
    return (f * length_m / inside_m + fittings_k) * speed * speed / (2.0 * 9.80665)


@vectorize(cache=True)
def _loss(flow_l_min, length_m, inside_m, fittings_k, roughness_m, viscosity_m2_s):
    if np.isnan(flow_l_min + length_m + inside_m + fittings_k + roughness_m + viscosity_m2_s):
        return np.nan
    return loss_scalar(flow_l_min, length_m, inside_m, fittings_k, roughness_m, viscosity_m2_s)


def friction_factor(reynolds, relative_roughness):
    """Darcy friction factor. Shapes broadcast. Holds: Re above 0, relative roughness up to 0.05.

    Source: Colebrook (1939), J. Institution of Civil Engineers 11:133 (from memory); laminar by Hagen-Poiseuille.
    """
    return _factor(
        within(reynolds, 0, 1e9, "reynolds", open_low=True), within(relative_roughness, 0, 0.05, "relative_roughness")
    )


def swamee_jain(reynolds, relative_roughness):
    """Explicit friction factor, a check on Colebrook. Source: Swamee & Jain (1976), J. Hydraulics Div. 102:657."""
    re = within(reynolds, 2000, 1e9, "reynolds")
    return 0.25 / np.log10(within(relative_roughness, 0, 0.05, "relative_roughness") / 3.7 + 5.74 / re**0.9) ** 2


def haaland(reynolds, relative_roughness):
    """Explicit friction factor, a check on Colebrook. Source: Haaland (1983), J. Fluids Engineering 105:89."""
    re = within(reynolds, 2000, 1e9, "reynolds")
    rough = within(relative_roughness, 0, 0.05, "relative_roughness")
    return (-1.8 * np.log10((rough / 3.7) ** 1.11 + 6.9 / re)) ** -2


def speed(flow_l_min, inside_mm):
    """Mean speed of the water, m/s."""
    d = within(inside_mm, 0, 2000, "inside_mm", open_low=True) / 1000
    return within(flow_l_min, 0, 1e6, "flow_l_min") / 60000 / (np.pi / 4 * d * d)


def friction_head(flow_l_min, length_m, inside_mm, fittings_k=0.0, roughness_mm=PE_ROUGHNESS_MM, water_c=GROUNDWATER_C):
    """Head lost to pipe and fittings, m, by Darcy-Weisbach. Shapes broadcast; no length and no fittings, no loss.

    Refuses a negative flow or length, a bore of zero, water outside 0-45 C.
    """
    return _loss(
        within(flow_l_min, 0, 1e6, "flow_l_min"),
        within(length_m, 0, 1e5, "length_m"),
        within(inside_mm, 0, 2000, "inside_mm", open_low=True) / 1000,
        within(fittings_k, 0, 1e4, "fittings_k"),
        within(roughness_mm, 0, 5, "roughness_mm") / 1000,
        water_viscosity(water_c),
    )


def hazen_williams_head(flow_l_min, length_m, inside_mm, smoothness=150.0):
    """Head lost, m, by Hazen-Williams: only a check. 2-16 % below Darcy-Weisbach in small pipes at 150.

    Source: the metric form 10.67 L Q^1.852 / (C^1.852 d^4.8704); smoothness 140-150 for plastic.
    """
    q = within(flow_l_min, 0, 1e6, "flow_l_min") / 60000
    d = within(inside_mm, 0, 2000, "inside_mm", open_low=True) / 1000
    c = within(smoothness, 60, 160, "smoothness")
    return 10.67 * within(length_m, 0, 1e5, "length_m") * q**1.852 / (c**1.852 * d**4.8704)


def fittings_sum(counts):
    """Sum of loss coefficients K of {fitting: how many}. Refuses a fitting that is not in `FITTINGS`."""
    return sum(
        FITTINGS[one_of(name, FITTINGS, "fitting")] * float(within(n, 0, 1000, name)) for name, n in counts.items()
    )


# ---- standard pipe ----------------------------------------------------------------------------------------------

SERIES = {17.0: "sdr17", 13.6: "sdr13_6", 11.0: "sdr11", 9.0: "sdr9"}


@lru_cache(maxsize=1)
def pipe_table():
    """{outside mm: {SDR: smallest wall mm}} of PE water pipe. Source: ISO 4427-2:2007, table 2."""
    lines = (Path(__file__).parent / "tables" / "pe_pipe_walls.csv").read_text().splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {
        float(row["outside_mm"]): {sdr: float(row[column]) for sdr, column in SERIES.items() if row[column]}
        for row in rows
    }


def inside_diameter(outside_mm, sdr):
    """Inside diameter, mm, of a standard PE pipe: outside less two smallest walls. Refuses sizes that do not exist."""
    table = pipe_table()
    walls = table[one_of(float(outside_mm), table, "outside_mm")]
    return float(outside_mm) - 2 * walls[one_of(float(sdr), walls, "sdr")]


def pressure_class_bar(sdr, material="PE 100"):
    """Pressure the pipe bears for fifty years in water of 20 C, bar: 20 s / (SDR - 1). Source: ISO 4427."""
    stress = PE_STRENGTH_MPA[one_of(material, PE_STRENGTH_MPA, "material")]
    return 20 * stress / (within(sdr, 6, 41, "sdr") - 1)


def pipe_volume_l(length_m, inside_mm):
    """Water that a pipe holds, litres."""
    d = within(inside_mm, 0, 2000, "inside_mm", open_low=True) / 1000
    return np.pi / 4 * d * d * within(length_m, 0, 1e5, "length_m") * 1000


# ---- minutes to first water -------------------------------------------------------------------------------------


def minutes_to_first_water(flow_at_head, static_level_m, setting_depth_m, rise_m, length_m, inside_mm, main_full=False):
    """Minutes from switching on until water leaves the upper end.

    flow_at_head: function of head (m, array) giving L/min, as from the pump curve at the sun of that moment. An empty
    main stands at the static level (there is no water in it above that) and is filled along its length; the head grows
    with the water in it. With a full main water comes at once: 0. Never: infinity, where the pump cannot lift it.
    Refuses a setting depth above the static level. Draws on the volume of the pipe alone, drawdown left out.
    """
    static, depth = float(known(static_level_m, "static_level_m")), float(known(setting_depth_m, "setting_depth_m"))
    if depth <= static:
        raise Refusal("setting_depth_m", depth, (static, np.inf), because="the pump must hang below the static level")
    if main_full:
        return 0.0
    lift = static + float(within(rise_m, 0, 500, "rise_m"))
    length = float(within(length_m, 0, 1e5, "length_m"))
    dry_length = length * lift / (depth + float(rise_m)) if length > 0 else 0.0
    share = (np.arange(64) + 0.5) / 64
    flow = np.asarray(flow_at_head(share * lift), float)
    if (flow <= 0).any():
        return float("inf")
    return float((pipe_volume_l(dry_length, inside_mm) / 64 / flow).sum())


def head_from_pressure(pressure_bar, water_c=20.0):
    """Metres of water that a gauge pressure stands for."""
    return within(pressure_bar, 0, 1000, "pressure_bar") * 1e5 / (water_density(water_c) * STANDARD_GRAVITY_M_S2)
