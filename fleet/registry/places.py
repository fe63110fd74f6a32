"""What coordinates say about themselves: the time zone, whether they lie on the sea, whether they look swapped."""

from functools import lru_cache
from statistics import median

from django.utils.translation import gettext as _


@lru_cache(maxsize=1)
def _finder():
    from timezonefinder import TimezoneFinder

    return TimezoneFinder(in_memory=True)


def zone_at(latitude_deg, longitude_deg):
    """The IANA zone there. On the open sea it is one of the Etc/GMT zones."""
    return _finder().timezone_at(lng=longitude_deg, lat=latitude_deg) or "Etc/GMT"


def on_the_sea(latitude_deg, longitude_deg, zone=None):
    """Outside every country's land and coastal waters."""
    return (zone or zone_at(latitude_deg, longitude_deg)).startswith("Etc/")


def trouble_with(latitude_deg, longitude_deg, zone=None):
    """A sentence where coordinates cannot be a site's, else None. `zone`: theirs, where it is known already."""
    if not on_the_sea(latitude_deg, longitude_deg, zone):
        return None
    if abs(longitude_deg) <= 90 and not on_the_sea(longitude_deg, latitude_deg):
        return _("These coordinates lie on the sea. Latitude and longitude seem to be swapped: the other way round "
                 "they lie in %(zone)s.") % {"zone": zone_at(longitude_deg, latitude_deg)}  # fmt: skip
    return _("These coordinates lie on the sea. Look at the signs: south and west are below zero.")


def looks_swapped(latitude_deg, longitude_deg, others):
    """A sentence where a place lies far from the organisation's `others` but among them when swapped, else None.

    `others` is (latitude, longitude) of the middle of the sites known, or None.
    """
    if others is None:
        return None
    away = max(abs(latitude_deg - others[0]), abs(longitude_deg - others[1]))
    swapped = max(abs(longitude_deg - others[0]), abs(latitude_deg - others[1]))
    if away > 10 and swapped < 5:
        return _("Far from your other sites; with latitude and longitude the other way round it would lie among them.")
    return None


def middle(places):
    """The middle of (latitude, longitude) pairs, or None."""
    places = list(places)
    if not places:
        return None
    return median(p[0] for p in places), median(p[1] for p in places)
