"""Every public function of the steps: a number and an array give the same, shapes broadcast, what is not known stays
missing, one bad value among good ones spoils only its own place, and alone is refused by its name."""

import numpy as np
import pytest

from sizing import array, cable, climate, controller, head, orient, pump, sky, sun, units, well
from sizing.checks import Refusal
from sizing.choose import people

DIODE = array.fit_diode(60, 30.4, 8.23, 37.6, 8.79, 0.055, -0.33, -0.41)
CURVE = pump.PumpCurve(
    "helical", [10, 10, 40, 40, 70, 70], [60, 120, 160, 320, 260, 420], [10, 20, 9, 18, 8, 14],
    [30, 60, 40, 75, 50, 80], [2, 2, 4, 4.3, 5.2, 5.3],
)  # fmt: skip

# function: for each argument two good values and a bad one (None: takes any number)
FUNCTIONS = {
    sun.declination_deg: [(80, 200, 400)],
    sun.distance_factor: [(80, 200, 0)],
    sun.equation_of_time_min: [(80, 200, 367)],
    sun.solar_time_h: [(9.5, 15.0, None), (10.0, -20.0, 400), (15.0, 0.0, None), (-3.0, 12.0, None)],
    sun.sunset_angle_deg: [(10, -35, 95), (12.0, -20.0, None)],
    sun.daylight_hours: [(10, -35, 95), (12.0, -20.0, None)],
    sun.level_irradiation_kwh_m2_day: [(10, -35, 95), (12.0, -20.0, None), (1.0, 1.02, None)],
    sun.extraterrestrial_kwh_m2_day: [(10, -35, -91), (80, 200, 367)],
    sun.cos_zenith: [(10, -35, 95), (12.0, -20.0, None), (15.0, -40.0, None)],
    sun.cos_incidence: [(10, -35, 95), (12.0, -20.0, None), (15.0, -40.0, None), (20, 5, 200), (180, 90, 800)],
    sun.air_pressure_hpa: [(200, 1800, 1e5)],
    sky.haurwitz_w_m2: [(20, 70, 200)],
    sky.relative_air_mass: [(20, 70, 200)],
    sky.ineichen: [(20, 70, 200), (3, 5, 40), (200, 1800, 1e5)],
    sky.linke_turbidity: [(12.5, -20.0, 95), (-1.5, 30.0, 400)],
    sky.hours: [(12.5, -31.0, 95), (80, 200, 400), (5.0, 6.0, -1), (15, 30, 200), (180, 90, 800)],
    sky.caught_hours: [(12.5, -31.0, 95), (80, 200, 400), (5.0, 6.0, 16), (15, 30, 200), (180, 90, 800)],
    sky.monthly_beam_ratio: [(12.5, 31.0, 95), (-10, 5, None), (15, 30, 200)],
    sky.month_on_plane_kwh_m2_day: [(12.5, 31.0, 95), (-10, 5, None), (0.5, 0.6, None), (5, 6, None), (15, 30, 200)],
    sky.ground_incidence_deg: [(15, 30, 200)],
    sky.sky_incidence_deg: [(15, 30, 200)],
    sky.incidence_factor: [(15, 70, 200)],
    sky.on_plane: [
        (800, 300, -5), (150, 120, -1), (0.9, 0.5, None), (0.95, 0.4, None), (15, 30, 200), (1367, 1400, 10),
    ],
    sky.clearness: [(5.0, 6.0, None), (10.0, 9.0, None)],
    sky.diffuse_share_day: [(0.3, 0.7, 2), (85, 95, None)],
    sky.diffuse_share_hour: [(0.3, 0.7, 3)],
    sky.diffuse_share_month: [(0.35, 0.7, 2), (75, 95, None)],
    sky.hour_share_diffuse: [(85, 95, None), (10, -40, None)],
    sky.hour_share_global_raw: [(85, 95, None), (10, -40, None)],
    sky.share_sum_raw: [(85, 95, None)],
    array.cell_temperature: [(800, 300, -5), (25, 35, 200), (45, 47, 200)],
    array.working_rise: [(45, 47, 200), (1, 4, -3)],
    array.faiman_temperature: [(800, 300, -5), (25, 35, 200), (1, 4, -3)],
    array.linear_power: [(300, 900, -1), (800, 300, -5), (45, 60, 500), (-0.4, -0.35, 5)],
    array.irradiance_from_short_circuit: [(6.2, 3.1, -1), (48, 35, 300), (9.0, 8.6, 0), (0.05, 0.045, 9)],
    array.string_open_circuit_voltage: [(3, 2, 0), (37.4, 45.6, -1), (-0.31, -0.29, 3), (55, 60, 300)],
    array.insulation_test: [(90, 400, 9000)],
    array.wiring_insulation_test: [(24, 230, 9000)],
    cable.loop_resistance: [(40, 60, -1), (4, 6, 0)],
    cable.ohm_per_km: [(4, 6, 0)],
    cable.loss: [(6, 8.5, -1), (40, 60, -1), (4, 6, 0), (72, 100, 0)],
    cable.temperature_factor: [(20, 60, 500)],
    cable.resistance_of_joint: [(0.4, 1.2, -1), (6, 8, 0)],
    head.water_density: [(10, 30, 80)],
    head.water_viscosity: [(10, 30, 80)],
    head.friction_factor: [(1000, 3e4, 0), (1e-4, 1e-3, 0.2)],
    head.swamee_jain: [(1e4, 3e5, 10), (1e-4, 1e-3, 0.2)],
    head.haaland: [(1e4, 3e5, 10), (1e-4, 1e-3, 0.2)],
    head.speed: [(15, 30, -1), (20, 26, 0)],
    head.friction_head: [(15, 30, -1), (40, 80, -1), (20, 26, 0), (0, 8, -1)],
    head.hazen_williams_head: [(15, 30, -1), (40, 80, -1), (20, 26, 0), (150, 140, 0)],
    head.pipe_volume_l: [(40, 80, -1), (20, 26, 0)],
    head.head_from_pressure: [(1, 6, -1), (10, 25, 90)],
    well.drawdown: [(15, 30, -1), (0.05, 0.2, -1), (0.0, 0.001, -1)],
    well.from_specific_capacity: [(1.2, 3.0, 0)],
    well.well_function: [(0.01, 0.5, -1)],
    well.theis: [(300, 500, -1), (120, 400, 0), (2e-4, 1e-3, 0), (30, 90, 0), (60, 600, 0)],
    well.cooper_jacob: [(300, 500, -1), (120, 400, 0), (2e-4, 1e-3, 0), (3, 9, 0), (60, 600, 0)],
    pump.affinity: [(200, 300, -1), (20, 40, -1), (500, 900, -1), (1.1, 0.8, 0)],
    pump.within_acceptance: [(15, 20, -1), (16, 25, 0)],
    CURVE.flow: [(20, 50, -1), (200, 300, -1)],
    CURVE.power_needed: [(20, 50, -1), (5, 10, -1)],
    CURVE.threshold: [(20, 50, -1)],
    CURVE.flow_at_voltage: [(20, 50, -1), (50, 70, -1)],
    CURVE.voltage_needed: [(20, 50, -1), (5, 10, -1)],
    CURVE.current_needed: [(20, 50, -1), (5, 10, -1)],
    CURVE.current: [(50, 70, -1), (20, 50, -1)],
    controller.hand_on: [(300, 700, -1), (0.95, 0.9, 2)],
    controller.highest_voltage: [(3, 2, 0), (37.4, 45.6, -1), (-0.31, -0.29, 3), (5, -5, 300)],
    climate.default_air_c: [(12.5, -31.0, 95), (200, 1800, 1e5)],
    climate.default_climate: [(12.5, 9.0, 95), (-1.5, 2.0, 400)],
    climate.clear_sky_kwh_m2_day: [(12.5, -31.0, 95), (80, 200, 400), (200, 1800, 1e5)],
    climate.ghi_from_sunshine_kwh_m2_day: [(12.5, -31.0, 95), (80, 200, 400), (7, 9, -1)],
    climate.ghi_from_temperatures_kwh_m2_day: [(12.5, -31.0, 95), (80, 200, 400), (32, 35, 200), (20, 22, -200)],
    orient.magnetic_declination_deg: [(12.5, -31.0, 95), (-1.5, 30.0, 400), (200, 1800, 1e9), (2026.5, 2027.5, 2040)],
    units.metres_of_water: [(1, 6, None)],
    units.hydraulic_power_w: [(15, 30, None), (40, 60, None)],
    units.kelvin: [(15, 30, None)],
    people.need_l_day: [(200, 900, -1), (15, 20, 0)],
    people.taps_for: [(200, 900, -1)],
}
UNKNOWN_IS_ALLOWED = {(climate.default_air_c, 1)}  # an altitude nobody knows counts as a usual one
TABLE = [pytest.param(f, args, id=getattr(f, "__qualname__", str(f))) for f, args in FUNCTIONS.items()]


