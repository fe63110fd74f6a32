"""Daily weather of places around: kept once, and installations near by are judged anew from the first new day."""

import numpy as np
from django.db import connection, transaction
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals, staging
from fleet.readings.models import WeatherPlace
from fleet.readings.services.days import Kept
from fleet.web.refusals import Refused

REACH_KM = 100.0  # installations so near learn something of the weather told here


@transaction.atomic
def keep_weather(
    *, organisation, name, latitude_deg, longitude_deg, days, irradiation_kwh_m2, source, by=None, air_c=None,
    relative_error=0.12, covers_km=0.0,
):
    """Keep the days of one place. Returns `Kept`. The same days again change nothing.

    days: (d,) datetime64[D]; irradiation_kwh_m2 (d,) on level ground; air_c (d,), NaN where unknown.
    Refuses a name that stands for another place already, and days that no sun on earth can give.
    """
    require(by, "import")
    if by is not None and by.organisation_id != organisation.pk:
        raise Refused("not_yours", _("This belongs to another organisation."))
    days, ghi = np.asarray(days, "datetime64[D]"), np.asarray(irradiation_kwh_m2, float)
    air = np.full(len(days), np.nan) if air_c is None else np.asarray(air_c, float)
    wrong = ~((ghi >= 0) & (ghi <= 13))
    if wrong.any():
        first = days[wrong][0]
        raise Refused("impossible_sun", _("%(sun)s kWh/m² on %(day)s cannot be: between 0 and 13, please.")
                      % {"sun": f"{ghi[wrong][0]:g}", "day": first}, "file")  # fmt: skip
    place = _place(organisation, name.strip()[:80], latitude_deg, longitude_deg, source, relative_error, covers_km)
    days, at = np.unique(days[::-1], return_index=True)  # of a day given twice the later counts
    ghi, air = ghi[::-1][at], air[::-1][at]
    with connection.cursor() as cursor:
        staging.stage(cursor, "told", {"day": ("date", days), "ghi": ("float8", ghi), "air": ("float8", air)})
        cursor.execute(
            "WITH kept AS (INSERT INTO readings_weatherday (place_id, day, irradiation_kwh_m2, air_c) "
            "SELECT %s, day, ghi, air FROM told ON CONFLICT (place_id, day) DO UPDATE SET "
            "irradiation_kwh_m2 = EXCLUDED.irradiation_kwh_m2, "
            "air_c = coalesce(EXCLUDED.air_c, readings_weatherday.air_c) "
            "WHERE readings_weatherday.irradiation_kwh_m2 IS DISTINCT FROM EXCLUDED.irradiation_kwh_m2 "
            "OR (EXCLUDED.air_c IS NOT NULL AND readings_weatherday.air_c IS DISTINCT FROM EXCLUDED.air_c) "
            "RETURNING day, xmax = 0 AS new) SELECT count(*) FILTER (WHERE new), count(*), min(day) FROM kept",
            [place.pk],
        )
        new, moved, first = cursor.fetchone()
    if moved:
        _judge_anew(place, first)
    return Kept(new, moved - new, len(days) - moved)


def _place(organisation, name, latitude_deg, longitude_deg, source, relative_error, covers_km):
    facts = {
        "latitude_deg": float(latitude_deg), "longitude_deg": float(longitude_deg), "source": source[:120],
        "relative_error": relative_error, "covers_km": covers_km,
    }  # fmt: skip
    place, made = WeatherPlace.objects.get_or_create(organisation=organisation, name=name, defaults=facts)
    apart = (place.latitude_deg - facts["latitude_deg"], place.longitude_deg - facts["longitude_deg"])
    if not made and max(map(abs, apart)) > 0.01:
        raise Refused(
            "another_place",
            _("“%(name)s” is a place at %(lat).3f, %(lon).3f already. Give this one another name.")
            % {"name": name, "lat": place.latitude_deg, "lon": place.longitude_deg},
            "name",
        )
    return place


def _judge_anew(place, first):
    """Installations around are noted as having something new from that day on, where they were judged beyond it."""
    reach = REACH_KM / 111.0
    near = (
        "SELECT i.id AS installation_id, %s::date AS day FROM registry_installation i "
        "JOIN registry_well w ON w.id = i.well_id JOIN registry_site s ON s.id = w.site_id "
        "WHERE i.organisation_id = %s AND (upper_inf(i.period) OR upper(i.period) > %s::date) "
        "AND abs(s.latitude_deg - %s) < %s AND abs(s.longitude_deg - %s) * cos(radians(s.latitude_deg)) < %s"
    )
    noting = arrivals.NOTE.format(f"SELECT installation_id, day, now() FROM ({near}) x ORDER BY installation_id")
    with connection.cursor() as cursor:
        cursor.execute(
            noting, [first, place.organisation_id, first, place.latitude_deg, reach, place.longitude_deg, reach]
        )
