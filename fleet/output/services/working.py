"""Every number of the calculation for one installation and one day."""

from django.utils.translation import gettext as _

from fleet.output.climates import climates
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation
from fleet.output.services.spot import own_level
from fleet.readings.models import DayRecord
from fleet.web.refusals import Refused
from sizing import chain
from sizing.chain.prepare import DAYLIGHT_WARMER_K
from sizing.checks import Refusal

# A field of the fleet record -> whose row it was written in, for a reader who wants to mend it.
ORIGINS = {
    "the site": "latitude_deg longitude_deg altitude_m need_l_day",
    "the installation": "tilt_deg azimuth_deg modules_in_series strings cable_length_m setting_depth_m pipe_length_m "
    "dry_run_probe age_y",
    "the module type": "cells p_stc_w v_mp_v i_mp_a v_oc_v i_sc_a alpha_isc_pct_k beta_voc_pct_k gamma_p_pct_k noct_c",
    "the cable": "cable_area_mm2 conductor_class",
    "the pipe": "pipe_inside_mm",
    "the tank": "tank_rise_m tank_capacity_l float_switch fittings_k",
    "the well": "static_level_m drawdown_b_m_per_l_min drawdown_c",
    "the pump type": "coupling controller_efficiency start_power_w max_power_w max_voltage_v",
    "the unit's own test": "flow_scale",
}


def working(installation, day, sun_kwh_m2=None):
    """Steps of the calculation (name, symbol, value, unit, formula, source, origin), what went in, what was measured.

    `sun_kwh_m2`: irradiation on level ground; left out, the usual of that month by the site's climate. Refuses with the
    reason where nothing can be computed.
    """
    rows = read_fleet([installation.pk], day.year)
    if not len(rows):
        raise Refused("not_computed", rows.trouble.get(installation.pk, _("This installation is not known.")))
    sun, reasons, sources = climates(rows)
    month = day.month - 1
    usual = not sun_kwh_m2
    if usual:
        if reasons:
            raise Refused("no_climate", next(iter(reasons.values())))
        sun_kwh_m2 = float(sun.ghi_kwh_m2_day[0, month])
    assumed = rows.assumed.get(installation.pk, ())
    air = float(sun.air_c[0, month]) + DAYLIGHT_WARMER_K if not reasons else None
    try:
        steps = chain.working(rows.fleet, day.timetuple().tm_yday, sun_kwh_m2, air_c=air, assumed=assumed)
    except Refusal as refusal:
        raise Refused("not_computed", str(refusal)) from refusal
    return {
        "steps": steps,
        "inputs": _inputs(rows, assumed, month),
        "sun_kwh_m2": sun_kwh_m2,
        "sun_source": sources[0] if usual else _("given on this page"),
        "climate_band": float(sun.band[0]),
        "own_level": own_level(installation),
        "record": DayRecord.objects.filter(installation=installation, day=day).first(),
        "evaluation": Evaluation.objects.filter(installation=installation, day=day).first(),
    }


def _inputs(rows, assumed, month):
    """[(name, value, whose row, taken as usual)] of everything that went in."""
    found = []
    for owner, names in ORIGINS.items():
        for name in names.split():
            value = getattr(rows.fleet, name)[0]
            if getattr(value, "shape", ()):
                value = value[month]
            found.append((name, float(value), owner, name in assumed))
    for name in ("soiling_fraction", "mismatch_fraction", "ageing_fraction_y", "ground_reflectance"):
        found.append((name, float(getattr(rows.fleet, name)[0]), "usual value", True))
    return found
