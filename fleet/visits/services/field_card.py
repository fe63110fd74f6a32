"""The expected card: everything a telephone needs to answer at the well, worked out here, only read between there.

Every table is plain lists, rounded to what a reading can show, so that ten visits stay small. The telephone forms the
same range as `fleet.output.services.answer_spot`; the constants of that range go along with the card.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
from django.utils import timezone

from fleet.output.fleet_arrays import read_fleet
from fleet.output.services import own_level, spot, spot_losses
from sizing import array, cable, chain, sky, sun
from sizing.chain.machine import CABLE_C

SUNS = np.concatenate([np.arange(100, 600, 50.0), np.arange(600, 1201, 100.0)])  # W/m², in the modules' plane
LEVELS_AROUND = np.array([-12.0, -8.0, -5.0, -2.5, 0.0, 2.5, 5.0, 8.0, 12.0])  # m around the month's record
CELLS = np.arange(0, 81, 10.0)  # °C
IV_SUNS = np.array([100.0, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200])
EXTRA_OHM = np.array([0.0, 1.0, 2.0, 4.0, 8.0])  # of a poor joint, in the whole loop
OHM_SUNS = np.arange(200, 1201, 200.0)
LET_THROUGH = np.arange(1, 13) / 12  # of the largest power that leaves the box
DAY_SUNS = np.arange(1, 9, 1.0)  # kWh/m² in the modules' plane


def cards(installation_ids, day):
    """{installation: card} for a day's month and age. Where nothing can be computed it has `trouble`."""
    ids = sorted(set(installation_ids))
    found = {pk: {} for pk in ids}
    if not ids:
        return found
    rows = read_fleet(ids, day.year)
    for pk, reason in rows.trouble.items():
        found[pk] = {"trouble": str(reason)}
    if not len(rows):
        return found
    month = day.month - 1
    level = rows.fleet.static_level_m[:, month]
    deepest = np.maximum(rows.fleet.setting_depth_m - 0.5, 0.2)
    levels = np.clip(level[:, None] + LEVELS_AROUND, 0.1, deepest[:, None])
    air = chain.default_air(rows.fleet.latitude_deg, rows.fleet.altitude_m).mean(axis=1)
    shape = (len(rows), levels.shape[1], len(SUNS))
    reads = chain.spot(
        rows.fleet,
        np.broadcast_to(SUNS[None, None, :], shape),
        np.broadcast_to(air[:, None, None], shape),
        np.broadcast_to(levels[:, :, None], shape),
    )
    for n, pk in enumerate(rows.ids.tolist()):
        one = rows.fleet.take([n])
        found[pk] = {
            "sun": SUNS.tolist(),
            "level": _list(levels[n], 2),
            "record_level": round(float(level[n]), 2),
            "air_c": round(float(air[n]), 1),
            "flow": [_list(row, 2) for row in reads.flow_l_min[n]],
            "volts": _rows(reads.array_voltage_v[n], 1),
            "amps": _rows(reads.array_current_a[n], 2),
            "gamma": round(float(one.gamma_p_pct_k[0]), 3),
            "cell": _list(reads.cell_c[n, 0], 0),
            "drawdown": _drawdown(one, float(np.nanmax(reads.flow_l_min[n], initial=1.0))),
            "isc": _by_cell(array.irradiance_from_short_circuit(1.0, CELLS, one.i_sc_a[0], one.alpha_isc_pct_k[0]), 2),
            "voc": _by_cell(
                array.string_open_circuit_voltage(one.modules_in_series[0], one.v_oc_v[0], one.beta_voc_pct_k[0], CELLS)
            ),
            "iv": _current_by_voltage(one, float(air[n])),
            "cable": _cable(one),
            "joint": _joint(one, float(air[n]), float(level[n])),
            "cap": _cap(one, float(air[n]), levels[n], float(np.nanmax(reads.array_power_w[n], initial=0.0))),
            "day": _day(one, day),
            "first_water": _first_water(one, float(air[n]), float(level[n])),
            "clear": _clear(one, day),
            "assumed": [str(a) for a in rows.assumed.get(pk, ())],
        }
    return found


