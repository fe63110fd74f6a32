"""The day's shape as evidence: simulated units with quarter hours, asked with them and without."""

import numpy as np
import pytest

from sizing.causes import shape, signatures, table
from sizing.causes.names import NAMES, NUMBER
from sizing.judge import record
from tests.makers import run_judged_fleet, troubled_fleet
from tests.sizing.invented import fleet, row

ABOUT_NOON = ("shade_before_noon", "shade_after_noon", "frame_turned", "cuts_out")
ASKED_AFTER = 45  # days


def _like():
    """Arrays of which the pump needs every part, so that a shade costs water; the last two with a float switch."""
    tank = {"float_switch": True, "tank_capacity_l": 6000.0}
    return fleet(
        row(modules_in_series=1, tilt_deg=25), row(strings=2, modules_in_series=1, coupling="direct", tilt_deg=22),
        row(static_level_m=48.0, setting_depth_m=65.0, pipe_length_m=80.0, tilt_deg=28),
        row(modules_in_series=1, static_level_m=20.0, tilt_deg=30),
        row(modules_in_series=1, static_level_m=24.0, need_l_day=3000.0, **tank),
        row(static_level_m=20.0, need_l_day=4500.0, **tank),
    )  # fmt: skip


def _asked(n, seed, only, levels="CB", faulty=1.0, days=175, kinds=slice(0, 4)):
    """[(level of instruments, cause or -1, share lost, odds without the shape, odds with it)] of units in trouble."""
    like = _like().take(np.arange(6)[kinds])
    floats = like.float_switch > 0
    made, truth = troubled_fleet.make(
        like, floats, n, days=days, seed=seed, faulty=faulty, levels=levels, only=only, quarters_kept=True
    )
    _, _, _, state, history = run_judged_fleet.run(made._replace(courses=None))
    level, doubt = run_judged_fleet.first_level(made)
    out, signs = [], {}
    for u in range(n):
        day, rows = int(truth.onset[u]) + ASKED_AFTER, np.array(history[u])
        rows = rows[rows["day"] <= day]
        got = [
            run_judged_fleet.causes_of(
                made._replace(courses=courses), signs, u, rows, day, level[u], doubt[u], state.noise[u]
            )
            for courses in (None, made.courses)
        ]
        if None not in got:
            out.append((made.level[u], int(truth.cause[u]), float(truth.lost[u]), *got))
    return out


def _place(odds, cause):
    return int((odds.cause > odds.cause[cause]).sum())


@pytest.mark.parametrize(("level", "only"), [("C", ABOUT_NOON[:2]), ("B", ABOUT_NOON)])
def test_the_right_cause_comes_first_far_oftener_with_the_shape_than_without(level, only):
    """With an own cell, whose noon readings tell cut-outs already, and without one; of losses worth seeing."""
    rows = [r for r in _asked(60, 21, only, levels=level) if r[2] >= 0.1]
    without, with_ = (np.array([_place(r[k], r[1]) for r in rows]) for k in (3, 4))
    told = (
        f"of {len(rows)} faults first {np.sum(without == 0)} without the shape and {np.sum(with_ == 0)} with it, "
        f"among the first three {np.sum(without < 3)} and {np.sum(with_ < 3)}"
    )
    assert len(rows) >= 10, told
    assert np.mean(with_ == 0) >= np.mean(without == 0) + 0.15, told
    assert np.mean(with_ < 3) >= np.mean(without < 3) + 0.1, told


def test_a_sound_unit_whose_frame_stands_a_little_off_its_record_is_not_accused(monkeypatch):
    as_built = troubled_fleet._as_built

    def turned(rng, recorded):
        return as_built(rng, recorded).with_(azimuth_deg=(recorded.azimuth_deg + 8.0) % 360)

    monkeypatch.setattr(troubled_fleet, "_as_built", turned)
    rows = _asked(14, 22, None, faulty=0.0)
    without, with_ = (np.array([r[k].fault for r in rows]) for k in (3, 4))
    told = f"log odds of a fault without the shape {without.round(2)}, with it {with_.round(2)}"
    assert (with_ < 0).all(), told
    assert np.mean(with_ - without) < 0.2, told
    dirty = [r for r in _asked(12, 23, ("dirt",)) if r[2] >= 0.1]
    first = [NAMES[int(np.argmax(r[4].cause))] for r in dirty]
    assert len(dirty) >= 3 and "frame_turned" not in first, first


