"""The expected card of an installation: what flow, volts and amps are right at which sun and water level.

Everything is worked out here; the phone at the well only reads between the figures, and judges by the same sigmas.
"""

import math
from datetime import timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.utils import timezone

from fleet.output import services as output
from fleet.output.models import Baseline
from fleet.output.services import spot
from sizing import orient
from sizing.checks import Refusal
from sizing.climate import default_climate

SUN_DAYS = 14  # noon times and bearings are packed for so many days
SUN_EVERY_MIN = 60
CELLS_C = range(10, 81, 10)  # cell temperatures for which string voltages are listed


def expected_cards(installations):
    """{installation id: card}; empty cards where nothing can be worked out."""
    ids = [i.pk for i in installations]
    output.baselines(ids)
    baselines = Baseline.objects.in_bulk(ids)
    return {i.pk: _card(i, baselines.get(i.pk)) for i in installations}


def expected_card(installation):
    """The card of one installation; empty if nothing can be worked out."""
    return expected_cards([installation])[installation.pk] if installation is not None else {}


def _card(installation, baseline):
    if baseline is None or not baseline.card:
        return {}
    month = timezone.now().month - 1
    own = output.own_level(installation)
    day = {
        name: values[month]
        for name, values in (
            ("low", baseline.low_l_day), ("middle", baseline.volume_l_day), ("high", baseline.high_l_day),
        )
        if len(values) == 12
    }  # fmt: skip
    return {
        **baseline.card,
        "own": {"level": round(own.level, 4), "sigma": round(own.sigma, 4), "tests": own.tests, "judged": own.judged},
        "judge": {
            "sun_sigma": spot.SUN_SIGMA, "flow_sigma": spot.FLOW_SIGMA, "model_sigma": spot.MODEL_SIGMA,
            "level_sigma_m": {"dipped": spot.LEVEL_SIGMA_M[True], "record": spot.LEVEL_SIGMA_M[False]},
            "least_sun_w_m2": spot.LEAST_SUN_W_M2, "eighty": spot.EIGHTY, "proves": spot.PROVES,
        },
        "day_l": day, "assumed": list(baseline.assumed), **_electric(installation), **_first_water(installation),
    }  # fmt: skip


def _electric(installation):
    """Array by its data sheet: for the irradiance from a module's current, and string voltages by cell temperature."""
    module = installation.module_type
    if module is None:
        return {}
    volts = {
        cell: round(installation.modules_in_series * module.v_oc_v * (1 + module.beta_voc_pct_k / 100 * (cell - 25)), 1)
        for cell in CELLS_C
    }
    return {
        "i_sc_a": module.i_sc_a, "alpha_isc_pct_k": module.alpha_isc_pct_k, "strings": installation.strings,
        "modules_in_series": installation.modules_in_series, "string_voc_v": volts,
    }  # fmt: skip


def _first_water(installation):
    """Litres that fill a drained main, from the static level up to the tank; empty where the pipe is not known."""
    pipe, tank = installation.pipe, getattr(installation.well, "tank", None)
    if pipe is None:
        return {}
    area_dm2 = math.pi / 4 * (pipe.inside_mm / 100) ** 2
    above = (tank.pipe_run_m + max(tank.rise_m, 0)) if tank else 0.0
    return {"main_l_per_m": round(area_dm2 * 10, 4), "main_above_ground_m": round(above, 1)}


@lru_cache(maxsize=256)
def sun_card(latitude_deg, longitude_deg, altitude_m, zone, day):
    """Solar noon, bearings and the sun's course at a place for the coming fortnight, and what an error costs."""
    noons = []
    for shift in range(SUN_DAYS):
        noon = orient.solar_noon(day + timedelta(days=shift), latitude_deg, longitude_deg, zone)
        noons.append(
            {"day": (day + timedelta(days=shift)).isoformat(), "at": round(noon.at_utc.timestamp()),
             "clock": noon.at.strftime("%H:%M:%S"), "height_deg": round(noon.height_deg, 1)}
        )  # fmt: skip
    facing = orient.facing(day, latitude_deg, longitude_deg, altitude_m=altitude_m)
    table = orient.table_for_days(
        day, SUN_DAYS, latitude_deg, longitude_deg, zone, altitude_m=altitude_m, every_min=SUN_EVERY_MIN
    )
    shadow = orient.shadow(day, latitude_deg, longitude_deg, zone)
    return {
        "zone": zone, "noons": noons,
        "face": {"bearing_deg": facing.bearing_deg, "compass_deg": round(facing.compass_deg, 1),
                 "declination_deg": round(facing.declination_deg, 1), "tilt_deg": facing.tilt_deg,
                 "either_way": facing.either_way},
        "shadow": {"bearing_deg": round(shadow.bearing_deg, 1), "length_per_m": round(shadow.length_per_m, 2),
                   "minutes_per_deg": round(shadow.minutes_per_deg, 2), "usable": bool(shadow.usable),
                   "pairs": [[round(a.timestamp()), round(b.timestamp())] for a, b in shadow.pairs]},
        "cost": _cost(latitude_deg, longitude_deg, altitude_m, facing),
        # [minutes since the first, bearing, height]; the phone reads between them
        "sun_from": round(table.at[0].timestamp()),
        "sun": [
            [round((at - table.at[0]).total_seconds() / 60), round(float(b), 1), round(float(h), 1)]
            for at, b, h in zip(table.at, table.bearing_deg, table.height_deg, strict=True)
        ],
    }  # fmt: skip


ERRORS_DEG = (0, 10, 20, 30, 45, 60, 90, 120, 180)


def _cost(latitude_deg, longitude_deg, altitude_m, facing):
    """[[azimuth error, share of a year's sun lost]] at the usual tilt; empty where no climate is known."""
    try:
        sky = default_climate(latitude_deg, longitude_deg, altitude_m)
    except Refusal:
        return []
    cost = orient.cost_in_irradiation(
        latitude_deg, sky.day_ghi_kwh_m2_day, facing.tilt_deg, facing.bearing_deg, ERRORS_DEG
    )
    return [[error, round(float(share), 4)] for error, share in zip(ERRORS_DEG, cost.by_year, strict=True)]


def sun_of(site):
    today = timezone.localdate(timezone=ZoneInfo(site.zone))
    return sun_card(
        round(site.latitude_deg, 3), round(site.longitude_deg, 3), round(site.altitude_m, -2), site.zone, today
    )
