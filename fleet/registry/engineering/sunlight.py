"""Which way the array should look at a place, today; and what an error costs in sun and in litres."""

from dataclasses import dataclass
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone

from fleet.registry.engineering.choice import climate_at
from sizing import orient
from sizing.checks import Refusal

AZIMUTH_ERRORS = (10, 20, 30, 45, 90, 180)
TILT_ERRORS = (-10, 10, 20)
FORTNIGHT = 14


@dataclass(frozen=True)
class SunHere:
    """Everything the page of a place's sun shows; `cost` None where the place's climate is not known."""

    noon: object
    facing: object
    now: object
    shadow: object
    clock: object
    clock_by_month: list
    today: list
    noons: list
    cost: object | None
    tilt_cost: object | None
    climate_source: str


def sun_here(site, moment):
    """The sun at a site on the local day of `moment` (aware)."""
    day = moment.date()
    place = site.latitude_deg, site.longitude_deg
    facing = orient.facing(day, *place, altitude_m=site.altitude_m)
    table = orient.table_for_day(day, *place, site.zone, altitude_m=site.altitude_m, every_min=30)
    noons = [orient.solar_noon(day + timedelta(days=step), *place, site.zone) for step in range(FORTNIGHT)]
    cost = tilt_cost = None
    source = ""
    try:
        climate = climate_at(*place, site.altitude_m, site)
        source = climate.source
        days = np.asarray(climate.day_ghi_kwh_m2_day)
        tilt, azimuth = facing.tilt_deg, facing.bearing_deg
        cost = orient.cost_in_irradiation(place[0], days, tilt, azimuth, np.array(AZIMUTH_ERRORS, float))
        steps = [step for step in TILT_ERRORS if tilt + step >= 0]
        tilt_cost = (steps, orient.cost_in_irradiation(place[0], days, tilt, azimuth, 0.0, np.array(steps, float)))
    except Refusal:
        pass  # the page says that the place's sun is not known
    return SunHere(
        noon=noons[0],
        facing=facing,
        now=orient.sun_now(moment.astimezone(UTC), *place, altitude_m=site.altitude_m),
        shadow=orient.shadow(day, *place, site.zone),
        clock=orient.clock_rule(day, *place, site.zone),
        clock_by_month=orient.clock_rule_by_month(day.year, *place, site.zone),
        today=[
            {"at": at, "bearing": float(b), "compass": float(c), "height": float(h)}
            for at, b, c, h in zip(table.at, table.bearing_deg, table.compass_deg, table.height_deg)
        ],
        noons=noons,
        cost=cost,
        tilt_cost=tilt_cost,
        climate_source=source,
    )


def as_told(site):
    """The sun at a site now as plain values: {name: value} as programs get it."""
    moment = timezone.now().astimezone(ZoneInfo(site.zone))
    here = sun_here(site, moment)
    tilt_steps, tilted = here.tilt_cost or ((), None)
    return {
        "zone": site.zone,
        "noon": here.noon._asdict(),
        "facing": here.facing._asdict(),
        "now": {"at": moment, **here.now._asdict()},
        "shadow": here.shadow._asdict(),
        "clock_rule": here.clock._asdict(),
        "clock_rule_by_month": [rule._asdict() for rule in here.clock_by_month],
        "today": [
            {"at": row["at"], **{f"{name}_deg": row[name] for name in ("bearing", "compass", "height")}}
            for row in here.today
        ],
        "noons": [noon._asdict() for noon in here.noons],
        "azimuth_error": _costs(AZIMUTH_ERRORS, here.cost),
        "tilt_error": _costs(tilt_steps, tilted),
        "climate_source": str(here.climate_source),
    }


def _costs(errors, cost):
    return [
        {"error_deg": error, "by_year": float(cost.by_year[n]), "by_month": cost.by_month[n].tolist()}
        for n, error in enumerate(errors if cost is not None else ())
    ]


def litres_lost(fleet_of_one, climate, errors=AZIMUTH_ERRORS):
    """The same errors in litres a day for an installation (share by year)."""
    return orient.cost_in_litres(
        fleet_of_one, np.asarray(climate.day_ghi_kwh_m2_day), np.array(errors, float)
    ).by_year
