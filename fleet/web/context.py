"""What every page knows of the house: whether this is the demo, and the map's tiles."""

from django.conf import settings


def house(request):
    return {
        "demo": settings.DEMO,
        "map_tiles": "" if settings.MAP_TILES == "-" else settings.MAP_TILES,
        "map_tiles_credit": "" if settings.MAP_TILES_CREDIT == "-" else settings.MAP_TILES_CREDIT,
    }
