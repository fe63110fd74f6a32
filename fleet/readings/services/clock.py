"""A moment in the calendar of an installation's site."""

from datetime import datetime, time
from zoneinfo import ZoneInfo


def zone_of(installation):
    return ZoneInfo(installation.well.site.zone)


def local_day(installation, moment):
    return moment.astimezone(zone_of(installation)).date()


def noon_of(installation, day):
    """Twelve by the site's clock: the moment by which a day's figures are named."""
    return datetime.combine(day, time(12), tzinfo=zone_of(installation))
