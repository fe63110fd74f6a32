"""The online log: one step a page, findings, parts, departure, closing. It works without JavaScript."""

from datetime import datetime, timedelta

from django.contrib import messages
from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import needs
from fleet.visits import forms, services
from fleet.visits.forms import step as step_form
from fleet.visits.forms.trying import attempt
from fleet.visits.models import Finding, Photo, Visit
from fleet.visits.procedures.reading import cautions_in_words, in_words, judge_step
from fleet.web import quantities
from fleet.web.refusals import Refused


def _own_visit(request, key):
    visits = Visit.objects.loggable_by(request.user).select_related(
        "site", "installation__unit", "installation__well", "technician", "procedure", "shortfall"
    )
    return get_object_or_404(visits, key=key)


@needs("log")
@require_POST
def start(request, key):
    visit = _own_visit(request, key)
    try:
        services.start(visit=visit, by=request.user, at=_paper_time(request, visit))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("visits:visit", key)
    return redirect("visits:log", key)


def _paper_time(request, visit):
    """The time that stands on a paper sheet, in the site's zone; None for now."""
    text = request.POST.get("paper_at", "").strip()
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).replace(tzinfo=quantities.zone_of(visit.site))
    except ValueError:
        raise Refused(
            "not_a_time", _("The time on the paper cannot be read. Write it like 2026-03-14 10:30."), field="paper_at"
        ) from None


def _types_in(request, visit):
    """Somebody else's sheet is typed in: each step asks for the time that stands on it."""
    return visit.technician_id != request.user.pk


def _next_step(visit, after=None):
    """The next step not recorded yet, after a given one; then from the start."""
    codes = [s["code"] for s in visit.procedure.steps]
    done = services.current_records(visit)
    place = codes.index(after) + 1 if after in codes else 0
    for code in codes[place:] + codes[:place]:
        if code not in done:
            return code
    return None


@needs("log")
@require_safe
def log(request, key):
    """On to the next open step, or to leaving when all is done."""
    visit = _own_visit(request, key)
    if not visit.procedure:
        return redirect("visits:leave", key)
    code = _next_step(visit, request.GET.get("after"))
    return redirect("visits:step", key, code) if code else redirect("visits:leave", key)


@needs("log")
@require_http_methods(["GET", "POST"])
def step(request, key, code):
    visit = _own_visit(request, key)
    try:
        data = services.step_of(visit, code)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("visits:log", key)
    record = services.current_records(visit).get(code)
    values, errors, general = (record.values if record else {}), {}, []
    if request.method == "POST":
        values = step_form.read(data, request.POST, visit.installation, request.user, values)
        try:
            return _keep(request, visit, data, values)
        except Refused as refusal:
            if refusal.field and refusal.field != "cautions_seen":
                errors[refusal.field] = str(refusal)
            general.append(str(refusal))
    shown = in_words([data])[0]
    codes = [s["code"] for s in visit.procedure.steps]
    seen = {c for r in visit.records.all() for c in r.cautions_seen}
    words = cautions_in_words()
    sentences = judge_step(data, record.values, services.known_of(visit.installation))[1] if record else []
    context = {
        "visit": visit, "step": shown, "record": record, "general": general, "sentences": [_(s) for s in sentences],
        "captures": step_form.show(shown, values, visit.installation, errors, request.user),
        "cautions": [{"code": c, "seen": c in seen, **words[c]} for c in data["cautions"]],
        "acknowledged": request.POST.getlist("seen"), "skipped_why": request.POST.get("skipped_why", ""),
        "place": codes.index(code) + 1, "most": len(codes), "kept": "kept" in request.GET and record is not None,
        "before": codes[codes.index(code) - 1] if codes.index(code) else None,
        "answers": [v["answer"] for v in (record.values.values() if record else []) if isinstance(v, dict)
                    and v.get("answer")],
        "photos": visit.photos.filter(step=code),
        "zone_now": timezone.localtime(timezone.now(), quantities.zone_of(visit.site)),
        "paper_at": request.POST.get("paper_at") or _last_time(visit) if _types_in(request, visit) else None,
    }  # fmt: skip
    return render(request, "visits/step.html", context, status=422 if general else 200)


def _last_time(visit):
    """Where typing goes on: a minute after the last record, on the site's clock."""
    last = max((r.at for r in visit.records.all()), default=visit.arrived_at)
    if last is None:
        return ""
    return timezone.localtime(last + timedelta(minutes=1), quantities.zone_of(visit.site)).strftime("%Y-%m-%dT%H:%M")


def _keep(request, visit, data, values):
    code = data["code"]
    skipped_why = request.POST.get("skipped_why", "").strip() if "skip" in request.POST else ""
    if "skip" in request.POST and not skipped_why:
        raise Refused("no_reason", _("Say in a few words why this step is skipped."))
    for file in request.FILES.getlist("photo"):
        services.keep_photo(visit=visit, data=services.photo_bytes(file), step=code, by=request.user)
    record, sentences = services.record_step(
        visit=visit, step=code, values=values, by=request.user, skipped_why=skipped_why,
        cautions_seen=request.POST.getlist("seen"), at=_paper_time(request, visit),
    )  # fmt: skip
    answered = any(isinstance(v, dict) and v.get("answer") for v in record.values.values())
    if sentences or answered:
        return redirect(reverse("visits:step", args=[visit.key, code]) + "?kept=1")
    return redirect(reverse("visits:log", args=[visit.key]) + f"?after={code}")


