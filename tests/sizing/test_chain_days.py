"""The chain over days and months, and with faults put in."""

import numpy as np
import pytest

from sizing import chain, climate, sky
from sizing.causes import table as nightly
from sizing.checks import Refusal
from tests.makers import sample_fleet
from tests.sizing import invented

FLEETS = {
    ("screw", "tracking"): invented.fleet(invented.row()),
    ("screw", "direct"): invented.fleet(invented.row(coupling="direct")),
    ("wheel", "tracking"): invented.fleet(invented.row(pump_type="wheel", static_level_m=12.0)),
    ("wheel", "direct"): invented.fleet(invented.row(pump_type="wheel", static_level_m=12.0, coupling="direct")),
}


def flow(fleet, sun=800.0, air=30.0, level=None, **faults):
    return float(chain.spot(fleet, sun, air, level, chain.Faults(**faults)).flow_l_min[0])


# ---- faults ----

SHARES = [
    {"soiling_extra": 0.3}, {"strings_open": 1.0}, {"groups_bypassed": 2.0}, {"pump_flow_factor": 0.7},
    {"pump_slip_head": 0.3}, {"intake_block_factor": 0.12}, {"leak_fraction": 0.3}, {"static_level_drop_m": 8.0},
    {"drawdown_factor": 8.0}, {"controller_cap_w": 120.0}, {"cutout_irradiance": 700.0}, {"series_resistance_ohm": 2.5},
    {"stopped": True}, {"shade_morning_fraction": 0.8}, {"shade_afternoon_fraction": 0.8},
]  # fmt: skip


@pytest.mark.parametrize("fault", SHARES, ids=lambda f: next(iter(f)))
@pytest.mark.parametrize("coupling", ["tracking", "direct"])
def test_every_fault_costs_water(fault, coupling):
    if coupling == "direct" and "controller_cap_w" in fault:
        return  # no box, no ceiling
    fleet = invented.fleet(invented.row(coupling=coupling, strings=2))
    rows = np.zeros(2, int), np.array([80, 200]), np.array([5.0, 6.5])
    sound = chain.expected_days(fleet, *rows).volume_l
    faulty = chain.expected_days(fleet, *rows, faults=chain.Faults(**fault)).volume_l
    assert (faulty < sound * 0.997).all()
    assert (faulty >= 0).all()


def test_electric_faults_show_in_the_current_and_water_faults_do_not():
    fleet = invented.fleet(invented.row(strings=2))
    sound = chain.spot(fleet, 220, 28)
    dirty = chain.spot(fleet, 220, 28, faults=chain.Faults(soiling_extra=0.3))
    leaking = chain.spot(fleet, 220, 28, faults=chain.Faults(leak_fraction=0.3))
    assert dirty.array_current_a[0] == pytest.approx(0.7 * sound.array_current_a[0], rel=0.03)
    assert leaking.array_current_a[0] == pytest.approx(sound.array_current_a[0], rel=0.01)
    assert leaking.flow_l_min[0] < 0.75 * sound.flow_l_min[0]
    assert leaking.drawdown_m[0] < sound.drawdown_m[0]


def test_faults_may_differ_from_unit_to_unit():
    fleet = invented.fleet(invented.row(), invented.row())
    got = chain.spot(fleet, 800, 30, faults=chain.Faults(pump_flow_factor=np.array([1.0, 0.6]))).flow_l_min
    assert got[1] < got[0]
    assert got[0] == pytest.approx(flow(fleet.take([0])))


# ---- days and months ----


