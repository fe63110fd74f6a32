"""The telephone's log: its shell and worker; for the desk: what has not come home, telephones, settling."""

import json

from django.contrib import messages
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.people.models import Person
from fleet.visits import field_assets as assets
from fleet.visits import services
from fleet.visits.field_words import words
from fleet.visits.models import FieldDevice, FieldPiece, Visit
from fleet.visits.procedures.reading import in_words
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
        Visit.objects.visible_to(request.user).filter(pieces__state=FieldPiece.State.TO_SETTLE).distinct()
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


@needs("assign")
@require_http_methods(["GET", "POST"])
def settle(request, key):
    """Both sides of what came home late: take over, or leave out."""
    visit = get_object_or_404(
        Visit.objects.visible_to(request.user).select_related("site", "technician", "procedure"), key=key
    )
    if request.method == "POST":
        people = Person.objects.filter(organisation=visit.organisation)
        person = get_object_or_404(people, pk=request.POST.get("person"))
        try:
            rows = services.settle(visit=visit, person=person, take="take" in request.POST, by=request.user)
        except Refused as refusal:
            messages.error(request, str(refusal))
            return redirect("visits:settle_pieces", key)
        for row in rows:
            row.refresh_from_db()
            if row.state == FieldPiece.State.REFUSED:
                messages.warning(request, f"{row.get_kind_display()}: {row.sentence}")
        n = len(rows)
        said = (
            ngettext("%(n)d piece is taken over.", "%(n)d pieces are taken over.", n) if "take" in request.POST
            else ngettext("%(n)d piece is left out.", "%(n)d pieces are left out.", n)
        )  # fmt: skip
        messages.success(request, said % {"n": n})
        return redirect("visits:visit", key)
    steps = {step["code"]: step for step in in_words(visit.procedure.steps if visit.procedure else [])}
    rows = [
        {"piece": piece, "step": steps.get(piece.payload.get("step")), "other": other,
         "values": piece.payload.get("values") or {}}
        for piece, other in services.sides(visit)
    ]  # fmt: skip
    people = {row["piece"].person_id: row["piece"].person for row in rows}
    groups = [(who, [r for r in rows if r["piece"].person_id == pk]) for pk, who in people.items()]
    return render(request, "visits/field/settle.html", {"visit": visit, "groups": groups})
