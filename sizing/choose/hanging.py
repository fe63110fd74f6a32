"""A pump hung in a well: depth, head, pipe; and the arrays and cables that suit it."""

from typing import NamedTuple

import numpy as np

from sizing import cable, chain, controller, head
from sizing.choose.reasons import sentence
from sizing.units import STANDARD_GRAVITY_M_S2, WATER_DENSITY_20C_KG_M3

__all__ = ["WARNINGS", "Check", "Hung", "cable_length_m", "hang", "known_or", "layouts"]

# Common practice, no source, all of these:
CLEARANCE_MM = 10.0  # of the well's bore over the pump's outside diameter, so that pipe, cable and rope pass
COVER_M = 3.0  # of water over the pump's inlet at the deepest pumping level
OFF_BOTTOM_M = 1.0  # pump above the bottom, so that it draws no sand
FRICTION_SHARE, FRICTION_LEAST_M = 0.05, 1.0  # of the lift, lost in the pipe at the largest flow
SPEED_M_S = 1.5  # of the water in the pipe at the largest flow
CABLE_DROP = 0.03
HOT_CELL_C, COOL_CELL_C = 65.0, 35.0  # of a loaded array on a hot noon, on a cool sunny morning
MOST_TIMES_POWER = 1.6  # array over the pump's own limit of power: more is wasted
PIPE_WITHOUT_CLASS_BAR = 6.0

# Of a module's sheet, to lay out strings at all.
NEEDED = ("p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a")
WARNINGS = {"sure", "bore_not_known", "head_low"}


class Check(NamedTuple):
    """One thing that was looked at: code (of REASONS), whether it holds, and its numbers."""

    code: str
    ok: bool
    values: dict

    @property
    def sentence(self):
        return sentence(self.code, self.ok, self.values)


class Hung(NamedTuple):
    """A pump hung in this well, before any array."""

    offer: object
    setting_m: float
    head_m: float
    flow_l_min: float
    pipe: object
    pipe_length_m: float
    checks: tuple


def known_or(value, instead):
    return float(value) if np.isfinite(value) else float(instead)


def hang(survey, offer, pipes):
    """Depth, head, largest flow, pipe and the checks that need no array."""
    curve, level = offer.curve, float(survey.static_level_m.max())
    power = known_or(offer.max_power_w, curve.power_limits[1])
    flow = 0.0
    capacity = survey.specific_capacity_m3_h_m
    draw = 0.0 if np.isnan(capacity) else 0.06 / capacity  # m per L/min
    safe = survey.safe_yield_m3_h * 1000 / 60
    for _ in range(30):  # the deeper the level is drawn, the less flows
        lifted = min(float(curve.flow(level + draw * flow + survey.rise_m, power)), curve.flow_limit)
        new = float(np.fmin(lifted, safe))
        if abs(new - flow) < 0.01:
            break
        flow = (flow + new) / 2
    setting = level + draw * flow + COVER_M if np.isnan(survey.setting_depth_m) else survey.setting_depth_m
    deepest = survey.well_depth_m - OFF_BOTTOM_M
    depth_ok = not setting > deepest and setting > level + draw * flow
    if not depth_ok and np.isnan(survey.setting_depth_m) and deepest >= level + draw * flow + 1:
        setting, depth_ok = deepest, True  # a little less cover rather than none of it
    lift = level + draw * flow + survey.rise_m
    length = setting + survey.rise_m + survey.distance_m
    pipe, pipe_check = _pipe(pipes, flow, length, lift, setting + survey.rise_m)
    friction = pipe_check.values.get("friction_m", 0.0)
    total = lift + friction
    limit = min(known_or(offer.max_head_m, np.inf), curve.head_limits[1] * 1.02)
    lowest = curve.head_limits[0] * 0.98
    easiest = float(survey.static_level_m.min()) + survey.rise_m
    checks = [
        _bore(survey, offer),
        Check("depth", depth_ok, {"setting_m": setting, "deepest_m": deepest}),
        Check("head", total <= limit, {"head_m": total, "limit_m": limit}),
        Check("head_low", easiest >= lowest, {"head_m": easiest, "limit_m": lowest}),
    ]
    if checks[2].ok:
        checks.append(pipe_check)
    return Hung(offer, setting, total, flow, pipe, length, tuple(checks))


def _bore(survey, offer):
    if np.isnan(survey.well_inside_mm) or np.isnan(offer.outside_mm):
        return Check("bore_not_known", False, {})
    values = {"pump_mm": offer.outside_mm, "well_mm": survey.well_inside_mm, "clearance_mm": CLEARANCE_MM}
    return Check("bore", offer.outside_mm + CLEARANCE_MM <= survey.well_inside_mm, values)