@pytest.mark.parametrize("latitude", [12.5, -31.0])  # little and much summer and winter
@pytest.mark.parametrize("kind", FLEETS)
def test_the_fast_rows_agree_with_the_search(kind, latitude):
    """To 1e-4 of the mean over a day's suns and 3e-3 of the largest flow at any sun."""
    fleet = FLEETS[kind].with_(latitude_deg=latitude)
    fast = chain.curve(fleet)
    for month in (0, 3, 4, 9):
        exact = chain.spot(
            fleet, fast.irradiance_w_m2[None], fast.air_c[:, month][:, None], fleet.static_level_m[:, :1]
        )
        gap = fast.flow_l_min[0, month] - exact.flow_l_min[0]
        assert abs(gap[:61]).max() <= 3e-3 * exact.flow_l_min.max()
        assert abs(gap[:61].sum()) <= 1.5e-4 * exact.flow_l_min[0, :61].sum()


def test_levels_that_change_by_month_agree_with_the_search_too():
    levels = 25 + 6 * np.cos(2 * np.pi * np.arange(12) / 12)
    fleet = invented.fleet(invented.row(static_level_m=levels), invented.row(static_level_m=levels, coupling="direct"))
    fast = chain.curve(fleet)
    for month in (0, 5):
        exact = chain.spot(fleet, fast.irradiance_w_m2[None], fast.air_c[:, month][:, None], levels[month]).flow_l_min
        gap = (fast.flow_l_min[:, month] - exact)[:, :61].sum(axis=1)
        assert (abs(gap) <= 2e-4 * exact[:, :61].sum(axis=1)).all()


def test_a_day_fills_the_tank_and_the_float_switch_stops_the_pump():
    base = invented.row(tank_capacity_l=4000.0, need_l_day=3000.0)
    fleet = invented.fleet({**base, "float_switch": True}, base, {**base, "tank_capacity_l": None})
    sun = np.clip(1000 * np.cos((np.arange(24) + 0.5 - 12) * np.pi / 13), 0, None)[None]
    day = chain.day(fleet, sun, 28.0)
    assert day.volume_l[0] == pytest.approx(3000, rel=0.02)  # no more than is drawn
    assert day.full_h[0] > 3
    assert day.volume_l[1] == day.volume_l[2] > 5000
    assert day.spilled_l[1] == pytest.approx(day.volume_l[1] - 3000, rel=0.02)
    assert (day.tank_l[:2] <= 4000 + 1e-9).all()
    assert day.start_h[2] < 8.5 and day.stop_h[2] > 15.5
    assert day.morning_share[2] == pytest.approx(0.5, abs=0.01)


def test_a_well_at_the_intake_holds_the_pump_to_what_it_gives():
    fleet = invented.fleet(invented.row(setting_depth_m=29.5, drawdown_b_m_per_l_min=0.2))
    at = chain.spot(fleet, 1000, 25)
    assert chain.STATES[int(at.state[0])] == "at what the well gives"
    assert at.pumping_level_m[0] == pytest.approx(29.0)
    assert at.flow_l_min[0] == pytest.approx(1.0 / 0.2)


def test_a_meter_that_stopped_shows_nothing_of_what_flows():
    sun = np.full((1, 24), 500.0)
    day = chain.day(FLEETS["screw", "tracking"], sun, 28.0, faults=chain.Faults(meter_stopped=True))
    assert day.volume_l[0] > 0 and day.metered_l[0] == 0
    slow = chain.day(FLEETS["screw", "tracking"], sun, 28.0, faults=chain.Faults(meter_factor=0.8))
    assert slow.metered_l[0] == pytest.approx(0.8 * day.volume_l[0])


def test_a_turned_frame_is_seen_in_the_shape_of_the_day():
    fleet = invented.fleet(invented.row(tilt_deg=25))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    south, turned = (chain.baseline(fleet, place, faults=chain.Faults(azimuth_turn_deg=a)) for a in (0.0, 60.0))
    assert turned.volume_l_day.mean() == pytest.approx(south.volume_l_day.mean(), rel=0.08)
    assert (turned.morning_share < south.morning_share - 0.02).all()


