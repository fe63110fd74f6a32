"""Slips in spot tests that were typed at the desk or brought in: marked with what would fit, for a person to settle.

The telephone asks while one still stands at the well; what came another way is held against the calculation here. A
test in doubt is not used by the nights until it is settled, and so raises nothing by itself.
"""

import numpy as np
from django.db import transaction

from fleet.output.fleet_arrays import read_fleet
from fleet.output.services.spot import FLOW_SIGMA, SUN_SIGMA
from fleet.readings import staging
from fleet.readings.models import Slip, SpotTest, Standing
from sizing import array, chain, judge
from sizing.judge.instruments import (
    KILOWATTS,
    LEAST_SUN_W_M2,
    NOMINAL_SUN_W_M2,
    UNKNOWN_SD,
    Reading,
    in_each_others_place,
)
from sizing.judge.mistakes import DIGITS_SWAPPED, NONE, SLIP_OF_TEN, WRONG_UNIT

KINDS = {
    SLIP_OF_TEN: Slip.Kind.SLIP_OF_TEN, DIGITS_SWAPPED: Slip.Kind.SWAPPED_DIGITS, WRONG_UNIT: Slip.Kind.WRONG_UNIT,
}  # fmt: skip
FOOT_M, CUBIC_METRE_AN_HOUR, LITRE_A_SECOND = 0.3048, 1000 / 60, 60.0
FEET, FLOWS = (FOOT_M,), (CUBIC_METRE_AN_HOUR, LITRE_A_SECOND)
# A sound unit's figure about what the chain gives it (log), the sun's error left aside; levels of this well, metres.
SD = {"array_voltage_v": 0.08, "array_current_a": 0.12, "flow_l_min": 0.2, "meter_flow_l_min": 0.2}
LEVEL_SD, LEVEL_SD_M = 0.15, 2.0
UNKNOWN_SUN = 0.08
# How often such a figure is low since something is wrong: on visits, which have a reason, and else (judgements).
AMISS = {"array_voltage_v": 0.05, "array_current_a": 0.2, "flow_l_min": 0.3, "meter_flow_l_min": 0.3}
LEVEL_AMISS, SELDOM = 0.1, 0.15  # the latter: times so often after work and at commissioning
PAIR = ("array_voltage_v", "array_current_a")
# Where nobody measured the sun: that of a usual test, and how far it may be off (log; judgements, no source).
TESTED_UNDER_W_M2, UNKNOWN_SUN_SD = 600.0, 0.6
USUAL_AIR_C, USUAL_CELL_C = 30.0, 45.0  # where nobody wrote them down (common practice, no source)


@transaction.atomic
def look_at_tests(installation_ids):
    """Mark slips in the tests of these installations that nobody has looked at yet. Returns the slips."""
    tests = list(
        SpotTest.objects.select_for_update(skip_locked=True, of=("self",))
        .filter(installation_id__in=staging.among(installation_ids), looked=False)
        .order_by("installation_id", "at", "pk")
    )
    if not tests:
        return []
    SpotTest.objects.filter(pk__in=[t.pk for t in tests]).update(looked=True)
    fresh = [t for t in tests if t.standing == Standing.GOOD]
    slips = [slip for group in _by_year(fresh) for slip in _slips(group)]
    answered = set(
        Slip.objects.settled().filter(spot_test__in=fresh).values_list("spot_test_id", "field", "found")
    )
    slips = [s for s in slips if (s.spot_test_id, s.field, s.found) not in answered]
    Slip.objects.bulk_create(
        slips, update_conflicts=True, unique_fields=["installation", "subject", "at", "field"],
        update_fields=[
            "spot_test", "found", "suggested", "kind", "facts", "state", "settled_by", "settled_at", "decision",
        ],
    )  # fmt: skip
    SpotTest.objects.filter(pk__in={s.spot_test_id for s in slips}).update(standing=Standing.IN_DOUBT)
    return slips


def _by_year(tests):
    years = {}
    for test in tests:
        years.setdefault(test.at.year, []).append(test)
    return years.values()


