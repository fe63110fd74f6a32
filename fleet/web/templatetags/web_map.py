"""`{% load web_map %}{% map address label=words %}`: places on a map that needs no network.

`address` answers GeoJSON: points with the properties `name`, `address` (the page it leads to), `tone` (a state's tone,
see `badge`), `state` (its word), `note`; a point with `count` stands for that many places. With `by_view=True` the map
asks again after each move, adding `box=west,south,east,north` and `zoom=`, for fleets too large to send whole. `box` is
where the map opens ("west,south,east,north"); else it shows all points. The same places stand in a list beside the map,
which the keyboard reaches. Without scripts the page shows `instead`, an address of the same places as a list.
"""

import json

from django import template
from django.utils.translation import gettext as _

register = template.Library()


@register.inclusion_tag("web/_map.html", takes_context=True)
def map(context, address, label="", by_view=False, box="", instead="", height="usual"):  # noqa: A001 - the tag's name
    words = {
        "in": _("Closer"),
        "out": _("Farther"),
        "none": _("No places in this part of the map."),
        "failed": _("The places could not be fetched. Try again when the network is back."),
        "shown": _("Places shown: %(n)s"),
        "more": _("and %(n)s more: go closer"),
        "open": _("Open"),
        "many": _("%(n)s places: go closer"),
    }
    return {
        "address": address,
        "label": label or _("Map"),
        "by_view": by_view,
        "box": box,
        "instead": instead,
        "height": height,
        "words": json.dumps(words),
        "tiles": context.get("map_tiles", ""),
        "credit": context.get("map_tiles_credit", ""),
    }