def test_a_baseline_says_range_start_and_stop():
    fleet = invented.fleet(invented.row(), invented.row(coupling="direct"))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    got = chain.baseline(fleet, place)
    assert got.volume_l_day.shape == (2, 12) and got.by_kind_l.shape == (2, 12, 9)
    assert (got.low_l_day < got.volume_l_day).all() and (got.volume_l_day < got.high_l_day).all()
    assert (np.diff(got.by_kind_l, axis=2) >= -0.02 * got.by_kind_l.max()).all()
    assert (got.start_h < 10).all() and (got.stop_h > 14).all()
    assert chain.baseline(fleet, place, cores=2).volume_l_day == pytest.approx(got.volume_l_day)
    with pytest.raises(Refusal, match="day_ghi"):
        chain.baseline(fleet, place._replace(day_ghi_kwh_m2_day=np.ones((3, 12, 9))))


def test_a_family_of_small_units_delivers_what_the_trade_knows():
    """Common practice, no source: about 1,700 to 13,000 litres a day according to depth."""
    small = invented.row(modules_in_series=1, strings=1)
    rows = [{**small, "static_level_m": d, "setting_depth_m": d + 15, "pipe_length_m": d + 20} for d in (8, 35, 85)]
    fleet = invented.fleet(*rows)
    volumes = chain.expected_days(fleet, [0, 1, 2], [100] * 3, [6.0] * 3).volume_l
    assert (np.diff(volumes) < 0).all()
    assert volumes.min() > 1700 and volumes.max() < 13000


def test_the_working_shows_every_step_with_its_origin():
    read = chain.fleet_from_rows([invented.row()], invented.pumps())
    steps = chain.working(read.fleet, 100, 6.0, assumed=read.assumed[0])
    by = {s.symbol: s for s in steps}
    assert {"H0", "KT", "Hi", "Tc", "VA", "IA", "R", "h0", "s", "hf", "H", "Q", "V"} <= set(by)
    assert by["V"].value == pytest.approx(
        chain.expected_days(read.fleet, [0], [100], [6.0], "horizontal", air_c=by["Ta"].value).volume_l[0], rel=1e-6
    )
    assert "default" in by["1 − losses"].origin
    at = chain.spot(read.fleet, by["Gi"].value, by["Ta"].value, by["h0"].value)
    assert by["Q"].value == pytest.approx(at.flow_l_min[0])


def test_levels_given_by_day_move_the_answer():
    fleet = FLEETS["wheel", "tracking"]
    got = chain.expected_days(fleet, [0] * 3, [100] * 3, [6.0] * 3, static_level_m=[8.0, 12.0, 18.0]).volume_l
    assert got[0] > got[1] > got[2] > 0
    assert got[1] == pytest.approx(chain.expected_days(fleet, [0], [100], [6.0]).volume_l[0], rel=0.01)
    assert chain.level_sensitivity(fleet)[0] == pytest.approx((got[0] - got[2]) / 10 / got[1], rel=0.35)


def test_first_water_comes_after_the_pipe_is_filled():
    """Common practice, no source: a small unit on 25 mm PE set at about 30 m, three to four minutes in ordinary sun."""
    small = invented.row(pump_type="type-D1", coupling="direct", modules_in_series=1)
    small |= sample_fleet.modules()["type-P36S"] | {"pipe_inside_mm": 20.4, "pipe_length_m": 36.0}
    small |= {"static_level_m": 27.0, "setting_depth_m": 32.0, "cable_length_m": 36.0}
    rows = [small, {**small, "static_level_m": 20.0}, {**small, "pipe_inside_mm": 26.0}]
    fleet = chain.fleet_from_rows(rows, sample_fleet.pumps()).fleet
    minutes = chain.first_water(fleet, 700.0, 30.0)
    assert 2.5 <= minutes[0] <= 4
    assert minutes[1] < minutes[0] < minutes[2]
    assert (chain.first_water(fleet, 900.0, 25.0) <= minutes).all()
    assert (chain.first_water(fleet, 700.0, 30.0, main_full=True) == 0).all()
    assert (chain.first_water(fleet, 5.0, 30.0) == np.inf).all()
    leaking = chain.first_water(fleet, 700.0, 30.0, faults=chain.Faults(leak_fraction=0.5))
    assert (leaking > 1.8 * minutes).all()


