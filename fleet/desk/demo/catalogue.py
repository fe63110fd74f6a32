"""Invented pump and module types. Test-sheet points come from plain machine equations, with a little bench noise."""

import numpy as np

# 1 L/min lifted 1 m: 998.2 kg/m3 * 9.80665 m/s2 / 60000 (definition).
W_PER_L_MIN_M = 998.2 * 9.80665 / 60000

MODULES = [
    {"name": "Sable 85", "cells": 36, "p_stc_w": 85, "v_mp_v": 17.7, "i_mp_a": 4.80, "v_oc_v": 22.0, "i_sc_a": 5.15,
     "alpha_isc_pct_k": 0.06, "beta_voc_pct_k": -0.34, "gamma_p_pct_k": -0.43, "noct_c": 47, "price": 95},
    {"name": "Sable 160", "cells": 36, "p_stc_w": 160, "v_mp_v": 18.4, "i_mp_a": 8.70, "v_oc_v": 22.6, "i_sc_a": 9.25,
     "alpha_isc_pct_k": 0.06, "beta_voc_pct_k": -0.33, "gamma_p_pct_k": -0.41, "noct_c": 46, "price": 130},
    {"name": "Sable 270", "cells": 60, "p_stc_w": 270, "v_mp_v": 31.0, "i_mp_a": 8.71, "v_oc_v": 38.1, "i_sc_a": 9.20,
     "alpha_isc_pct_k": 0.055, "beta_voc_pct_k": -0.32, "gamma_p_pct_k": -0.40, "noct_c": 45, "price": 170},
    {"name": "Sable 350", "cells": 72, "p_stc_w": 350, "v_mp_v": 38.9, "i_mp_a": 9.00, "v_oc_v": 47.0, "i_sc_a": 9.45,
     "alpha_isc_pct_k": 0.05, "beta_voc_pct_k": -0.29, "gamma_p_pct_k": -0.36, "noct_c": 44, "price": 205},
]  # fmt: skip

PUMPS = [
    {"name": "Dew 45", "kind": "diaphragm", "coupling": "direct", "outside_diameter_mm": 96, "mass_kg": 6.5,
     "min_voltage_v": 5, "max_voltage_v": 27, "max_power_w": 100, "max_head_m": 65, "price": 620,
     "displacement": {"efficiency": 0.50, "w_per_l_min": 2.4, "idle_w": 2.5, "amp_0": 0.75, "amp_m": 0.047},
     "heads": [8, 18, 28, 38, 48, 58, 65], "powers": [10, 20, 30, 40, 55, 70, 85, 100], "max_flow": 5.2},
    {"name": "Dew 120", "kind": "diaphragm", "coupling": "tracking", "outside_diameter_mm": 98, "mass_kg": 12,
     "min_voltage_v": 20, "max_voltage_v": 65, "max_power_w": 280, "max_head_m": 90, "price": 980,
     "controller_efficiency": 0.93, "start_power_w": 9,
     "displacement": {"efficiency": 0.55, "w_per_l_min": 2.6, "idle_w": 5, "amp_0": 0.9, "amp_m": 0.035},
     "heads": [10, 25, 40, 55, 70, 90], "powers": [20, 40, 70, 100, 140, 180, 230, 280], "max_flow": 11},
    {"name": "Coil 500", "kind": "helical", "coupling": "tracking", "outside_diameter_mm": 96, "mass_kg": 16,
     "min_voltage_v": 30, "max_voltage_v": 100, "max_power_w": 560, "max_head_m": 110, "price": 1450,
     "controller_efficiency": 0.95, "start_power_w": 16,
     "displacement": {"efficiency": 0.58, "w_per_l_min": 3.0, "idle_w": 12, "amp_0": 1.5, "amp_m": 0.045},
     "heads": [15, 35, 55, 75, 95, 110], "powers": [50, 90, 140, 200, 280, 360, 450, 560], "max_flow": 27},
    {"name": "Coil 950", "kind": "helical", "coupling": "tracking", "outside_diameter_mm": 96, "mass_kg": 19,
     "min_voltage_v": 50, "max_voltage_v": 150, "max_power_w": 960, "max_head_m": 180, "price": 1980,
     "controller_efficiency": 0.955, "start_power_w": 20,
     "displacement": {"efficiency": 0.60, "w_per_l_min": 3.2, "idle_w": 18, "amp_0": 1.2, "amp_m": 0.03},
     "heads": [30, 60, 90, 120, 150, 180], "powers": [90, 160, 240, 340, 460, 600, 780, 960], "max_flow": 30},
    {"name": "Reed 330", "kind": "centrifugal", "coupling": "tracking", "outside_diameter_mm": 95, "mass_kg": 11,
     "min_voltage_v": 30, "max_voltage_v": 85, "max_power_w": 340, "max_head_m": 36, "price": 1120,
     "controller_efficiency": 0.95, "start_power_w": 15,
     "turning": {"shutoff_m": 40.0, "r": 40.0 / 68**2, "c0": 120.0, "c1": 3.9},
     "heads": [4, 8, 12, 18, 24, 30], "powers": [40, 70, 110, 150, 200, 260, 340], "max_flow": 80},
    {"name": "Reed 210", "kind": "centrifugal", "coupling": "direct", "outside_diameter_mm": 98, "mass_kg": 9,
     "min_voltage_v": 10, "max_voltage_v": 37, "max_power_w": 215, "max_head_m": 22, "price": 790,
     "turning": {"shutoff_m": 24.0, "r": 24.0 / 62**2, "c0": 80.0, "c1": 2.6, "volt": 34.0},
     "heads": [3, 6, 9, 13, 17, 20], "powers": [30, 50, 80, 110, 150, 210], "max_flow": 70},
]  # fmt: skip


def _displacement_flow(machine, head_m, power_w):
    """Power is flow times (friction + lift / efficiency), above what the empty machine takes."""
    per_litre = machine["w_per_l_min"] + W_PER_L_MIN_M * head_m / machine["efficiency"]
    return max(power_w - machine["idle_w"], 0.0) / per_litre


def _turning_flow(machine, head_m, power_w):
    """A centrifugal pump at the speed that takes this power at this head (affinity laws), and that speed."""
    speed = np.linspace(0.2, 1.1, 400)
    flow = np.sqrt(np.maximum(machine["shutoff_m"] * speed**2 - head_m, 0) / machine["r"])
    power = machine["c0"] * speed**3 + machine["c1"] * flow * speed**2
    return float(np.interp(power_w, power, flow)), float(np.interp(power_w, power, speed))


def points(pump):
    """The type's test sheet: rows of head, power, flow and, for directly fed pumps, volts and amps."""
    rng = np.random.default_rng(sum(map(ord, pump["name"])))
    sheet = []
    for head in pump["heads"]:
        for power in pump["powers"]:
            if "displacement" in pump:
                flow = _displacement_flow(pump["displacement"], head, power)
                current = pump["displacement"]["amp_0"] + pump["displacement"]["amp_m"] * head
                voltage = power / current
            else:
                flow, speed = _turning_flow(pump["turning"], head, power)
                voltage = pump["turning"].get("volt", 60.0) * speed
                current = power / voltage
            if flow > pump["max_flow"] or voltage > pump["max_voltage_v"]:
                continue
            noisy = flow * (1 + 0.008 * rng.standard_normal())
            sheet.append({
                "head_m": head, "power_w": power, "flow_l_min": round(noisy, 2),
                "voltage_v": round(voltage, 1) if flow > 0 else None,
                "current_a": round(current, 2) if flow > 0 else None,
            })  # fmt: skip
    return sheet
