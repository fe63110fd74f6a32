"""The telephone's log: its shell and worker; for the desk: what has not come home, telephones, settling."""

import json

from django.contrib import messages
from django.db.models import Q
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.visits import field_assets as assets
from fleet.visits import services
from fleet.visits.field_words import words
from fleet.visits.models import FieldDevice, FieldPiece, Visit
from fleet.web.refusals import Refused


@require_safe
def shell(request):
    """One page for every telephone; it knows nobody. All that is personal comes with the bundle."""
    context = {
        "words": words(), "version": assets.version(), "styles": assets.styles(),
        "modules": assets.modules(),
    }  # fmt: skip
    answer = render(request, "visits/field/shell.html", context)
    answer["Cache-Control"] = "no-cache"
    return answer


@require_safe
def worker(request):
    """The service worker; served from the root, it keeps to /field/."""
    files = [reverse("root_visits:shell"), reverse("root_visits:manifest"), *assets.addresses()]
    context = {"version": assets.version(), "files": json.dumps(files)}
    answer = render(request, "visits/field/worker.js", context, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    answer["Service-Worker-Allowed"] = reverse("root_visits:shell")
    return answer


@require_safe
def manifest(request):
    icons = [
        {"src": static("web/img/mark.svg"), "sizes": "any", "type": "image/svg+xml"},
        {"src": static("web/img/mark-192.png"), "sizes": "192x192", "type": "image/png"},
        {"src": static("web/img/mark-512.png"), "sizes": "512x512", "type": "image/png"},
    ]
    address = reverse("root_visits:shell")
    return JsonResponse(
        {
            "name": _("Rising Main at the well"), "short_name": _("At the well"), "id": address, "start_url": address,
            "scope": address, "display": "standalone", "background_color": "#f7f4ee", "theme_color": "#0b4a59",
            "icons": icons,
        },
        content_type="application/manifest+json",
    )  # fmt: skip


@needs("log")
@require_safe
def not_home(request):
    """What has not come home, what waits for a person, and the telephones."""
    everyone = may(request.user, "assign")
    visits = services.not_home(request.user, timezone.localdate())
    waiting = (
        Visit.objects.visible_to(request.user)
        .filter(
            Q(pk__in=FieldPiece.objects.to_settle().values("visit"))
            | Q(pk__in=FieldPiece.objects.moved_meanwhile().values("visit"))
        )
        .select_related("site", "technician").order_by("planned_on", "id")
    )  # fmt: skip
    context = {
        "not_home": visits if everyone else [pair for pair in visits if pair[0].technician_id == request.user.pk],
        "waiting": waiting if everyone else [], "everyone": everyone,
        "telephones": FieldDevice.objects.visible_to(request.user).select_related("person", "shut_out_by"),
    }  # fmt: skip
    return render(request, "visits/field/not_home.html", context)


@needs("log")
@require_http_methods(["GET", "POST"])
def shut_out(request, device_id):
    device = get_object_or_404(FieldDevice.objects.visible_to(request.user).let_in(), pk=device_id)
    if request.method == "POST":
        try:
            services.shut_out(device=device, by=request.user)
            messages.success(request, _("The telephone is shut out."))
        except Refused as refusal:
            messages.error(request, str(refusal))
        return redirect("visits:not_home")
    consequences = [
        _("It signs in no more, at once."),
        _("What is packed on it is wiped when it next reaches the server."),
        _("What it has not sent stays on it behind the PIN, and can come home if it is let in again."),
    ]
    context = {
        "question": _("Shut out %(telephone)s of %(who)s?") % {"telephone": device, "who": device.person},
        "consequences": consequences, "yes": _("Shut it out"), "danger": True, "back": reverse("visits:not_home"),
    }  # fmt: skip
    return render(request, "web/confirm.html", context)


@needs("assign")
@require_POST
def let_in(request, device_id):
    device = get_object_or_404(FieldDevice.objects.visible_to(request.user), pk=device_id)
    services.let_in(device=device, by=request.user)
    messages.success(request, _("The telephone is let in again."))
    return redirect("visits:not_home")