def test_answers_that_rest_on_no_test_point_are_marked():
    fleet = invented.fleet(invented.row(), invented.row(static_level_m=120.0, setting_depth_m=140.0, strings=3))
    at = chain.spot(fleet, np.array([300.0, 1000.0]), 25.0)
    assert chain.untested(fleet, at).tolist() == [False, True]


@pytest.mark.parametrize("azimuth_deg", [180.0, 90.0, 270.0, 0.0])
def test_the_chain_sees_the_light_of_the_sky_package(azimuth_deg):
    """One model: in-plane irradiation of every kind of day is that of `sky.hours` to the last digits, also of frames
    turned away from a low sun."""
    hills = ((60, 25), (100, 30), (140, 5))
    rows = [invented.row(azimuth_deg=azimuth_deg, tilt_deg=35.0, latitude_deg=lat) for lat in (12.5, -31.0)]
    rows += [{**row, "skyline": hills, "shade_windows": [(15, 17, 0.7)]} for row in rows]
    fleet = invented.fleet(*rows)
    table = chain.day_table(fleet)
    middle = np.array([15.5, 45.5, 75.0, 105.5, 136.0, 166.5, 197.0, 228.0, 258.5, 289.0, 319.5, 350.0])
    opened, left = chain.open_sky(fleet, middle)
    hours = sky.hours(
        fleet.latitude_deg[:, None, None], middle[:, None], table.horizontal_kwh_m2, fleet.tilt_deg[:, None, None],
        fleet.azimuth_deg[:, None, None], beam_open=(opened * left[:, None])[:, :, None, :],
        sky_share=sky.sky_share(fleet.skyline_deg)[:, None, None],
    )  # fmt: skip
    caught = hours.caught_w_m2.sum(axis=-1) / 1000
    np.testing.assert_allclose(table.in_plane_kwh_m2, caught, rtol=1e-9)
    assert (table.in_plane_kwh_m2[2:] < table.in_plane_kwh_m2[:2]).all()


def test_a_skyline_and_a_window_of_shade_cost_water_at_their_hours():
    east, west = [(45, 30), (90, 35), (135, 30), (180, 0)], [(180, 0), (225, 30), (270, 35), (315, 30)]
    shaded = [{"skyline": east}, {"skyline": west}, {"shade_windows": [(6, 10, 0.8)]}, {}]
    fleet = invented.fleet(*(invented.row(**more) for more in shaded))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    got = chain.baseline(fleet, place)
    assert (got.volume_l_day[:3] < 0.99 * got.volume_l_day[3]).all()
    assert (got.morning_share[[0, 2]] < 0.49).all() and (got.morning_share[1] > 0.51).all()
    assert got.morning_share[3] == pytest.approx(0.5)
    assert (got.start_h[0] > got.start_h[3] + 0.05).all() and (got.stop_h[1] < got.stop_h[3] - 0.05).all()
    alone = chain.baseline(fleet.take([3]), place._replace(**{
        name: np.asarray(getattr(place, name))[3:] for name in ("day_ghi_kwh_m2_day", "air_c", "band")
    }))  # fmt: skip
    assert alone.volume_l_day[0] == pytest.approx(got.volume_l_day[3])  # another's hills do not touch it


def test_the_nightly_table_sees_the_same_hills():
    hills = [(45, 20), (90, 30), (135, 20), (180, 0)]
    fleet = invented.fleet(invented.row(skyline=hills), invented.row(), invented.row(shade_windows=[(6, 9, 1.0)]))
    caught, plane = nightly.days_of_each_clearness(fleet)
    assert caught.shape == (3, 12, nightly.CLEARNESS.size, 24)
    morning, evening = caught[..., :12].sum(axis=-1), caught[..., 12:].sum(axis=-1)
    bright = nightly.CLEARNESS > 0.5  # on dull days there is no beam to lose
    assert (morning[0, :, bright] < morning[1, :, bright]).all() and (plane[0] < plane[1]).all()
    assert evening[2] == pytest.approx(evening[1])
    assert (morning[2, :, bright] < morning[1, :, bright]).all()
    alone = nightly.days_of_each_clearness(fleet.take([1]))[0]
    np.testing.assert_allclose(caught[1], alone[0])