def _slips(tests):
    rows = read_fleet([t.installation_id for t in tests], tests[0].at.year)
    place = {pk: n for n, pk in enumerate(rows.ids.tolist())}
    tests = [t for t in tests if t.installation_id in place]
    if not tests:
        return []
    fleet = rows.fleet.take(np.array([place[t.installation_id] for t in tests]))
    month = np.array([t.at.month - 1 for t in tests])
    record = fleet.static_level_m[np.arange(len(tests)), month]
    sun, sun_sd = _sun(fleet, tests)
    air = np.clip(_column(tests, "air_c", USUAL_AIR_C), -60, 70)
    dipped = _column(tests, "static_level_m")
    odd = ~(np.abs(np.log(np.maximum(dipped, 0.1) / np.maximum(record, 0.1))) < np.log(2))
    level = np.clip(np.where(odd, record, dipped), 0.0, np.maximum(fleet.setting_depth_m - 0.5, 0.1))
    spot = chain.spot(fleet, sun[:, None], air[:, None], level[:, None])
    due = {
        "array_voltage_v": spot.array_voltage_v[:, 0], "array_current_a": spot.array_current_a[:, 0],
        "flow_l_min": spot.flow_l_min[:, 0], "meter_flow_l_min": spot.flow_l_min[:, 0],
    }  # fmt: skip
    slips = []
    for n, test in enumerate(tests):
        seldom = 1.0 if test.kind == SpotTest.Kind.VISIT else SELDOM
        if test.irradiance_w_m2 and test.irradiance_w_m2 <= KILOWATTS and (test.flow_l_min or test.array_current_a):
            slips.append(_slip(test, "irradiance_w_m2", WRONG_UNIT, 1000 * test.irradiance_w_m2, None))
        if record[n] > 1:
            for name, depth in (("static_level_m", record[n]), ("pumping_level_m", spot.pumping_level_m[n, 0])):
                sd = np.hypot(LEVEL_SD, LEVEL_SD_M / record[n])
                slips += _doubt(test, name, depth if depth > 1 else record[n], sd, LEVEL_AMISS * seldom, FEET)
        strong = sun[n] >= LEAST_SUN_W_M2
        by_chain = [Reading(due[name][n], np.hypot(SD[name], sun_sd[n]), AMISS[name] * seldom) for name in PAIR]
        told = strong and all(one.due > 0 for one in by_chain)
        changed_over = _in_each_others_place(test, by_chain if told else _by_the_modules(fleet, n, sun[n], seldom))
        slips += changed_over
        for name, values in due.items() if strong else ():
            if changed_over and name in PAIR:
                continue
            factors = FLOWS if name.endswith("_l_min") else ()
            slips += _doubt(test, name, values[n], np.hypot(SD[name], sun_sd[n]), AMISS[name] * seldom, factors)
    return slips


def _by_the_modules(fleet, n, sun, seldom):
    """Volts and amps (`Reading`) by the modules alone, where the sun is weak or nobody measured it."""
    known = sun > 0
    share = (sun if known else TESTED_UNDER_W_M2) / NOMINAL_SUN_W_M2
    return [
        Reading(0.95 * fleet.v_mp_v[n] * fleet.modules_in_series[n], UNKNOWN_SD["volts"], AMISS[PAIR[0]] * seldom),
        Reading(share * fleet.i_mp_a[n] * fleet.strings[n], UNKNOWN_SD["amps"] if known else UNKNOWN_SUN_SD,
                AMISS[PAIR[1]] * seldom),
    ]  # fmt: skip


def _in_each_others_place(test, pair):
    """Volts and amps typed in each other's place: the slips of both, or none."""
    volts, amps = (getattr(test, name) for name in PAIR)
    if volts is None or amps is None or not in_each_others_place(volts, amps, *pair):
        return []
    return [
        Slip(
            installation_id=test.installation_id, subject=Slip.Subject.SPOT, spot_test=test, at=test.at, field=name,
            found=typed, suggested=meant, kind=Slip.Kind.VOLTS_FOR_AMPS,
            facts={"right": round(float(reading.due), 3)},
        )
        for name, typed, meant, reading in zip(PAIR, (volts, amps), (amps, volts), pair, strict=True)
    ]  # fmt: skip


def _column(tests, name, missing=np.nan):
    return np.array([missing if getattr(t, name) is None else getattr(t, name) for t in tests], dtype=float)


def _sun(fleet, tests):
    """Irradiance (t,), that typed in kW/m² put right, and its sigma (relative); NaN where nobody measured it."""
    sun = _column(tests, "irradiance_w_m2")
    sun = np.where(sun <= KILOWATTS, sun * 1000, sun)
    by_module = np.isnan(sun) & np.isfinite(isc := _column(tests, "module_isc_a"))
    told = array.irradiance_from_short_circuit(
        np.where(by_module, np.minimum(isc, 100), 1.0), np.clip(_column(tests, "cell_c", USUAL_CELL_C), -20, 110),
        fleet.i_sc_a, fleet.alpha_isc_pct_k,
    )  # fmt: skip
    sigma = np.array([SUN_SIGMA.get(t.sun_by, UNKNOWN_SUN) for t in tests])
    return np.clip(np.where(by_module, told, sun), 0, 2000), sigma


def _doubt(test, name, due, sd, amiss, factors):
    figure = getattr(test, name)
    if not figure or figure <= 0 or not due > 0 or (name == "flow_l_min" and test.flow_by not in FLOW_SIGMA):
        return []
    kind, meant = judge.doubt_figure(float(figure), float(due), float(sd), amiss, factors)
    return [] if kind == NONE else [_slip(test, name, kind, meant, due)]


def _slip(test, name, kind, meant, due):
    return Slip(
        installation_id=test.installation_id, subject=Slip.Subject.SPOT, spot_test=test, at=test.at, field=name,
        found=getattr(test, name), suggested=float(f"{meant:.6g}"), kind=KINDS[kind],
        facts={} if due is None else {"right": round(float(due), 3)},
    )  # fmt: skip
