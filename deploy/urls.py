"""Addresses: each room brings its own, named here by string."""

from importlib import import_module
from importlib.util import find_spec

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from fleet.web.rest import no_such_address

ROOMS = {
    "web": "",
    "people": "people/",
    "jobs": "jobs/",
    "intake": "intake/",
    "trail": "trail/",
    "registry": "",
    "readings": "readings/",
    "output": "output/",
    "visits": "visits/",
    "desk": "",
    "reports": "reports/",
}


def _pages():
    """Each room's `urlpatterns`."""
    for room, prefix in ROOMS.items():
        if find_spec(f"fleet.{room}.urls"):
            yield path(prefix, include((f"fleet.{room}.urls", room), namespace=room))


def _root():
    """What a room must serve from the root: a service worker speaks only for addresses below its own."""
    for room in ROOMS:
        if find_spec(f"fleet.{room}.urls"):
            patterns = getattr(import_module(f"fleet.{room}.urls"), "root_urlpatterns", None)
            if patterns:
                yield path("", include((patterns, f"root_{room}"), namespace=f"root_{room}"))


def _api():
    """Each room's `api_urlpatterns`, if it has any."""
    for room in ROOMS:
        if find_spec(f"fleet.{room}.urls"):
            patterns = getattr(import_module(f"fleet.{room}.urls"), "api_urlpatterns", None)
            if patterns:
                yield path("", include((patterns, f"api_{room}"), namespace=f"api_{room}"))


urlpatterns = [
    *_root(),
    *_pages(),
    path("api/v1/", include(list(_api()))),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/guide/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="guide"),
    path("api/v1/<path:rest>", no_such_address),
]

handler500 = "fleet.web.handlers.server_error"