def test_start_and_stop_lie_where_the_light_passes_the_threshold():
    fleet = invented.fleet(invented.row(), invented.row(azimuth_deg=140.0, tilt_deg=30.0))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    got = chain.baseline(fleet, place)
    np.testing.assert_allclose(got.start_h[0] + got.stop_h[0], 24)
    assert (got.start_h[1] + got.stop_h[1] < 23.95).all()  # looks to the morning sun


def test_a_missing_day_or_month_of_a_climate_spoils_only_itself():
    fleet = invented.fleet(invented.row(), invented.row())
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    whole = chain.baseline(fleet, place)
    days = place.day_ghi_kwh_m2_day.copy()
    days[0, 3, 4] = np.nan
    got = chain.baseline(fleet, place._replace(day_ghi_kwh_m2_day=days))
    assert np.isnan(got.volume_l_day[0, 3]) and np.isnan(got.by_kind_l[0, 3, 4])
    assert np.isfinite(np.delete(got.volume_l_day[0], 3)).all()
    assert got.volume_l_day[1] == pytest.approx(whole.volume_l_day[1])
    air = place.air_c.copy()
    air[1, 0] = np.nan
    assert np.isnan(chain.baseline(fleet, place._replace(air_c=air)).volume_l_day[1]).all()


def test_a_fleet_of_many_data_sheets_is_told_apart():
    rows = [invented.row(p_stc_w=250 + k, i_mp_a=8.23 + 0.01 * k) for k in range(20)]
    together = chain.spot(invented.fleet(*rows), 300.0, 25.0).array_power_w
    alone = [chain.spot(invented.fleet(r), 300.0, 25.0).array_power_w[0] for r in rows]
    assert together == pytest.approx(alone)
    assert (np.diff(together) > 0).all()


def test_a_stopped_unit_gives_nothing_and_says_so():
    fleet = invented.fleet(invented.row(), invented.row(coupling="direct"))
    stopped = chain.Faults(stopped=True)
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    assert (chain.baseline(fleet, place, faults=stopped).volume_l_day == 0).all()
    at = chain.spot(fleet, 800.0, 25.0, faults=stopped)
    assert [chain.STATES[int(s)] for s in at.state] == ["stopped", "stopped"]
    assert (at.array_current_a == 0).all() and (at.array_voltage_v > 60).all()


def test_a_hole_takes_its_water_first_and_most_at_low_sun():
    fleet = invented.fleet(invented.row())
    hole = chain.Faults(leak_l_min_30m=3.0)
    suns = np.array([[100.0, 200.0, 400.0, 800.0]])
    sound, leaking = (chain.spot(fleet, suns, 28.0, faults=f) for f in (chain.NONE, hole))
    share = 1 - leaking.flow_l_min / sound.flow_l_min
    assert (np.diff(share[0]) < 0).all()
    assert leaking.pump_flow_l_min - leaking.flow_l_min == pytest.approx(3.0 * np.sqrt(0.5 * 33 / 30), rel=1e-9)
    fast = chain.curve(fleet, faults=hole)
    exact = chain.spot(fleet, fast.irradiance_w_m2[None], fast.air_c[:, :1], fleet.static_level_m[:, :1], hole)
    assert abs(fast.flow_l_min[0, 0] - exact.flow_l_min[0])[:61].max() < 4e-3 * exact.flow_l_min.max()


