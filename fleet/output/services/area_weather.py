"""Imported weather: files of the open services read into daily records, and days fetched from a service at night."""

import logging
from datetime import date, timedelta

import numpy as np
from django.conf import settings
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.readings import services as readings
from fleet.readings.models import WeatherPlace
from fleet.registry.models import Installation
from fleet.web.refusals import Refused
from sizing import climate
from sizing.checks import Refusal

log = logging.getLogger(__name__)

# One sigma of a day's irradiation and the ground that a value stands for. The errors are judgements in the range that
# validations of satellite and model irradiation report for single days; a record of one's own counts for more.
KINDS = {
    "power_json": {"relative_error": 0.15, "covers_km": 50.0},
    "pvgis_hourly": {"relative_error": 0.12, "covers_km": 5.0},
    "cams_csv": {"relative_error": 0.10, "covers_km": 5.0},
    "nsrdb_csv": {"relative_error": 0.10, "covers_km": 4.0},
}
CELL_DEG = 0.5  # of the fetched grid
LONGEST = timedelta(days=400)  # that one fetch asks for
# Services that have yesterday. PVGIS gives whole years and ends some years back (2005 to 2020 in its version 5.2, as a
# client of it documents; later versions some years further), so that it is asked for past years only, by hand.
NIGHTLY = {"power"}
CELLS_A_RUN = 50


def read_weather(content, kind):
    """The file's days as `sizing.climate.DailyWeather`, or a Refused with its sentence."""
    try:
        return climate.read_daily_weather(content, kind)
    except Refusal as refusal:
        said = _("This file cannot be used: %(why)s.") % {"why": refusal}
        raise Refused("unreadable_weather", said, "file") from None


def import_weather(*, organisation, content, kind, name, by=None):
    """Keep the days of one file under the name of their place. Returns (DailyWeather, Kept)."""
    found = read_weather(content, kind)
    kept = readings.keep_weather(
        organisation=organisation, name=name, latitude_deg=found.latitude_deg, longitude_deg=found.longitude_deg,
        days=found.date, irradiation_kwh_m2=found.ghi_kwh_m2, air_c=found.air_c, source=kind, by=by, **KINDS[kind],
    )  # fmt: skip
    return found, kept


def weather_places(person_organisation):
    """Places with the first and last day that is known of each, by name."""
    from django.db.models import Count, Min

    return (
        WeatherPlace.objects.filter(organisation=person_organisation)
        .annotate(first=Min("days__day"), last=Max("days__day"), known=Count("days"))
        .order_by("name")
    )


def forget_weather(*, place, by):
    """A place and its days are thrown away; what was judged by them stays until something new comes."""
    from fleet.people.access import require

    require(by, "import")
    if place.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This belongs to another organisation."))
    place.delete()


# -- fetched at night --------------------------------------------------------------------------------------------------


def cells(organisation):
    """Middles of the grid cells over which the organisation's pumps hang: sorted (latitude, longitude)."""
    places = Installation.objects.hanging().filter(organisation=organisation).values_list(
        "well__site__latitude_deg", "well__site__longitude_deg"
    )  # fmt: skip
    return sorted({tuple(CELL_DEG * np.round(np.array(place) / CELL_DEG)) for place in places})


def nightly_service():
    """Name of the service that is asked at night; empty where there is none."""
    return settings.WEATHER_SERVICE if settings.WEATHER_SERVICE in NIGHTLY else ""


def fetch_due(organisation, *, today=None, say=lambda line: None):
    """Ask the service in the settings for the days that are missing. Returns {cell's name: new days}.

    May run twice or late: each cell goes on from its last day. A service that does not answer is logged, and the next
    night asks again.
    """
    if not nightly_service():
        return {}
    today = today or timezone.now().date()
    last = dict(weather_places(organisation).values_list("name", "last"))
    done = {}
    for latitude, longitude in cells(organisation)[:CELLS_A_RUN]:
        name = f"{latitude:+06.2f} {longitude:+07.2f}"
        first = max(last[name] + timedelta(days=1), today - LONGEST) if last.get(name) else today - LONGEST
        if first >= today:
            continue
        kept = _fetch(organisation, name, latitude, longitude, first, today - timedelta(days=1), say)
        if kept is not None:
            done[name] = kept.new
    return done


def fetch_years(organisation, *, first_year, last_year, today=None, say=lambda line: None):
    """Ask the service in the settings for whole past years, for readings older than the application. Returns {place's
    name: new days}. May run twice; what cannot be fetched is said and left out."""
    today = today or timezone.now().date()
    last = min(date(last_year, 12, 31), today - timedelta(days=1))
    first = date(first_year, 1, 1)
    if not settings.WEATHER_SERVICE or first > last:
        return {}
    done = {}
    for latitude, longitude in cells(organisation):
        name = f"{latitude:+06.2f} {longitude:+07.2f}"
        name = name if settings.WEATHER_SERVICE in NIGHTLY else f"{name} {settings.WEATHER_SERVICE}"
        kept = _fetch(organisation, name, latitude, longitude, first, last, say)
        if kept is not None:
            done[name] = kept.new
    return done


def _fetch(organisation, name, latitude, longitude, first, last, say):
    """Keep what the service has of the days first..last, both included. Returns Kept, or None where it failed."""
    try:
        found = _FETCH[settings.WEATHER_SERVICE](latitude, longitude, first, last)
    except Exception as trouble:  # whatever the network, the service or its reader raises: this time without it
        log.warning("Weather at %s could not be fetched: %s", name, trouble)
        say(f"{name}: {trouble}")
        return None
    wanted = (found.date >= np.datetime64(first)) & (found.date <= np.datetime64(last))
    kept = readings.keep_weather(
        organisation=organisation, name=name, latitude_deg=latitude, longitude_deg=longitude,
        days=found.date[wanted], irradiation_kwh_m2=found.ghi_kwh_m2[wanted], air_c=found.air_c[wanted],
        source=settings.WEATHER_SERVICE, **KINDS[_KIND[settings.WEATHER_SERVICE]],
    )  # fmt: skip
    say(f"{name}: {kept.new} new days, {kept.changed} changed")
    return kept


def _power(latitude, longitude, first: date, last: date):
    from pvlib import iotools

    address = {"url": settings.WEATHER_ADDRESS} if settings.WEATHER_ADDRESS else {}
    frame, meta = iotools.get_nasa_power(latitude, longitude, first, last, parameters=["ghi", "temp_air"], **address)
    return climate.daily_weather(frame, meta["latitude"], meta["longitude"])


def _pvgis(latitude, longitude, first: date, last: date):
    from pvlib import iotools

    # The library puts the name of the tool right behind the address.
    address = {"url": settings.WEATHER_ADDRESS.rstrip("/") + "/"} if settings.WEATHER_ADDRESS else {}
    frame, _meta = iotools.get_pvgis_hourly(
        latitude, longitude, start=first.year, end=last.year, components=False, surface_tilt=0, timeout=60, **address
    )
    return climate.daily_weather(frame.rename(columns={"poa_global": "ghi"}), latitude, longitude)


_FETCH = {"power": _power, "pvgis": _pvgis}
_KIND = {"power": "power_json", "pvgis": "pvgis_hourly"}