def parts(answer):
    """The numbers of an answer, whatever it is made of."""
    if isinstance(answer, tuple):
        return [p for one in answer for p in parts(one)]
    return [np.asarray(answer)] if np.asarray(answer).dtype.kind in "fib" else []


def same(got, wanted):
    assert len(got) == len(wanted)
    for a, b in zip(got, wanted, strict=True):
        np.testing.assert_allclose(a, b, rtol=1e-12, atol=1e-12)


def at(answer, place, lead):
    """One place's numbers of an array's answer; numbers that the place does not change stay."""
    return [p[place] if p.shape[: len(lead)] == lead else p for p in parts(answer)]


@pytest.mark.parametrize(("function", "arguments"), TABLE)
def test_a_number_and_an_array_give_the_same(function, arguments):
    first, second = ([a[k] for a in arguments] for k in (0, 1))
    together = function(*(np.array([a, b], float) for a, b in zip(first, second, strict=True)))
    for k, one in enumerate((first, second)):
        same(at(together, k, (2,)), parts(function(*one)))


@pytest.mark.parametrize(("function", "arguments"), TABLE)
def test_a_column_against_a_row_gives_a_table(function, arguments):
    column = [np.array([[a[0]], [a[1]]], float) if n == 0 else a[0] for n, a in enumerate(arguments)]
    if len(arguments) > 1:
        column[-1] = np.array([arguments[-1][0], arguments[-1][1], arguments[-1][0]], float)
    table = function(*column)
    lead = (2, 3) if len(arguments) > 1 else (2, 1)
    for i in range(2):
        for j in range(lead[1]):
            one = [a[i] if n == 0 else a[0] for n, a in enumerate(arguments)]
            if len(arguments) > 1:
                one[-1] = arguments[-1][j % 2]
            same(at(table, (i, j), lead), parts(function(*one)))