def test_something_in_the_east_takes_the_morning_only():
    fleet = invented.fleet(invented.row())
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    open_sky = chain.baseline(fleet, place)
    tree = chain.baseline(fleet, place, faults=chain.Faults(shade_morning_top_deg=50.0))
    assert (tree.morning_share < open_sky.morning_share - 0.02).all()
    after = lambda b: b.volume_l_day * (1 - b.morning_share)  # noqa: E731
    assert after(tree) == pytest.approx(after(open_sky), rel=1e-6)
    same_sun = [0], [100], [5.5]
    assert chain.expected_days(fleet, *same_sun, faults=chain.Faults(off_share=0.25)).volume_l == pytest.approx(
        0.75 * chain.expected_days(fleet, *same_sun).volume_l
    )


@pytest.mark.parametrize("swing_m", [0.5, 2.0])
def test_levels_that_differ_by_month_give_each_month_what_its_own_level_gives_all_year(swing_m):
    """The rows shared between levels against those of one level: 1e-4 of a month's mean, 5e-4 on any day."""
    some = sample_fleet.fleet().fleet.take(slice(0, None, 9))
    place = climate.default_climate(some.latitude_deg, some.longitude_deg, some.altitude_m)
    level = np.maximum(some.static_level_m + swing_m * np.sin(np.arange(12) * np.pi / 6), 0.1)
    got = chain.baseline(some, place, static_level_m=level).by_kind_l
    assert len(np.unique(some.coupling)) == 2
    for month in (1, 3, 7, 9):
        alone = chain.baseline(some, place, static_level_m=level[:, [month]]).by_kind_l[:, month]
        mean = alone.mean(axis=1)
        wet = mean > 50
        gap = got[:, month] - alone
        assert (np.abs(gap.mean(axis=1))[wet] < 1e-4 * mean[wet]).all()
        assert (np.abs(gap)[wet] < 5e-4 * mean[wet, None]).all()


def test_a_climate_of_many_kinds_of_day_gives_each_kind_what_it_gives_among_few():
    fleet = invented.fleet(invented.row(), invented.row(coupling="direct", azimuth_deg=150.0))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    days = np.asarray(place.day_ghi_kwh_m2_day)
    many = chain.baseline(fleet, place._replace(day_ghi_kwh_m2_day=np.concatenate([days] * 4, axis=-1)))
    few = chain.baseline(fleet, place)
    np.testing.assert_array_equal(many.by_kind_l, np.concatenate([few.by_kind_l] * 4, axis=-1))
    assert many.volume_l_day == pytest.approx(few.volume_l_day)
    assert many.morning_share == pytest.approx(few.morning_share)


def test_a_frame_that_faces_the_equator_is_counted_by_its_morning_alone():
    """Half the hours, twice the water: as a frame a hair's breadth off, of which all hours are counted."""
    due, off = (invented.fleet(*(invented.row(coupling=c, azimuth_deg=180.0 + turn, tilt_deg=20.0) for c in (0, 1)))
                for turn in (0.0, 1e-6))  # fmt: skip
    place = climate.default_climate(due.latitude_deg, due.longitude_deg, due.altitude_m)
    got, whole = chain.baseline(due, place), chain.baseline(off, place)
    np.testing.assert_allclose(got.by_kind_l, whole.by_kind_l, rtol=1e-4)
    np.testing.assert_allclose(got.stop_h, whole.stop_h, rtol=1e-4)
    table, full = chain.day_table(due), chain.day_table(off)
    for name in table._fields:
        np.testing.assert_allclose(getattr(table, name), getattr(full, name), rtol=1e-4, atol=1e-3)


