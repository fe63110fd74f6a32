"""Constants and conversions. SI inside; what people read and write is converted here and nowhere else."""

STANDARD_GRAVITY_M_S2 = 9.80665  # exact, General Conference on Weights and Measures, 1901
MJ_PER_KWH = 3.6  # exact
J_PER_WH = 3600.0  # exact
L_PER_US_GALLON = 3.785411784  # exact: 231 cubic inches
M_PER_FOOT = 0.3048  # exact, international foot
PA_PER_PSI = 6894.757293168  # from the exact pound, inch and standard gravity
PA_PER_BAR = 1e5  # exact
WATER_DENSITY_20C_KG_M3 = 998.207  # IAPWS-95 at 20 C and 101.325 kPa
L_MIN_PER_M3_H = 1000.0 / 60.0
SECONDS_PER_DAY = 86400.0


def m3_s_from_l_min(flow_l_min):
    """Flow in m3/s; shapes kept."""
    return flow_l_min / 60000.0


def l_min_from_m3_s(flow_m3_s):
    """Flow in L/min; shapes kept."""
    return flow_m3_s * 60000.0


def l_min_from_m3_h(flow_m3_h):
    """Flow in L/min; shapes kept."""
    return flow_m3_h * L_MIN_PER_M3_H


def m3_h_from_l_min(flow_l_min):
    """Flow in m3/h; shapes kept."""
    return flow_l_min / L_MIN_PER_M3_H


def kwh_from_mj(energy_mj):
    """Energy in kWh (or kWh/m2 from MJ/m2); shapes kept."""
    return energy_mj / MJ_PER_KWH


def mj_from_kwh(energy_kwh):
    """Energy in MJ (or MJ/m2 from kWh/m2); shapes kept."""
    return energy_kwh * MJ_PER_KWH


def kelvin(celsius):
    """Thermodynamic temperature in K; shapes kept."""
    return celsius + 273.15


def metres_of_water(pressure_bar, density_kg_m3=1000.0):
    """Height of the water column that a pressure holds, m; 1 bar holds 10.197 m at 1000 kg/m3. Shapes broadcast."""
    return pressure_bar * PA_PER_BAR / (density_kg_m3 * STANDARD_GRAVITY_M_S2)


def hydraulic_power_w(flow_l_min, head_m, density_kg_m3=WATER_DENSITY_20C_KG_M3):
    """Power in the lifted water, W = density g Q H. Shapes broadcast."""
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 * m3_s_from_l_min(flow_l_min) * head_m