def with_own_level(card, installation):
    """The card with what is known of this very unit and the constants of the range."""
    if not card or "trouble" in card:
        return card
    now = timezone.now()
    own, sound_ohm = own_level(installation, before=now), spot.sound_loop(installation, now)
    return card | {
        "own": {
            "factor": round(float(np.exp(own.level)), 4), "sigma": round(own.sigma, 4), "tests": own.tests,
            "judged": own.judged, "books": own.books,
        },
        "loop_ohm": sound_ohm,
        "losses": {
            "amps": spot_losses.AMPS_SIGMA, "volts": spot_losses.VOLTS_SIGMA, "flow": spot_losses.FLOW_SIGMA,
            "output": float(np.hypot(spot_losses.AMPS_SIGMA, spot_losses.VOLTS_SIGMA)), "ohm": spot_losses.OHM_SIGMA,
            "pump": spot_losses.PUMP_SIGMA, "light": spot_losses.MOST_LIGHT, "agrees": spot_losses.AGREES,
            "beside": spot_losses.BESIDE_AGREES, "falls_back": spot_losses.FALLS_BACK, "fills": spot_losses.FILLS_WELL,
        },
        "range": {
            "sun": spot.SUN_SIGMA, "sun_unsure": 0.08, "flow": spot.FLOW_SIGMA, "flow_unsure": 0.04,
            "dipped_m": spot.LEVEL_SIGMA_M[True], "record_m": spot.LEVEL_SIGMA_M[False], "model": spot.MODEL_SIGMA,
            "least_sun": spot.LEAST_SUN_W_M2, "eighty": spot.EIGHTY, "proves": spot.PROVES, "too_open": 0.3,
        },
    }  # fmt: skip


def _list(values, digits):
    """Plain numbers; None where nothing could be computed. Whole numbers lose their point: it is a byte each."""
    return [None if not np.isfinite(v) else int(v) if digits == 0 else round(float(v), digits) for v in values]


def _rows(values, digits):
    """By level; one row stands for all where the level makes no difference (a tracking controller)."""
    rows = [_list(row, digits) for row in values]
    return rows[:1] if all(row == rows[0] for row in rows) else rows


def _by_cell(values, digits=1):
    return {"cell": _list(CELLS, 0), "at": _list(values, digits)}


def _drawdown(one, most):
    flows = np.linspace(0, 1.5 * most, 7)
    drawn = flows * (one.drawdown_b_m_per_l_min[0] + one.drawdown_c[0] * flows)
    return {"flow": _list(flows, 2), "m": _list(drawn, 3)}


def _current_by_voltage(one, air):
    """What the sound, usually dirty array gives at a terminal voltage, by sun, A."""
    diode = array.fit_diode(*(float(getattr(one, name)[0]) for name in array.SHEET))
    ageing = 1 - one.ageing_fraction_y[0] * max(one.age_y[0], 0)
    clean = (1 - one.soiling_fraction[0]) * (1 - one.mismatch_fraction[0]) * ageing
    series, strings = float(one.modules_in_series[0]), float(one.strings[0])
    top = float(one.v_oc_v[0]) * series
    volts = top * np.concatenate([[0.3, 0.5], np.arange(0.6, 1.01, 0.025)])
    cell = air + float(array.working_rise(one.noct_c[0])) * IV_SUNS
    amps = array.current(diode, (IV_SUNS * clean)[:, None], cell[:, None], volts[None, :] / series)
    return {
        "sun": _list(IV_SUNS, 0), "volts": _list(volts, 1),
        "amps": [_list(np.maximum(row, 0) * strings, 2) for row in np.asarray(amps)],
    }  # fmt: skip


