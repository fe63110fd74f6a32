"""A spot test answered at once: what flow is right for this sun and this level, and where water is lost if it is less.

The range rests on how the sun and the flow were measured, on the level, and on what the calculation leaves open; the
unit's own commissioning tests narrow the last. One test cannot prove less than about a fifth; the answer says so.
"""

from dataclasses import dataclass

import numpy as np
from django.db.models import Min
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Judgement
from fleet.output.services.spot_losses import array_current, waterfall
from fleet.readings.models import SpotTest
from sizing import array, chain

# One sigma of an irradiance, relative, by how it was got; of a flow; both by instrument and hand (field practice: 5 %
# for a hand cell, 2-3 % for a pyranometer, 3-5 % for a module's own current, 10-15 % for a clear sky by eye).
SUN_SIGMA = {"reference_cell": 0.05, "pyranometer": 0.03, "module_isc": 0.05, "clear_sky": 0.13}
FLOW_SIGMA = {"bucket": 0.03, "meter": 0.03}
LEVEL_SIGMA_M = {True: 0.05, False: 2.0}  # dipped, or taken from the record
UNIT_SIGMA = 0.08  # a sound unit against its calculation, before its own tests are known
TEST_SIGMA = 0.06  # one commissioning test: sun and flow of one morning
MODEL_SIGMA = 0.03  # what stays open once the unit's own level is known
LEAST_SUN_W_M2 = 250.0  # below it a small change of sun is all or nothing
BOOKS_DAYS = 30  # how far a test may lie from the meter's last days to be compared with them
EIGHTY = 1.2816  # the range holds four sound readings in five
PROVES = 2.0  # sigma beyond which a reading counts as too low or too high


STAGES = {
    "well": gettext_lazy("well"),
    "array": gettext_lazy("modules"),
    "cable": gettext_lazy("cable"),
    "controller": gettext_lazy("controller"),
}


@dataclass
class OwnLevel:
    """Log of a unit's own sound output over the calculation, its sigma, and what it rests on."""

    level: float = 0.0
    sigma: float = UNIT_SIGMA
    tests: int = 0
    judged: bool = False
    books: float | None = None  # the meter's last thirty days over what was due

    @property
    def share(self):
        return float(np.exp(self.level))


def answer_spot(installation, readings):
    """What should have been read and what to think of it. `readings`: a SpotTest or a dict of its fields.

    Returns a plain dict: verdict ("as_expected", "below", "above", "cannot_tell"), because, expected_l_min {low,
    middle, high}, measured_l_min, ratio, stages [{stage, expected, measured, unit, loss_l_min, words}], waterfall where
    something can be told, rests_on.
    """
    values = readings if isinstance(readings, dict) else _fields(readings)
    rows = read_fleet([installation.pk], (values.get("at") or timezone.now()).year)
    if not len(rows):
        reason = rows.trouble.get(installation.pk, "")
        return _cannot(_("The expected flow of this unit cannot be worked out: %s") % reason, values)
    fleet = rows.fleet
    sun, sun_sigma = _sun(fleet, values)
    if sun is None or not np.isfinite(sun):
        because = _("Without the irradiance nothing can be said about the flow. Measure it in the same minutes.")
        return _cannot(because, values)
    air = values.get("air_c")
    air = float(chain.default_air(fleet.latitude_deg, fleet.altitude_m).mean()) if air is None else air
    level, dipped, note = _level(fleet, rows, values, sun, air)
    own = own_level(installation, before=values.get("at"), exclude=getattr(readings, "pk", None))
    middle, low, high, sigma = _range(fleet, sun, sun_sigma, air, level, dipped, own, values)
    if not np.isfinite(high):  # a sun, an air or a level beyond all that the calculation takes
        return _cannot(_("The expected flow of this unit cannot be worked out: %s") % "", values)
    answer = {
        "expected_l_min": {"low": round(low, 2), "middle": round(middle, 2), "high": round(high, 2)},
        "low_l_min": round(low, 2),
        "high_l_min": round(high, 2),
        "irradiance_w_m2": round(sun),
        "static_level_m": round(level, 2),
        "rests_on": _rests_on(values, own, dipped, note, rows.assumed.get(installation.pk, ())),
    }
    if values.get("flow_l_min") is None:  # what would be right is told all the same
        return _cannot(_("No flow was measured."), values, sun=sun) | answer
    measured = float(values["flow_l_min"])
    answer |= {
        "measured_l_min": round(measured, 2),
        "ratio": round(measured / middle, 3) if middle > 0 else None,
    }
    answer |= _verdict(measured, middle, sigma, sun)
    if measured == 0 and answer["verdict"] == "below":
        answer |= _no_water(fleet, values, sun, air, level, own)
    sound_ohm, fall = sound_loop(installation, values.get("at")), None
    if answer["verdict"] != "cannot_tell":
        fall = answer["waterfall"] = waterfall(
            fleet, values, sun=sun, sun_sigma=sun_sigma, air=air, record_m=_record(fleet, values), level_m=level,
            level_sigma=LEVEL_SIGMA_M[dipped], own=own, sound_ohm=sound_ohm, books=own.books,
        )  # fmt: skip
    return answer | {"stages": _stages(fleet, sun, air, level, sound_ohm, values, fall)}


