"""Pages that belong to no room: the way to one's first page, the icon, and what is shown when things fail."""

from django.contrib.auth.views import redirect_to_login
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from fleet.web import navigation


@require_safe
def first_page(request):
    """A person's first page is their own work."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    address = navigation.first_address(request.user)
    return redirect(address) if address else render(request, "web/welcome.html")


@require_safe
def api_door(request):
    """What programs can do here and how they sign in; the guide lists every address."""
    return render(request, "web/api_door.html", {"address": request.build_absolute_uri("/api/v1/")})


@require_safe
def favicon(request):
    return redirect(static("web/img/mark.svg"), permanent=False)


@require_safe
def manifest(request):
    """What a phone needs to put the application on its home screen."""
    return JsonResponse(
        {
            "name": "Rising Main",
            "short_name": "Rising Main",
            "id": "/",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#f7f4ee",
            "theme_color": "#0b4a59",
            "icons": [
                {"src": static("web/img/mark.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
                {"src": static("web/img/mark-192.png"), "sizes": "192x192", "type": "image/png"},
                {"src": static("web/img/mark-512.png"), "sizes": "512x512", "type": "image/png"},
            ],
        },
        content_type="application/manifest+json",
    )


def csrf_failed(request, reason=""):
    """The form was open too long, or cookies are off. What was typed is in the browser's page before this one."""
    return render(request, "web/csrf_failed.html", status=403)


@require_safe
def robots(request):
    """A fleet's pages are nobody else's business."""
    return HttpResponse("User-agent: *\nDisallow: /\n", content_type="text/plain")


def refused_page(request, refusal, status=409):
    """A whole page for a refusal that has no form to stand on."""
    return render(request, "web/refused.html", {"title": _("This cannot be done"), "refusal": refusal}, status=status)