def _cable(one):
    loop = cable.loop_resistance(one.cable_length_m[0], one.cable_area_mm2[0], int(one.conductor_class[0]), CABLE_C)
    return {"ohm": round(float(loop), 3), "efficiency": round(float(one.controller_efficiency[0]), 3)}


def _joint(one, air, level):
    """Share of the flow that is left when a poor joint adds resistance to the loop, by ohm and sun."""
    many = one.take(np.zeros(len(EXTRA_OHM), int))
    suns = np.broadcast_to(OHM_SUNS[None, :], (len(EXTRA_OHM), len(OHM_SUNS)))
    faults = chain.Faults(series_resistance_ohm=EXTRA_OHM)
    flow = chain.spot(many, suns, np.full(suns.shape, air), np.full(suns.shape, level), faults).flow_l_min
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(flow[:1] > 0, flow / flow[:1], 1.0)
    return {"ohm": _list(EXTRA_OHM, 0), "sun": _list(OHM_SUNS, 0), "left": [_list(row, 3) for row in left]}


def _cap(one, air, levels, most_w):
    """Flow in the brightest sun when the box lets no more than so much power out, by level; None: there is no box."""
    if one.coupling[0] == 0 or not most_w > 0:
        return None
    watts = LET_THROUGH * most_w * float(one.controller_efficiency[0])
    many = one.take(np.zeros(len(watts), int))
    shape = (len(watts), len(levels))
    reads = chain.spot(
        many, np.full(shape, SUNS[-1]), np.full(shape, air), np.broadcast_to(levels[None, :], shape),
        chain.Faults(controller_cap_w=watts),
    )  # fmt: skip
    return {"w": _list(watts, 1), "flow": [_list(row, 2) for row in reads.flow_l_min.T]}


def _day(one, day):
    number = int(sun.day_of_year(np.datetime64(day)))
    days = chain.expected_days(one, np.zeros(len(DAY_SUNS), int), number, DAY_SUNS)
    return {
        "kwh_m2": _list(DAY_SUNS, 0), "litres": _list(days.volume_l, 0), "low": _list(days.low_l, 0),
        "high": _list(days.high_l, 0),
    }  # fmt: skip


def _first_water(one, air, level):
    """Minutes from switching on to water at the tank, with a drained main, by sun; None: never."""
    if not 0 <= level < float(one.setting_depth_m[0]):
        return None
    many = one.take(np.zeros(len(IV_SUNS), int))
    minutes = chain.first_water(many, IV_SUNS, air, level)
    return {"sun": _list(IV_SUNS, 0), "minutes": _list(minutes, 1)}


def _clear(one, day):
    """Irradiance in the modules' plane under a cloudless sky, by minutes after midnight UTC."""
    steps = np.arange(0, 24 * 60, 20)
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    when = [start + timedelta(minutes=int(m)) for m in steps]
    lat, lon, altitude = (float(getattr(one, f)[0]) for f in ("latitude_deg", "longitude_deg", "altitude_m"))
    stands = sun.position(when, lat, lon, altitude_m=altitude)
    air = sky.clear_sky(when, lat, lon, altitude_m=altitude)
    zenith, azimuth = np.radians(stands.zenith_deg), np.radians(stands.azimuth_deg)
    tilt, faces = np.radians(float(one.tilt_deg[0])), np.radians(float(one.azimuth_deg[0]))
    incidence = np.cos(zenith) * np.cos(tilt) + np.sin(zenith) * np.sin(tilt) * np.cos(azimuth - faces)
    extra = sun.SOLAR_CONSTANT_W_M2 * float(sun.distance_factor(int(sun.day_of_year(np.datetime64(day)))))
    plane = sky.on_plane(
        air.ghi_w_m2, air.dhi_w_m2, np.cos(zenith), incidence, float(one.tilt_deg[0]), extra,
        ground_reflectance=float(one.ground_reflectance[0]),
    )  # fmt: skip
    up = np.cos(zenith) > 0.02
    return {"minute": steps[up].tolist(), "w_m2": _list(np.maximum(plane.total_w_m2[up], 0), 0)}