def sound_loop(installation, before=None):
    """The lowest loop resistance of cable and motor that was ever measured on this installation, ohm; or None.

    The motor's own share stands on no sheet that we keep, so the loop is held against itself: joints only add to it.
    """
    tests = SpotTest.objects.filter(installation=installation, loop_ohm__gt=0, standing__in=(0, 2))
    tests = tests if before is None else tests.filter(at__lt=before)
    return tests.aggregate(least=Min("loop_ohm"))["least"]


def _fields(test):
    names = [f.name for f in SpotTest._meta.concrete_fields]
    return {name: getattr(test, name) for name in names if name not in ("installation", "taken_by")}


def _cannot(because, values, **more):
    flow = values.get("flow_l_min")
    return {
        "verdict": "cannot_tell", "because": because, "expected_l_min": None,
        "measured_l_min": None if flow is None else round(float(flow), 2), "stages": [], "rests_on": [], **more,
    }  # fmt: skip


def _sun(fleet, values):
    how = values.get("sun_by") or "none"
    sun = values.get("irradiance_w_m2")
    if sun is None and values.get("module_isc_a") is not None:
        how = "module_isc"
        warm = values.get("cell_c")
        sun = float(
            array.irradiance_from_short_circuit(
                values["module_isc_a"], 45.0 if warm is None else warm, fleet.i_sc_a[0], fleet.alpha_isc_pct_k[0]
            )
        )
    if sun is None:
        return None, None
    return float(sun), SUN_SIGMA.get(how, 0.08)


def _record(fleet, values):
    """Static level that the record has for the month of the test, m below datum."""
    levels = fleet.static_level_m[0]
    return float(levels[values["at"].month - 1] if values.get("at") else levels.mean())


def _level(fleet, rows, values, sun, air):
    """(static level below datum, whether it was dipped, a word on how)."""
    record = _record(fleet, values)
    if values.get("static_level_m") is not None:
        return float(values["static_level_m"]), True, ""
    if values.get("pumping_level_m") is not None and values.get("flow_l_min"):
        flow = float(values["flow_l_min"])
        drawn = flow * (fleet.drawdown_b_m_per_l_min[0] + fleet.drawdown_c[0] * flow)
        return max(0.0, float(values["pumping_level_m"]) - drawn), True, "pumping"
    return record, False, "record"


