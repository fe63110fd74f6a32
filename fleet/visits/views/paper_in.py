"""One page: a paper sheet that came back from a well, typed in whole."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from fleet.people.access import needs
from fleet.visits import services
from fleet.visits.forms import paper_in as sheet
from fleet.visits.models import Visit
from fleet.visits.procedures.reading import in_words
from fleet.visits.services.values import number_of
from fleet.web import quantities
from fleet.web.refusals import Refused

OPEN = [Visit.State.ASSIGNED, Visit.State.UNDER_WAY, Visit.State.LOGGED]


@needs("log")
@require_http_methods(["GET", "POST"])
def paper_in(request, key):
    """What is right is kept at once; the page comes back with the rest of what was typed until all is right."""
    visits = Visit.objects.loggable_by(request.user).filter(state__in=OPEN, procedure__isnull=False)
    visit = get_object_or_404(
        visits.select_related("site", "installation__unit", "installation__well", "technician", "procedure"), key=key
    )
    open_steps = _open_steps(visit)
    typed, faults = [], {}
    if request.method == "POST":
        typed = sheet.read(open_steps, request.POST, visit.installation, request.user)
        faults, kept = _keep(request, visit, open_steps, typed)
        if kept:
            said = ngettext("%(n)d step is kept.", "%(n)d steps are kept.", kept)
            messages.success(request, said % {"n": kept})
        if not faults:
            return redirect("visits:close" if request.POST.get("left") else "visits:visit", key)
        visit.refresh_from_db()
        open_steps = _open_steps(visit)
    waiting = {step["code"] for step in open_steps}
    context = {
        "visit": visit, "kept": [s for s in in_words(visit.procedure.steps) if s["code"] not in waiting],
        "sections": sheet.show(in_words(open_steps), typed, faults, visit.installation, request.user),
        "faults": faults, "typed": request.POST,
        "arrived": request.POST.get("arrived") or _local(visit.arrived_at, visit),
        "arrived_error": faults.get("arrived", ""), "left_error": faults.get("left", ""),
    }  # fmt: skip
    return render(request, "visits/paper_in.html", context, status=422 if faults else 200)


def _open_steps(visit):
    done = services.current_records(visit)
    return [step for step in visit.procedure.steps if step["code"] not in done]


def _local(at, visit):
    return timezone.localtime(at, quantities.zone_of(visit.site)).strftime("%Y-%m-%dT%H:%M") if at else ""


def _keep(request, visit, steps, typed):
    """({where: Refused}, how many steps were kept)."""
    zone, post = quantities.zone_of(visit.site), request.POST
    cautions = {step["code"]: step["cautions"] if post.get("read") else [] for step in steps}
    faults, sent = {}, []
    try:
        arrived = sheet.moment(post.get("arrived", ""), zone, "arrived") or visit.arrived_at
        if arrived is None:
            raise Refused("no_time", _("Say when they arrived."), field="arrived")
    except Refused as refusal:
        return {"arrived": refusal}, 0
    for one in typed:
        if one.anything:
            try:
                at = sheet.clock(one.clock, arrived, zone, one.code)
            except Refused as refusal:
                faults[one.code] = refusal
            else:
                sent.append({"code": one.code, "values": one.values, "skipped_why": one.skipped_why, "at": at,
                             "cautions_seen": cautions[one.code]})  # fmt: skip
    try:
        left = None if faults else _left(post, zone)
    except Refused as refusal:
        left, faults["left"] = None, refusal
    new, kept = services.type_in(visit=visit, by=request.user, arrived_at=arrived, steps=sent, left=left)
    return faults | new, kept


def _left(post, zone):
    at = sheet.moment(post.get("left", ""), zone, "left")
    if at is None:
        return None
    return {
        "at": at, "km": number_of(post.get("km"), "left", _("Kilometres")),
        "caretaker_words": post.get("caretaker_words", ""), "not_done": post.get("not_done", ""),
    }  # fmt: skip