def _pipe(pipes, flow, length, lift, column_m):
    """The narrowest pipe that bears the column of water and loses little; its check."""
    per_bar = 1e5 / (WATER_DENSITY_20C_KG_M3 * STANDARD_GRAVITY_M_S2)
    allowed = max(FRICTION_SHARE * lift, FRICTION_LEAST_M)
    for pipe in sorted(pipes, key=lambda p: (p.inside_mm, known_or(p.price_per_m, 0))):
        bears = known_or(pipe.pressure_bar, PIPE_WITHOUT_CLASS_BAR) * per_bar
        lost = float(head.friction_head(flow, length, pipe.inside_mm))
        slow = float(head.speed(flow, pipe.inside_mm)) <= SPEED_M_S
        if bears >= column_m + lost and lost <= allowed and slow:
            values = {"pipe": pipe.name, "friction_m": lost, "flow_l_min": flow, "bears_m": bears}
            return pipe, Check("pipe", True, values)
    return None, Check("pipe", False, {"needed_m": column_m, "flow_l_min": flow})


def layouts(survey, hung, catalogue, coldest, most):
    """Arrays within the pump's voltages and power, each with its cable, and the checks that failed where none is.

    A layout is (hung, module, in series, strings, cable, checks).
    """
    offer = hung.offer
    low, high = known_or(offer.min_voltage_v, 0.0), known_or(offer.max_voltage_v, np.inf)
    top = known_or(offer.max_power_w, offer.curve.power_limits[1]) * MOST_TIMES_POWER
    found, failed = [], {}
    direct = offer.coupling == "direct"
    code = "voltage_direct" if direct else "voltage"
    for module in catalogue.modules:
        sheet = chain.DEFAULTS | module.values
        missing = [name for name in NEEDED if not np.isfinite(sheet.get(name, np.nan))]
        if missing:
            failed["record"] = Check("record", False, {"why": f"{module.name}: {', '.join(missing)} missing"})
            continue
        per_k = (sheet["gamma_p_pct_k"] - sheet["alpha_isc_pct_k"]) / 100  # of the voltage at highest power
        hot = 1 + per_k * (HOT_CELL_C - 25)
        for series in range(1, most + 1):
            if direct:  # never idle in the sun: the motor's voltage is that of the loaded modules
                cold_v = series * sheet["v_mp_v"] * (1 + per_k * (COOL_CELL_C - 25))
            else:
                cold_v = float(controller.highest_voltage(series, sheet["v_oc_v"], sheet["beta_voc_pct_k"], coldest))
            hot_v = series * sheet["v_mp_v"] * hot
            if cold_v > high:
                break
            if hot_v < low:
                continue
            voltage = Check(code, True, {"cold_v": cold_v, "hot_v": hot_v, "low_v": low, "high_v": high})
            for strings in range(1, most // series + 1):
                watts = series * strings * sheet["p_stc_w"]
                if watts > top:
                    break
                conductor, cable_check = _cable(survey, hung, catalogue.cables, sheet, series, strings)
                if not cable_check.ok:
                    failed["cable"] = cable_check
                    continue
                size = Check("array", True, {"modules": series * strings, "array_w": watts})
                found.append((hung, module, series, strings, conductor, (voltage, size, cable_check)))
            else:
                continue
            failed.setdefault("array", Check("array", False, {"most": most}))
    if not found and not failed:
        failed[code] = Check(code, False, {"low_v": low, "high_v": high})
    return found, tuple(failed.values())


def _cable(survey, hung, cables, sheet, series, strings):
    length = cable_length_m(survey, hung)
    amps, volts = strings * sheet["i_mp_a"], series * sheet["v_mp_v"]
    for offer in sorted(cables, key=lambda c: c.area_mm2):
        lost = cable.loss(amps, length, offer.area_mm2, volts, offer.conductor_class, 45.0)
        share = float(lost.drop_fraction)
        if share <= CABLE_DROP:
            values = {"area_mm2": offer.area_mm2, "length_m": length, "drop_pct": 100 * share}
            return offer, Check("cable", True, values)
    return None, Check("cable", False, {"length_m": length, "limit_pct": 100 * CABLE_DROP})


def cable_length_m(survey, hung):
    """From the array down to the pump, with two metres for the terminals."""
    return hung.setting_m + survey.array_distance_m + 2