def own_level(installation, before=None, exclude=None):
    """What is known of the unit's own sound output against the calculation (OwnLevel)."""
    # Until readings have shown anything (a unit that only tests are taken of), the level is that of the tests alone.
    judged = Judgement.objects.filter(
        pk=installation.pk, level_ratio__isnull=False, recent_ratio__isnull=False
    ).first()  # fmt: skip
    if judged is not None and judged.level_ratio > 0:
        apart = abs((judged.through - before.date()).days) if judged.through and before else 0
        books = judged.recent_ratio if apart <= BOOKS_DAYS else None  # other days say nothing of this test
        return OwnLevel(float(np.log(judged.level_ratio)), 0.04, 0, True, books)
    tests = SpotTest.objects.filter(
        installation=installation, kind__in=["commissioning", "after_work"], standing__in=(0, 2),
        irradiance_w_m2__gte=LEAST_SUN_W_M2, flow_l_min__gt=0,
    ).exclude(pk=exclude)  # fmt: skip
    if before is not None:
        tests = tests.filter(at__lt=before)
    tests = list(tests.order_by("at"))
    rows = read_fleet([installation.pk], tests[0].at.year) if tests else None
    if not tests or not len(rows):
        return OwnLevel()
    static = next((t.static_level_m for t in tests if t.static_level_m is not None), None)
    air = [30.0 if t.air_c is None else t.air_c for t in tests]
    level = [float(rows.fleet.static_level_m[0].mean()) if static is None else static] * len(tests)
    due = chain.spot(
        rows.fleet, np.array([[t.irradiance_w_m2 for t in tests]]), np.array([air]), np.array([level])
    ).flow_l_min[0]
    ratios = [np.log(t.flow_l_min / d) for t, d in zip(tests, due) if d > 0]
    ratios = [r for r in ratios if abs(r) < 0.5]  # beyond it the test, not the unit, is in doubt
    if not ratios:
        return OwnLevel()
    noise = MODEL_SIGMA**2 + TEST_SIGMA**2 / len(ratios)
    gain = UNIT_SIGMA**2 / (UNIT_SIGMA**2 + noise)
    return OwnLevel(gain * float(np.median(ratios)), float(np.sqrt(UNIT_SIGMA**2 * (1 - gain))), len(ratios))


def _range(fleet, sun, sun_sigma, air, level, dipped, own, values):
    depth = max(fleet.setting_depth_m[0] - 0.5, 0.1)
    step = LEVEL_SIGMA_M[dipped]
    suns = np.array([sun, sun * (1 + sun_sigma), sun * (1 - sun_sigma), sun, sun])
    levels = np.clip([level, level, level, level + step, max(level - step, 0)], 0, depth)
    flow = chain.spot(fleet, suns[None, :], np.full((1, 5), air), levels[None, :]).flow_l_min[0] * np.exp(own.level)
    middle = float(flow[0])
    by_sun = (flow[1] - flow[2]) / 2
    by_level = (flow[4] - flow[3]) / 2
    by_flow = FLOW_SIGMA.get(values.get("flow_by"), 0.04) * middle
    by_unit = np.hypot(own.sigma, MODEL_SIGMA) * middle
    sigma = float(np.sqrt(by_sun**2 + by_level**2 + by_flow**2 + by_unit**2))
    return middle, max(0.0, middle - EIGHTY * sigma), middle + EIGHTY * sigma, sigma


def _verdict(measured, middle, sigma, sun):
    if sun < LEAST_SUN_W_M2:
        return {
            "verdict": "cannot_tell",
            "because": _("The sun is too low to judge by: try again above %(w)s W/m².") % {"w": round(LEAST_SUN_W_M2)},
        }
    if middle <= 0:
        return {"verdict": "cannot_tell", "because": _("At this sun and level this unit lifts no water yet.")}
    if sigma > 0.3 * middle:
        return {
            "verdict": "cannot_tell",
            "because": _("What is known here leaves the expected flow too open. Dip the level, measure the sun."),
        }
    off = (measured - middle) / sigma
    share = measured / middle
    if off < -PROVES:
        because = _("%(share)s %% of what is right for this sun and level.") % {"share": round(100 * share)}
        return {"verdict": "below", "because": because}
    if off > PROVES:
        because = _("More than this unit can give here: check the irradiance, the bucket and the watch.")
        return {"verdict": "above", "because": because}
    proves = round(100 * PROVES * sigma / middle)
    if abs(off) > EIGHTY:  # outside what is shown, and yet no proof: one sound reading in five lies here or beyond
        because = _("A little outside the range, as one sound reading in five is: take it once more. This one test "
                    "would show a loss of %(least)s %% or more.")  # fmt: skip
    else:
        because = _("Within what is right. This one test would show a loss of %(least)s %% or more.")
    because %= {"least": proves}
    return {"verdict": "as_expected", "because": because}


