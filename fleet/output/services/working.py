"""Every number of the calculation for one installation and one day."""

from django.utils.translation import gettext as _

from fleet.output.climates import climates
from fleet.output.fleet_arrays import read_fleet
from fleet.output.inputs import inputs_of
from fleet.output.models import Evaluation
from fleet.output.services.day_in_hours import day_in_hours, frame_costs
from fleet.output.services.spot import own_level
from fleet.output.steps import translated
from fleet.readings.models import DayRecord
from fleet.web.refusals import Refused
from sizing import chain
from sizing.chain.prepare import DAYLIGHT_WARMER_K
from sizing.checks import Refusal


def working(installation, day, sun_kwh_m2=None):
    """Steps of the calculation (`chain.Step` in the reader's language), what went in (`inputs.Input`),
    the day hour by hour, what a frame that stands wrong costs, and what was measured.

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
        "steps": [translated(step) for step in steps],
        "inputs": inputs_of(rows.fleet, assumed, month, installation.well.site),
        "hours": day_in_hours(rows.fleet, day.timetuple().tm_yday, sun_kwh_m2, steps_air(steps)),
        "frame_costs": frame_costs(rows.fleet, sun.day_ghi_kwh_m2_day[0]) if not reasons else [],
        "sun_kwh_m2": sun_kwh_m2,
        "sun_source": sources[0] if usual else _("given on this page"),
        "climate_band": float(sun.band[0]),
        "own_level": own_level(installation),
        "record": DayRecord.objects.filter(installation=installation, day=day).first(),
        "evaluation": Evaluation.objects.filter(installation=installation, day=day).first(),
    }


def steps_air(steps):
    """The air that the steps were worked out in."""
    return next(step.value for step in steps if step.symbol == "Ta")
