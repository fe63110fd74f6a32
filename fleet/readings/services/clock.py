"""A moment in the calendar of an installation's site."""

from zoneinfo import ZoneInfo


def zone_of(installation):
    return ZoneInfo(installation.well.site.zone)


def local_day(installation, moment):
    return moment.astimezone(zone_of(installation)).date()