def _no_water(fleet, values, sun, air, level, own):
    """What to think of it that no water came: nothing yet, where an empty rising main would not have filled."""
    watched = values.get("watched_min")
    if watched is None or values.get("main_was_full"):
        return {"because": _("No water came, where this sun and level should give some.")}
    fills = float(np.ravel(chain.first_water(fleet, sun, air, max(level, 0.0)))[0]) / float(np.exp(own.level))
    if not np.isfinite(fills):
        return {"because": _("No water came, where this sun and level should give some.")}
    words = {"watched": f"{watched:.0f}", "fills": f"{np.ceil(fills):.0f}"}
    if watched < fills:
        because = _(
            "No water came in %(watched)s minutes, but an empty rising main takes about %(fills)s to fill here. Watch "
            "it for longer."
        )
        return {"verdict": "cannot_tell", "because": because % words}
    because = _("No water came in %(watched)s minutes, where even an empty rising main fills in about %(fills)s.")
    return {"because": because % words}


def _rests_on(values, own, dipped, note, assumed):
    words = []
    how = dict(SpotTest.SunBy.choices).get(values.get("sun_by") or "none")
    words.append(_("Sun: %s.") % how)
    if note == "pumping":
        words.append(_("Rested level: from the pumping level less the drawdown on record."))
    elif not dipped:
        words.append(_("Level: from the record, not dipped today; that widens the range."))
    if own.judged:
        words.append(_("The unit's own sound output, as its readings have shown it."))
    elif own.tests:
        words.append(_("The unit's own commissioning tests (%d).") % own.tests)
    else:
        words.append(_("The type's curve only: no commissioning test of this unit is kept."))
    if assumed:
        words.append(_("Taken as usual, since nobody wrote them down: %s.") % ", ".join(assumed))
    return words


def _stages(fleet, sun, air, level, sound_ohm, values, fall):
    """Reading by reading: what it should be and what it is, of those that were taken. What each costs is the
    waterfall's to say (`fall`, None where nothing can be told); the same figure stands here."""
    rows = []
    if values.get("static_level_m") is not None or values.get("pumping_level_m") is not None:
        rows.append(("well", _record(fleet, values), level, "m", _("rested level against the record")))
    volts, amps = values.get("array_voltage_v"), values.get("array_current_a")
    could = float(array_current(fleet, sun, air, volts)) if volts and amps else 0.0
    if could > 0:
        rows.append(
            ("array", could, amps, "A", _("current that the modules should give at this voltage and sun"))
        )  # fmt: skip
    if values.get("loop_ohm") is not None and sound_ohm is not None:
        rows.append(
            ("cable", sound_ohm, values["loop_ohm"], "ohm",
             _("loop resistance against the lowest that was measured here"))
        )  # fmt: skip
    out_v, out_a = values.get("output_voltage_v"), values.get("output_current_a")
    if volts and amps and out_v is not None and out_a is not None and fleet.coupling[0] != 0:
        usual = volts * amps * float(fleet.controller_efficiency[0])
        rows.append(("controller", usual, out_v * out_a, "W", _("power at its output against what came in")))
    costs = {} if fall is None else {step["stage"]: step for step in fall["steps"]}
    if "pump" in costs:
        measured = float(values["flow_l_min"])
        rows.append(("pump", measured + costs["pump"]["loss_l_min"], measured, "L/min", costs["pump"]["words"]))
    return [
        {
            "stage": stage, "name": costs[stage]["name"] if stage in costs else str(STAGES[stage]),
            "expected": round(float(expected), DIGITS.get(unit, 2)),
            "measured": round(float(measured), DIGITS.get(unit, 2)), "unit": unit,
            "loss_l_min": costs[stage]["loss_l_min"] if stage in costs else None, "words": str(words),
        }
        for stage, expected, measured, unit, words in rows
    ]  # fmt: skip


DIGITS = {"m": 1, "W": 0}  # of what stands reading by reading; else 2
