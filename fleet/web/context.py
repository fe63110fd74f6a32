"""What every page knows of the house: the menu, whether this is the demo, and the map's tiles."""

from django.conf import settings
from django.utils.functional import SimpleLazyObject

from fleet.web import navigation

BOTTOM_BAR = 4  # entries that fit a phone's width with targets of 44 px; the rest stand in the menu


def house(request):
    def menu():
        found = navigation.links(getattr(request, "user", None), request.path)
        groups = [(group, [link for link in found if link.group == group]) for group in navigation.GROUPS]
        return {"all": found, "bottom": found[:BOTTOM_BAR], "groups": [(g, part) for g, part in groups if part]}

    return {
        "demo": settings.DEMO,
        "made_once": {},
        "menu": SimpleLazyObject(menu),
        "search_address": SimpleLazyObject(
            lambda: navigation.search_address(getattr(request, "user", None)) or ""
        ),
        "map_tiles": settings.MAP_TILES,
        "map_tiles_credit": "" if settings.MAP_TILES_CREDIT == "-" else settings.MAP_TILES_CREDIT,
    }
