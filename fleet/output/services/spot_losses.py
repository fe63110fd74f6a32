"""Where the water of a spot test is lost, stage by stage: the chain is run again with what was measured put in.

From what would be right by the record, each reading takes its part: the level that the well has, the light that the
modules make current of, the cable's loop, the power that the controller lets through, and what pump and pipe make of
it; last of all what the meter shows of the bucket. What was not measured is said to be untold. Each loss has a range,
from what the instruments leave open.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from django.utils.translation import gettext as _

from sizing import array, chain

AMPS_SIGMA, VOLTS_SIGMA, FLOW_SIGMA, OHM_SIGMA = 0.03, 0.01, 0.03, 0.05  # relative, of one reading (field practice 5.3)
PUMP_SIGMA = 0.05  # of what a sound pump makes of its power, once the unit's own level is known
MOST_LIGHT = 1.15  # three sigma of a hand cell
METER_SIGMA = 0.08  # of the meter's last thirty days against a spot test
EIGHTY = 1.2816
# First water against the minutes it should take: beyond the first, water falls back; below the second, it does not
FALLS_BACK, FILLS_WELL = 1.5, 1.2
AGREES = 0.15  # nearer than this to the bucket a meter's last days are not said to be wrong
BESIDE_AGREES = 0.05  # of a meter read while the bucket filled (common practice, no source)


@dataclass(frozen=True)
class Readings:
    """What a step rests on; NaN where it was not measured. level_m: rested; drawn: drawdown over the recorded one;
    extra_ohm: of the loop, over the lowest that was ever measured there; output_w: what leaves the box."""

    sun: float
    air: float
    record_m: float
    level_m: float
    drawn: float
    own: float
    volts: float
    amps: float
    extra_ohm: float
    flow: float
    output_w: float = np.nan
    pump: float = 0.0


STAGES = ("well", "array", "cable", "controller", "pump")


def waterfall(fleet, values, *, sun, sun_sigma, air, record_m, level_m, level_sigma, own,
              sound_ohm=None, books=None):  # fmt: skip
    """Plain dict: start and end (name, litres a minute), steps (stage, name, loss with range, words), untold sentences.

    own: OwnLevel; sound_ohm: the loop as it was when sound, or None; books: the meter's last days over what was due
    (Judgement.recent_ratio), or None.
    """
    given = _given(fleet, values, sun, air, record_m, level_m, own, sound_ohm)
    sigma = {
        "sun": sun * sun_sigma, "level_m": level_sigma, "own": own.sigma, "pump": PUMP_SIGMA,
        "amps": AMPS_SIGMA * given.amps, "volts": VOLTS_SIGMA * given.volts, "flow": FLOW_SIGMA * given.flow,
        "extra_ohm": OHM_SIGMA * (values.get("loop_ohm") or 0.0),
        "output_w": float(np.hypot(AMPS_SIGMA, VOLTS_SIGMA)) * given.output_w,
    }  # fmt: skip
    moved = [
        replace(given, **{name: getattr(given, name) + sign * step})
        for name, step in sigma.items() if np.isfinite(step) and step > 0 for sign in (1, -1)
    ]  # fmt: skip
    base, *apart = _losses(fleet, [given, *moved])
    halves = [((up - down) / 2) ** 2 for up, down in zip(apart[::2], apart[1::2], strict=True)]
    spread = EIGHTY * np.sqrt(sum(halves, np.zeros(len(STAGES))))
    told = _told(fleet, given, values)
    steps = [
        {
            "stage": stage, "name": str(name), "words": str(words), "loss_l_min": _tidy(base[n]),
            "low_l_min": _tidy(base[n] - spread[n]), "high_l_min": _tidy(base[n] + spread[n]),
            "clear": bool(abs(base[n]) > spread[n]),
        }
        for n, stage in enumerate(STAGES) if told[stage]
        for name, words in [_named(stage, given, _first_water(fleet, given, values))]
    ]  # fmt: skip
    measured = float(given.flow)
    whole = {
        "start": {"name": _("right by the record"), "l_min": _tidy(measured + sum(base))},
        "end": {"name": _("measured"), "l_min": _tidy(measured)},
        "steps": steps,
        "untold": [str(sentence) for sentence in _untold(given, values)],
    }
    return whole | _meter(values, measured, whole["start"]["l_min"], base, books)


def _tidy(value):
    return round(float(value), 2) + 0.0


def _given(fleet, values, sun, air, record_m, level_m, own, sound_ohm):
    def number(name):
        value = values.get(name)
        return np.nan if value is None else float(value)

    flow, drawn = number("flow_l_min"), 1.0
    recorded = flow * (fleet.drawdown_b_m_per_l_min[0] + fleet.drawdown_c[0] * flow)
    if np.isfinite(number("static_level_m")) and np.isfinite(number("pumping_level_m")) and recorded > 0.05:
        drawn = float(np.clip((number("pumping_level_m") - number("static_level_m")) / recorded, 0.1, 20.0))
    extra = number("loop_ohm") - (np.nan if sound_ohm is None else sound_ohm)
    volts, amps = number("array_voltage_v"), number("array_current_a")
    if not (volts > 0 and amps >= 0):
        volts = amps = np.nan
    output = number("output_voltage_v") * number("output_current_a")
    return Readings(sun, air, record_m, level_m, drawn, own.level, volts, amps, extra, flow, output)


def _dipped(values):
    return values.get("static_level_m") is not None or values.get("pumping_level_m") is not None


def _told(fleet, given, values):
    electric = np.isfinite(given.volts)
    return {
        "well": _dipped(values), "array": electric,
        "cable": np.isfinite(given.extra_ohm), "controller": electric and fleet.coupling[0] != 0, "pump": True,
    }  # fmt: skip


def _losses(fleet, readings):
    """Litres a minute lost at each of STAGES, by Readings and stage; all of them in one call of the chain a stage.

    What is NaN in one of the readings must be so in all.
    """
    r = Readings(*(np.array([getattr(one, name.name) for one in readings], float) for name in fields(Readings)))
    many = fleet.take(np.zeros(len(readings), int))
    depth, share = max(float(fleet.setting_depth_m[0]) - 0.5, 0.1), np.exp(r.own)

    def flow(level, faults, sun=r.sun):
        spot = chain.spot(many, np.maximum(sun, 0.0), r.air, np.clip(level, 0, depth), faults)
        return np.nan_to_num(spot.flow_l_min).reshape(len(readings)) * share

    left = [flow(r.record_m, chain.NONE)]
    faults = chain.Faults(drawdown_factor=r.drawn)
    left.append(flow(r.level_m, faults))
    sun, electric = r.sun, bool(np.isfinite(r.volts[0]))
    if electric:
        could = array_current(fleet, r.sun, r.air, r.volts)
        # More current than due is more sun than was measured: by so much at most, for near the open-circuit voltage a
        # volt more or less makes a current of any size.
        with np.errstate(divide="ignore", invalid="ignore"):
            light = np.where(could > 0, np.clip(r.amps / could, 0.0, MOST_LIGHT), 1.0)
        sun = r.sun * light
        left.append(flow(r.level_m, faults, sun))
    else:
        left.append(left[-1])
    if np.isfinite(r.extra_ohm[0]):
        faults = replace(faults, series_resistance_ohm=np.maximum(r.extra_ohm, 0.0))
        left.append(flow(r.level_m, faults, sun))
    else:
        left.append(left[-1])
    if electric and fleet.coupling[0] != 0:
        usual = r.volts * r.amps * float(fleet.controller_efficiency[0])
        through = np.maximum(np.where(np.isfinite(r.output_w), r.output_w, usual), 0.1)
        left.append(flow(r.level_m, replace(faults, controller_cap_w=through), sun))
    else:
        left.append(left[-1])
    left[-1] = left[-1] * (1 + r.pump)
    left.append(r.flow)
    return -np.diff(np.array(left), axis=0).T


def array_current(fleet, sun, air, volts):
    """Current of the sound, usually dirty array at that terminal voltage, A; numbers or arrays."""
    one = fleet.take([0])
    diode = array.fit_diode(*(float(getattr(one, name)[0]) for name in array.SHEET))
    ageing = 1 - one.ageing_fraction_y[0] * max(one.age_y[0], 0)
    clean = (1 - one.soiling_fraction[0]) * (1 - one.mismatch_fraction[0]) * ageing
    cell = air + float(array.working_rise(one.noct_c[0])) * sun
    per_string = array.current(diode, sun * clean, cell, volts / one.modules_in_series[0])
    return np.maximum(0.0, np.asarray(per_string) * float(one.strings[0]))


def _first_water(fleet, given, values):
    """Minutes to first water over what they should be at this sun and level; NaN where nobody took them."""
    minutes = values.get("first_water_min")
    if not minutes or values.get("main_was_full"):
        return np.nan
    due = float(np.ravel(chain.first_water(fleet, given.sun, given.air, given.level_m))[0]) / float(np.exp(given.own))
    return float(minutes) / due if np.isfinite(due) and due > 0.2 else np.nan


def _named(stage, given, first_water):
    if stage == "well":
        words = _("rested level, and how far pumping draws it down, against the record")
        return _("well"), words
    if stage == "array":
        return _("modules"), _("current against what they should give at this voltage and sun")
    if stage == "cable":
        return _("cable"), _("loop resistance against the lowest that was measured here")
    if stage == "controller":
        if np.isfinite(given.output_w):
            return _("controller"), _("power at its output against what the modules could give")
        return _("controller"), _("power let through against what the modules could give")
    if not np.isfinite(given.volts):
        return _("all from modules to pipe"), _("volts and amps would part them")
    if first_water > FALLS_BACK:
        return _("pipe"), _("the first water took long: it falls back in the rising main")
    if first_water < FILLS_WELL:
        return _("pump"), _("the rising main filled in its time, so that the pump gives less")
    return _("pump and pipe"), _("the minutes to first water would part them")


def _untold(given, values):
    if not np.isfinite(given.volts):
        yield _("Volts and amps were not measured: modules, controller and pump cannot be told apart.")
    if values.get("loop_ohm") is None:
        yield _("The loop resistance was not measured: a poor joint would count as pump and pipe.")
    elif not np.isfinite(given.extra_ohm):
        yield _("This is the first loop resistance kept of this unit: only the next one can tell of a poor joint.")
    if not _dipped(values):
        yield _("The level was not dipped: it is taken from the record.")


def _meter(values, measured, start, losses, books):
    """What the meter makes of it: read beside the bucket, else its last days against this test by the bucket."""
    beside = values.get("meter_flow_l_min")
    if beside is not None and measured > 0:
        words = _("read at the meter while the bucket filled")
        return _at_the_meter(beside / measured, BESIDE_AGREES, float(np.hypot(FLOW_SIGMA, FLOW_SIGMA)), measured, words)
    due = measured + float(sum(losses[1:]))  # at the level of today
    if books is None or values.get("flow_by") != "bucket" or measured <= 0 or due <= 0:
        return {}
    words = _("the meter's last thirty days against this bucket")
    return _at_the_meter(books / (measured / due), AGREES, METER_SIGMA, measured, words)


def _at_the_meter(shows, near, sigma, measured, words):
    """`shows`: what the meter shows over what flowed."""
    if abs(np.log(max(shows, 0.01))) < near:
        return {"meter": {"agrees": True, "share": round(float(shows), 2), "words": words}}
    loss = measured * (1 - shows)
    wide = EIGHTY * sigma * measured
    return {
        "meter": {
            "agrees": False, "share": round(float(shows), 2), "name": _("meter"), "loss_l_min": _tidy(loss),
            "low_l_min": _tidy(loss - wide), "high_l_min": _tidy(loss + wide),
            "end": {"name": _("by the meter"), "l_min": _tidy(measured - loss)},
            "words": words,
        }
    }  # fmt: skip