@pytest.mark.parametrize(("function", "arguments"), TABLE)
def test_what_is_not_known_stays_missing_and_spoils_nothing(function, arguments):
    for n in range(len(arguments)):
        given = [np.full(3, float(a[0])) for a in arguments]
        given[n][1] = np.nan
        answer = function(*given)
        good = parts(function(*(a[0] for a in arguments)))
        for place in (0, 2):
            same(at(answer, place, (3,)), good)
        if (function, n) in UNKNOWN_IS_ALLOWED or good[0].dtype.kind == "b":  # a yes or no has no missing value
            continue
        assert any(np.isnan(p).any() for p in at(answer, 1, (3,))), n


@pytest.mark.parametrize(("function", "arguments"), TABLE)
def test_one_bad_value_is_missing_among_good_ones_and_refused_alone(function, arguments):
    for n, (good, _, bad) in enumerate(arguments):
        if bad is None:
            continue
        given = [np.full(3, float(a[0])) for a in arguments]
        given[n][1] = bad
        answer = function(*given)
        for place in (0, 2):
            same(at(answer, place, (3,)), parts(function(*(a[0] for a in arguments))))
        given[n][1] = np.nan
        same(at(answer, 1, (3,)), at(function(*given), 1, (3,)))  # as one that is not known
        with pytest.raises(Refusal) as refusal:
            function(*(bad if k == n else a[0] for k, a in enumerate(arguments)))
        assert refusal.value.argument and str(refusal.value), good