@needs("log")
@require_http_methods(["GET", "POST"])
def add_finding(request, key):
    visit = _own_visit(request, key)
    form = forms.FindingForm(request.POST or None)
    if form.is_valid() and attempt(form, services.add_finding, visit=visit, by=request.user, **form.cleaned_data)[0]:
        messages.success(request, _("The finding is kept."))
        return redirect("visits:visit", key)
    return render(request, "visits/finding.html", {"visit": visit, "form": form}, status=422 if form.errors else 200)


@needs("log")
@require_http_methods(["GET", "POST"])
def take_back_finding(request, key, finding_id):
    visit = _own_visit(request, key)
    finding = get_object_or_404(Finding.objects.standing(), visit=visit, pk=finding_id)
    form = forms.TakeBackForm(request.POST or None)
    if form.is_valid() and attempt(
        form, services.take_back_finding, finding=finding, by=request.user, **form.cleaned_data
    )[0]:
        return redirect("visits:visit", key)
    context = {
        "question": _("Take back this finding?"), "form": form, "yes": _("Take it back"),
        "consequences": [_("It stays readable with your reason, and counts no more.")],
        "back": reverse("visits:visit", args=[key]),
    }  # fmt: skip
    return render(request, "web/confirm.html", context, status=422 if form.errors else 200)


@needs("log")
@require_http_methods(["GET", "POST"])
def use_part(request, key):
    visit = _own_visit(request, key)
    services.set_up(visit.organisation)
    form = forms.PartForm(request.POST or None, organisation=visit.organisation)
    if form.is_valid() and attempt(form, services.use_part, visit=visit, by=request.user, **form.cleaned_data)[0]:
        messages.success(request, _("The part is kept."))
        return redirect("visits:visit", key)
    return render(request, "visits/part.html", {"visit": visit, "form": form}, status=422 if form.errors else 200)


@needs("log")
@require_http_methods(["GET", "POST"])
def leave(request, key):
    visit = _own_visit(request, key)
    start_at = {"km": visit.km, "caretaker_words": visit.caretaker_words, "not_done": visit.not_done}
    form = forms.LeaveForm(request.POST if request.method == "POST" else None, initial=start_at)
    if form.is_valid():
        typed = dict(form.cleaned_data)
        at = _clock_here(typed.pop("time"), visit)
        if at and visit.arrived_at and at < visit.arrived_at:
            form.add_error("time", _("This is before the arrival."))
        elif attempt(form, services.leave, visit=visit, by=request.user, at=at, **typed)[0]:
            return redirect("visits:close", key)
    waiting = [_(s["title"]) for s in services.open_steps(visit)]
    context = {"visit": visit, "form": form, "waiting": waiting}
    return render(request, "visits/leave.html", context, status=422 if form.errors else 200)


def _clock_here(clock, visit):
    """A clock time at the site, today or, if that has not come yet, yesterday."""
    if clock is None:
        return None
    zone = quantities.zone_of(visit.site)
    now = timezone.localtime(timezone.now(), zone)
    at = now.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0)
    return at if at <= now else at - timedelta(days=1)


@needs("log")
@require_http_methods(["GET", "POST"])
def close(request, key):
    visit = _own_visit(request, key)
    form = forms.CloseForm(request.POST or None, visit=visit)
    if form.is_valid():
        typed = dict(form.cleaned_data)
        if typed["outcome"] in {"part_awaited", "not_mended"} and visit.kind == Visit.Kind.REPAIR:
            done, _follow = attempt(
                form, services.leave_open, visit=visit, outcome=typed["outcome"], why=typed["not_done"], by=request.user
            )
            said = _("The repair stays open; a follow-up visit is on the list.")
        else:
            done, closed = attempt(form, services.close, visit=visit, by=request.user, **typed)
            said = _("The visit is closed.")
            for remark in closed.remarks if done else []:
                messages.warning(request, remark)
        if done:
            messages.success(request, said)
            return redirect("visits:visit", key)
    context = {
        "visit": visit, "form": form, "waiting": [_(s["title"]) for s in services.open_steps(visit)],
        "owed": services.owed(visit),
        "after_test": services.after_test_of(visit), "findings": visit.findings.standing(),
        "next_by_rules": services.next_inspection_on(visit.installation, visit) if visit.installation else None,
    }  # fmt: skip
    return render(request, "visits/close.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def photo(request, key):
    found = get_object_or_404(
        Photo.objects.filter(visit__in=Visit.objects.visible_to(request.user)), key=key
    )
    if "small" in request.GET:
        answer = HttpResponse(services.small_photo(found), content_type="image/jpeg")
    else:
        answer = FileResponse(found.file.open("rb"), content_type="image/jpeg")
    answer["Cache-Control"] = "private, max-age=604800, immutable"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
