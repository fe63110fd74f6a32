"""The chain as a whole: limits, identities, refusals, shapes, faults, days, months."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing import chain
from sizing.checks import Refusal
from sizing.units import hydraulic_power_w
from tests.sizing import invented

FLEETS = {
    ("screw", "tracking"): invented.fleet(invented.row()),
    ("screw", "direct"): invented.fleet(invented.row(coupling="direct")),
    ("wheel", "tracking"): invented.fleet(invented.row(pump_type="wheel", static_level_m=12.0)),
    ("wheel", "direct"): invented.fleet(invented.row(pump_type="wheel", static_level_m=12.0, coupling="direct")),
}
kinds = st.sampled_from(sorted(FLEETS))
suns = st.floats(0, 1300)


def flow(fleet, sun=800.0, air=30.0, level=None, **faults):
    return float(chain.spot(fleet, sun, air, level, chain.Faults(**faults)).flow_l_min[0])


# ---- limits and identities ----


@pytest.mark.parametrize("kind", FLEETS)
def test_no_sun_no_water(kind):
    assert flow(FLEETS[kind], 0.0) == 0
    days = chain.expected_days(FLEETS[kind], [0], [100], [0.0])
    assert days.volume_l[0] == 0


@given(kinds, suns)
def test_energy_in_is_never_less_than_hydraulic_energy_out(kind, sun):
    at = chain.spot(FLEETS[kind], sun, 25.0)
    lifted = hydraulic_power_w(at.pump_flow_l_min, at.head_m)
    assert lifted <= at.pump_power_w + 1e-6
    assert at.pump_power_w <= at.array_power_w + 1e-6
    assert at.array_power_w <= 2 * 250 * 1.2 * max(sun, 0) / 1000 + 1e-6


@given(kinds, st.floats(150, 1200))
def test_the_solved_point_put_back_closes(kind, sun):
    fleet = FLEETS[kind]
    at = chain.spot(fleet, sun, 28.0)
    if at.state[0] != 0 or at.flow_l_min[0] <= 0:
        return
    curve, q, h = fleet.pumps[fleet.pump_index[0]], at.flow_l_min[0], at.head_m[0]
    assert h == pytest.approx(
        fleet.static_level_m[0, 0] + fleet.tank_rise_m[0] + at.drawdown_m[0] + at.friction_m[0], rel=1e-9
    )
    ohm = 2 * 55 / 1000 * 4.61 * (1 + 0.00393 * 25)
    if fleet.coupling[0]:
        needed = curve.power_needed(h, q) + curve.current_needed(h, q) ** 2 * ohm
        assert needed == pytest.approx(at.array_power_w[0] * 0.95 * 0.975, rel=1e-6)
    else:
        volts, amps = curve.voltage_needed(h, q), curve.current_needed(h, q)
        assert at.array_current_a[0] == pytest.approx(amps, rel=1e-6)
        assert at.array_voltage_v[0] == pytest.approx(volts + amps * ohm, rel=1e-6)


@settings(max_examples=60)
@given(st.sampled_from([k for k in sorted(FLEETS) if k[1] == "tracking"]), suns, st.floats(0, 200))
def test_more_sun_never_gives_less_water(kind, sun, more):
    assert flow(FLEETS[kind], min(sun + more, 1400)) >= flow(FLEETS[kind], sun) - 1e-7


@settings(max_examples=60)
@given(st.sampled_from([k for k in sorted(FLEETS) if k[1] == "direct"]), suns, st.floats(0, 200))
def test_more_sun_on_cells_of_one_heat_never_gives_a_direct_unit_less(kind, sun, more):
    """In one air a direct unit may lose a little in very bright sun: the cells grow hot and the voltage falls."""
    fleet = FLEETS[kind]
    heat = lambda g: 55.0 - (chain.spot(fleet, g, 0.0).cell_c[0])  # noqa: E731
    brighter = min(sun + more, 1400)
    assert flow(fleet, brighter, heat(brighter)) >= flow(fleet, sun, heat(sun)) - 1e-7


@settings(max_examples=60)
@given(kinds, st.floats(100, 1200), st.sampled_from(["strings", "cable_area_mm2", "pipe_inside_mm"]), st.floats(1, 3))
def test_more_array_cable_or_pipe_never_gives_less(kind, sun, column, times):
    fleet = FLEETS[kind]
    bigger = fleet.with_(**{column: np.round(getattr(fleet, column) * times, 2)})
    if column == "strings":
        bigger = fleet.with_(strings=np.ceil(fleet.strings * times))
    assert flow(bigger, sun) >= flow(fleet, sun) - 1e-7


@settings(max_examples=60)
@given(kinds, suns, st.floats(0, 60), st.floats(0, 20))
def test_less_lift_never_gives_less(kind, sun, level, less):
    fleet = FLEETS[kind].with_(setting_depth_m=150.0)
    assert flow(fleet, sun, level=max(level - less, 0)) >= flow(fleet, sun, level=level) - 1e-7


# ---- shapes ----


def test_one_number_a_column_and_a_table_agree():
    fleet = invented.fleet(invented.row(), invented.row(static_level_m=35.0), invented.row(coupling="direct"))
    suns = np.array([0.0, 300.0, 700.0, 1100.0])
    table = chain.spot(fleet, suns[None], 30.0).flow_l_min
    assert table.shape == (3, 4)
    for k, sun in enumerate(suns):
        assert chain.spot(fleet, sun, 30.0).flow_l_min == pytest.approx(table[:, k], rel=1e-8, abs=1e-9)
    assert chain.spot(fleet.take([1]), 700.0, 30.0).flow_l_min == pytest.approx(table[1:2, 2], rel=1e-8)
    assert chain.spot(fleet, suns[None], 30.0, cores=2).flow_l_min == pytest.approx(table)


def test_a_missing_sun_gives_a_missing_answer_and_spoils_nothing():
    fleet = invented.fleet(invented.row(), invented.row())
    got = chain.spot(fleet, np.array([np.nan, 800.0]), 30.0).flow_l_min
    assert np.isnan(got[0])
    assert got[1] == pytest.approx(flow(fleet.take([0])))
    days = chain.expected_days(fleet, [0, 1], [100, 100], [np.nan, 5.0])
    assert np.isnan(days.volume_l[0]) and days.volume_l[1] > 0


# ---- refusals ----


@pytest.mark.parametrize(
    ("changes", "argument"),
    [
        ({"latitude_deg": 95}, "latitude_deg"),
        ({"tilt_deg": 200}, "tilt_deg"),
        ({"cable_area_mm2": 0}, "cable_area_mm2"),
        ({"v_mp_v": None}, "v_mp_v"),
        ({"v_mp_v": float("nan")}, "v_mp_v"),
        ({"v_mp_v": 40.0}, "v_mp_v"),  # above the open circuit
        ({"static_level_m": -3}, "static_level_m"),
        ({"static_level_m": [20.0] * 5 + [float("nan")] + [20.0] * 6}, "static_level_m"),
        ({"static_level_m": [20.0] * 7}, "static_level_m"),
        ({"static_level_m": 60.0}, "setting_depth_m"),  # pump above the water
        ({"pump_type": "nobody's"}, "pump_type"),
        ({"coupling": "by magic"}, "coupling"),
        ({"pipe_inside_mm": 0}, "pipe_inside_mm"),
        ({"test_points": [(40, 5, 10)]}, "power_w"),
        ({"test_points": [(40, 300)]}, "test_points"),
        ({"static_level_m": "deep"}, "static_level_m"),
        ({"setting_depth_m": "under the tree"}, "setting_depth_m"),
        ({"setting_depth_m": None, "static_level_m": None}, "static_level_m"),
        ({"need_l_day": "enough"}, "need_l_day"),
        ({"pipe_inside_mm": None, "pipe_outside_mm": 33.0, "sdr": 11}, "outside_mm"),
        ({"pipe_inside_mm": None, "pipe_outside_mm": 32.0}, "pipe_wall_mm"),
    ],
)
def test_a_row_that_cannot_be_gets_its_reason_and_the_others_are_computed(changes, argument):
    read = chain.fleet_from_rows([invented.row(), invented.row(**changes), invented.row()], invented.pumps())
    assert argument in read.reasons[1]
    assert read.reasons[0] == read.reasons[2] == ""
    got = chain.spot(read.fleet, 800, 30).flow_l_min
    assert np.isnan(got[1]) and got[0] == got[2] > 0
    days = chain.expected_days(read.fleet, [0, 1, 2], [100] * 3, [5.0] * 3).volume_l
    assert np.isnan(days[1]) and days[0] == days[2] > 0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda f: chain.spot(f, -5, 30), "irradiance_w_m2"),
        (lambda f: chain.spot(f, 800, 120), "air_c"),
        (lambda f: chain.spot(f, 800, 30, -1), "static_level_m"),
        (lambda f: chain.spot(f, np.ones(7), 30), "irradiance_w_m2"),
        (lambda f: chain.expected_days(f, [4], [100], [5]), "unit_index"),
        (lambda f: chain.expected_days(f, 0, 400, 5.0), "day_of_year"),
        (lambda f: chain.expected_days(f, [0], [100], [5], kind="sideways"), "kind"),
        (lambda f: chain.day(f, np.ones(5), 30), "poa_w_m2"),
        (lambda f: chain.day(f, np.ones((1, 24)), 30, draw_by_hour=np.ones(24)), "draw_by_hour"),
        (lambda f: chain.working(f.take([0, 0]), 100, 5), "fleet"),
        (lambda f: chain.Faults(leak_fraction=2.0), "leak_fraction"),
    ],
)
def test_a_call_that_cannot_be_is_refused_by_name(call, argument):
    with pytest.raises((Refusal, AssertionError)) as refusal:
        result = call(FLEETS["screw", "tracking"])
        if argument == "day_of_year":  # one of an array: comes back as missing
            assert not np.isnan(result.volume_l).all()
    if refusal.type is Refusal:
        assert refusal.value.argument == argument


def test_defaults_that_were_used_are_named():
    read = chain.fleet_from_rows([invented.row()], invented.pumps())
    assert "soiling_fraction" in read.assumed[0]
    assert "tilt_deg" not in read.assumed[0]
