"""Which way the array should look at a place, today; and what an error costs in sun and in litres."""

from dataclasses import dataclass
from datetime import UTC, timedelta

import numpy as np

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


def litres_lost(fleet_of_one, climate, errors=AZIMUTH_ERRORS):
    """The same errors in litres a day for an installation (share by year)."""
    return orient.cost_in_litres(
        fleet_of_one, np.asarray(climate.day_ghi_kwh_m2_day), np.array(errors, float)
    ).by_year
