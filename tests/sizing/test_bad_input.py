"""What the package will not work with, each refused by its name; among many it is missing with that reason, and the
others are computed as if it were not there."""

import numpy as np
import pytest

from sizing import cable, chain, climate, orient, sky
from sizing.checks import Refusal
from sizing.choose import Survey
from sizing.pump import PumpCurve
from tests.sizing import invented

SHEET = {"head_m": [10, 30, 50], "power_w": [100, 200, 300], "flow_l_min": [10, 9, 8]}
SURVEY = {
    "latitude_deg": 12.5, "longitude_deg": -1.5, "static_level_m": 20.0, "rise_m": 5.0, "distance_m": 30.0,
    "need_l_day": 4000.0,
}  # fmt: skip


def sheet(**changes):
    return lambda: PumpCurve("helical", **(SHEET | changes))


def survey(**changes):
    return lambda: Survey(**(SURVEY | changes))


ALONE = [  # what is wrong, the call, the argument that the refusal names, a word of why
    ("a negative head", sheet(head_m=[10, -30, 50]), "head_m", "0"),
    ("a pump curve with two points", sheet(**{name: values[:2] for name, values in SHEET.items()}),
     "flow_l_min", "three"),
    ("a curve at one head", sheet(head_m=[30, 30, 30]), "head_m", "two different heads"),
    ("a gap in the middle of the sheet", sheet(flow_l_min=[10, np.nan, 8]), "flow_l_min", "place 1"),
    ("more water than the power can lift", sheet(power_w=[100, 20, 300]), "power_w", "lifted water"),
    ("a pump of no known kind", lambda: PumpCurve("bucket", **SHEET), "kind", "diaphragm"),
    ("a cable of zero section", lambda: cable.loop_resistance(40.0, 0.0), "area_mm2", "0"),
    ("latitude 95 of the sun", lambda: sky.hours(95, 100, 6.0, 15, 180), "latitude_deg", "-90 to 90"),
    ("latitude 95 of the climate", lambda: climate.default_climate(95.0, 10.0), "latitude_deg", "-90 to 90"),
    ("latitude 95 of the compass", lambda: orient.magnetic_declination_deg(95, 10, 0, 2026.0), "latitude_deg", "90"),
    ("a tilt of 200", lambda: sky.hours(10, 100, 6.0, 200, 180), "tilt_deg", "0 to 90"),
    ("a survey at latitude 95", survey(latitude_deg=95.0), "latitude_deg", "-66 to 66"),
    ("a survey with a tilt of 200", survey(tilt_deg=200.0), "tilt_deg", "0 to 90"),
    ("a survey without a level", survey(static_level_m=np.nan), "static_level_m", "none is missing"),
    ("a gap in the twelve needs", survey(need_l_day=[4000.0] * 5 + [np.nan] + [4000.0] * 6), "need_l_day", "place 5"),
    ("eleven months of sun", lambda: climate.own_climate(12, -1, [5.0] * 11), "ghi_kwh_m2_day", "twelve"),
    ("a gap in the months of sun", lambda: climate.own_climate(12, -1, [5.0] * 6 + [np.nan] + [5.0] * 5),
     "ghi_kwh_m2_day", "place 6"),
    ("months of sun in MJ", lambda: climate.own_climate(12, -1, [20.0] * 12), "ghi_kwh_m2_day", "MJ"),
    ("a skyline with a gap", lambda: sky.ring([(90, 10), (120, np.nan)]), "skyline_deg", "none is missing"),
    ("a window of shade backwards", lambda: sky.shade_windows([(10, 8, 0.5)]), "shade_to_h", "later"),
]  # fmt: skip


@pytest.mark.parametrize(("wrong", "call", "argument", "word"), ALONE, ids=[row[0] for row in ALONE])
def test_alone_it_is_refused_by_its_name_with_the_reason(wrong, call, argument, word):
    with pytest.raises(Refusal) as refusal:
        call()
    assert refusal.value.argument == argument
    assert word in str(refusal.value), str(refusal.value)


ROWS = [  # what is wrong in one installation's row, words of its reason
    ({"latitude_deg": 95}, "latitude_deg = 95"),
    ({"tilt_deg": 200}, "tilt_deg = 200"),
    ({"cable_area_mm2": 0}, "cable_area_mm2 = 0"),
    ({"static_level_m": -5}, "static_level_m = -5"),
    ({"v_mp_v": None}, "v_mp_v"),
    ({"i_sc_a": None}, "i_sc_a"),
    ({"v_oc_v": 20.0}, "v_oc_v"),
    ({"static_level_m": [20.0] * 6 + [np.nan] + [20.0] * 5}, "static_level_m = nan (place 6)"),
    ({"pipe_inside_mm": np.nan}, "pipe_inside_mm = nan"),
    ({"setting_depth_m": 10.0}, "hangs above the water"),
    ({"pump_type": "none of ours"}, "pump_type"),
    ({"coupling": "by hand"}, "coupling"),
    ({"skyline": [(90, 100)]}, "skyline_height_deg = 100"),
    ({"shade_windows": [(7, 9, 2)]}, "shade_share_lost = 2"),
]


def test_among_many_each_is_missing_with_its_reason_and_the_others_are_computed():
    good = invented.row()
    rows = [good]
    for change, _ in ROWS:
        rows += [{**good, **change}, good]
    read = chain.fleet_from_rows(rows, invented.pumps())
    for k, (_, words) in enumerate(ROWS):
        assert words in read.reasons[1 + 2 * k]
    assert (read.reasons[::2] == "").all()
    place = climate.default_climate(12.5, -1.5, 300.0)
    volume = chain.baseline(read.fleet, place).volume_l_day
    assert np.isnan(volume[1::2]).all()
    alone = chain.baseline(read.fleet.take([0]), place).volume_l_day
    np.testing.assert_allclose(volume[::2], np.broadcast_to(alone, volume[::2].shape), rtol=1e-12)


@pytest.mark.parametrize("solve_for", ["irradiance", "head", "power"])
def test_what_is_solved_for_and_put_back_gives_what_was_asked(solve_for):
    fleet = invented.fleet(invented.row())
    at = chain.spot(fleet, 220.0, 28.0)  # below any limit, so that there is one answer
    curve = fleet.pumps[0]
    if solve_for == "power":
        power = curve.power_needed(at.head_m, at.pump_flow_l_min)
        assert power == pytest.approx(at.pump_power_w, rel=1e-6)
    elif solve_for == "head":
        flow = curve.flow(at.head_m, at.pump_power_w)
        assert flow == pytest.approx(at.pump_flow_l_min, rel=1e-6)
    else:
        suns = np.linspace(150, 300, 1501)
        flows = chain.spot(fleet, suns[None], 28.0).flow_l_min[0]
        assert np.interp(at.flow_l_min[0], flows, suns) == pytest.approx(220.0, abs=0.05)