def test_float_stops_are_no_fault():
    rows = _asked(14, 24, None, faulty=0.0, kinds=slice(4, 6))
    without, with_ = (np.array([r[k].fault for r in rows]) for k in (3, 4))
    told = f"log odds of a fault without the shape {without.round(2)}, with it {with_.round(2)}"
    assert (with_ < 1).all(), told
    assert np.mean(with_ - without) < 0.2, told


def test_a_full_tank_takes_its_quarters_out_and_a_standing_pump_does_not():
    ran = np.tile(np.where((shape.QUARTERS > 7) & (shape.QUARTERS < 13), 8.0, 0.0), (2, 1))
    due = np.tile(np.where((shape.QUARTERS > 7) & (shape.QUARTERS < 17), 8.0, 0.0), (2, 1))
    counts = shape._counts(ran, due, np.array([True, False]))
    hours = shape.QUARTERS[counts[0]]
    assert hours.min() > 7.25 and hours.max() < 12.75, "the quarters next to a stop may be half of one"
    assert counts[1].all()


def test_samples_of_any_rhythm_become_quarter_hours():
    hour = np.arange(5, 19, 1 / 60)
    got = shape.by_quarters(np.zeros(hour.size, int), hour, hour.copy(), 2)
    np.testing.assert_allclose(got[0], shape.QUARTERS - 1 / 120, atol=1e-9)
    assert np.isnan(got[1]).all()
    hourly = np.arange(4, 24.0)
    sparse = shape.by_quarters(np.zeros(hourly.size, int), hourly, np.where(hourly == 9, np.nan, 1.0), 1)
    assert np.isfinite(sparse).sum() == 13, "from five to eighteen, one of them without a figure"


def test_the_current_stands_in_where_no_flow_is_sampled():
    days, nothing = np.array([1, 2]), np.full((2, shape.QUARTERS.size), np.nan)
    due = shape.due(_like(), 0, 5)
    one = shape.course(days, nothing, nothing + 1, nothing, due, 2)
    assert one.by_current
    flow = nothing.copy()
    flow[1] = 3.0
    assert shape.course(days, flow, nothing, nothing, due, 1).by_current, "the flow came a day later"
    assert not shape.course(days, flow, nothing, nothing, due, 2).by_current


@pytest.mark.parametrize("by_current", [False, True])
def test_a_shade_moves_the_shares_of_its_half_of_the_day(by_current):
    """Exact days under their own cell: the difference seen is that of the signature, and a sound day shows none."""
    like = _like()
    sig, due = signatures.of_unit(like, 0, 5), shape.due(like, 0, 5)
    clear = shape.hours_to_quarters(due.light[-1, -4])
    curve = due.current if by_current else due.flow
    size = np.flatnonzero(sig.cause == NUMBER["shade_after_noon"])[-1]
    hidden = shape.hours_to_quarters(due.hidden[-4])
    behind = (shape.QUARTERS > 12) & (due.height < sig.size[size])
    days = np.arange(100, 108)
    ran = np.tile(np.interp(clear, table.SUNS, curve), (8, 1))
    ran[4:] = np.interp(np.where(behind, hidden, clear), table.SUNS, curve)
    rows = record.blank(8)
    rows["day"], rows["clearness"], rows["since"], rows["told_by"] = days, table.X[-4], 1, -1
    rows["measured_l"] = 4000.0
    course = shape.Course(days, ran, np.tile(clear, (8, 1)), by_current, due)
    of_flow, of_sun = shape.channel(course, rows, 107, sig)[0]
    seen, told = of_flow.y.reshape(-1, 3), of_flow.shift(sig)[size].reshape(-1, 3)
    np.testing.assert_allclose(seen[0], 0, atol=1e-6)
    assert seen[-1, 2] < -0.02 < 0.01 < seen[-1, 0]
    np.testing.assert_allclose(seen[-1], told[-1], atol=0.03)
    np.testing.assert_allclose(of_sun.y, 0, atol=1e-6)