@pytest.mark.parametrize("kind", FLEETS)
def test_a_days_range_is_made_of_climate_model_and_instrument(kind):
    fleet = FLEETS[kind]
    asked = [0, 0], [100, 100], [5.0, 6.5]
    got = chain.expected_days(fleet, *asked)
    half = got.high_l - got.volume_l
    parts = np.stack([got.climate_l, got.model_l, got.instrument_l])
    assert (parts > 0).all() and half == pytest.approx(np.sqrt((parts**2).sum(axis=0)))
    better = chain.expected_days(fleet, *asked, irradiation_sigma=0.0)
    assert (better.instrument_l < got.instrument_l).all() and better.model_l == pytest.approx(got.model_l)
    known = chain.expected_days(fleet, *asked, unit_sigma=0.0)
    assert (known.model_l < got.model_l).all() and known.instrument_l == pytest.approx(got.instrument_l)
    dipped = chain.expected_days(fleet, *asked, static_level_m=fleet.static_level_m[[0, 0], 3])
    assert (dipped.model_l < got.model_l).all() and (dipped.instrument_l > got.instrument_l).all()


def test_a_month_s_range_is_made_of_the_same_parts():
    fleet = invented.fleet(invented.row(), invented.row(pump_type="wheel", static_level_m=12.0))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    got = chain.baseline(fleet, place)
    parts = np.stack([got.climate_l_day, got.model_l_day, got.instrument_l_day])
    assert got.high_l_day - got.volume_l_day == pytest.approx(np.sqrt((parts**2).sum(axis=0)))
    sure = chain.baseline(fleet, place._replace(band=np.zeros(2)))
    assert (sure.climate_l_day == 0).all() and sure.model_l_day == pytest.approx(got.model_l_day)


def test_an_error_of_head_costs_a_wheel_more_than_a_screw():
    """The same shares of acceptance go through the chain's own slope (ISO 9906 for wheels, API 676 for screws)."""
    screw, wheel = FLEETS["screw", "tracking"], FLEETS["wheel", "tracking"]
    share = lambda fleet: float((got := chain.expected_days(fleet, [0], [100], [5.5])).model_l[0] / got.volume_l[0])  # noqa: E731
    assert share(wheel) > 1.3 * share(screw)
    weak = wheel.with_(drawdown_b_m_per_l_min=0.4)
    assert share(weak) > share(wheel)  # the well's law is known to a fifth


@pytest.mark.parametrize("swing_m", [5.0, 10.0])
def test_levels_that_swing_far_agree_with_the_search(swing_m):
    """Units whose water comes down to the pump among them: 1e-4 of what flows over a day's suns."""
    some = sample_fleet.fleet().fleet.take(np.r_[0:240:12, 17, 35, 210])
    level = np.maximum(some.static_level_m + swing_m * np.sin(np.arange(12) * np.pi / 6), 0.1)
    assert (level.max(axis=1) > some.setting_depth_m).any()
    fast = chain.curve(some, static_level_m=level)
    for month in (1, 3, 5, 9):
        exact = chain.spot(some, fast.irradiance_w_m2[None], fast.air_c[:, [month]], level[:, [month]]).flow_l_min
        whole = exact[:, :61].sum(axis=1)
        gap = np.abs((fast.flow_l_min[:, month] - exact)[:, :61].sum(axis=1))
        assert (gap <= 1e-4 * np.maximum(whole, 1)).all()


def test_what_hides_the_low_sun_costs_water_day_by_day_as_it_does_in_the_mean():
    fleet = invented.fleet(invented.row(), invented.row(azimuth_deg=150.0))
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    sound, tree = (
        chain.day_table(fleet, faults=chain.Faults(shade_morning_top_deg=top)).volume_l for top in (0.0, 50.0)
    )
    clear = tree[..., -1] / sound[..., -1]
    assert (clear < 0.93).all() and (clear > 0.5).all(), "of a clear day, a part of its morning"
    assert (tree[..., 0] / sound[..., 0] > 0.96).all(), "a dull day has hardly any shadows"
    by_mean = chain.baseline(fleet, place, faults=chain.Faults(shade_morning_top_deg=50.0)).volume_l_day
    whole = chain.baseline(fleet, place).volume_l_day
    assert np.all((by_mean / whole < 0.97) & (by_mean / whole > clear))
