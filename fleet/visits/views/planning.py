"""The coordinator's pages: visits, proposing, assigning, calling off, calls."""

from django.contrib import messages
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.output import advice
from fleet.output.models import Shortfall
from fleet.people.access import may, needs
from fleet.registry.models import Installation
from fleet.visits import codes, forms, services
from fleet.visits.forms.trying import attempt
from fleet.visits.models import Call, Finding, Visit
from fleet.web import export, paging
from fleet.web.refusals import Refused

VISIT_COLUMNS = [
    export.Column(gettext_lazy("Site"), "site.code"),
    export.Column(gettext_lazy("Name"), "site.name"),
    export.Column(gettext_lazy("District"), "site.district.name"),
    export.Column(gettext_lazy("Serial"), "installation.unit.serial"),
    export.Column(gettext_lazy("Kind"), "get_kind_display"),
    export.Column(gettext_lazy("State"), "get_state_display"),
    export.Column(gettext_lazy("Why"), "why"),
    export.Column(gettext_lazy("Due on"), "due_on"),
    export.Column(gettext_lazy("Planned for"), "planned_on"),
    export.Column(gettext_lazy("Technician"), lambda visit: str(visit.technician or "")),
    export.Column(gettext_lazy("Arrived"), "arrived_at"),
    export.Column(gettext_lazy("Left"), "left_at"),
    export.Column(gettext_lazy("Kilometres"), "km"),
    export.Column(gettext_lazy("What came of it"), lambda visit: str(codes.OUTCOMES.get(visit.outcome, ""))),
]
CALL_COLUMNS = [
    export.Column(gettext_lazy("Site"), "site.code"),
    export.Column(gettext_lazy("When"), "at"),
    export.Column(gettext_lazy("Who rang"), "caller"),
    export.Column(gettext_lazy("Telephone"), "phone"),
    export.Column(gettext_lazy("What they see"), "words"),
    export.Column(gettext_lazy("State"), "get_state_display"),
]
FINDING_COLUMNS = [
    export.Column(gettext_lazy("Site"), "visit.site.code"),
    export.Column(gettext_lazy("Serial"), "visit.installation.unit.serial"),
    export.Column(gettext_lazy("Noted"), "noted_at"),
    export.Column(gettext_lazy("Where"), lambda f: str(codes.ITEMS.get(f.item, ""))),
    export.Column(gettext_lazy("How it shows"), lambda f: str(codes.FAILURE_MODES.get(f.failure_mode, ""))),
    export.Column(gettext_lazy("What happened inside"), lambda f: str(codes.MECHANISMS.get(f.mechanism, ""))),
    export.Column(gettext_lazy("Why"), lambda f: str(codes.CAUSES.get(f.cause, ""))),
    export.Column(gettext_lazy("How it was found"), lambda f: str(codes.DETECTIONS.get(f.detection, ""))),
    export.Column(gettext_lazy("What was done"), lambda f: str(codes.ACTIONS.get(f.action, ""))),
    export.Column(gettext_lazy("In words"), "words"),
    export.Column(gettext_lazy("Warranty claim"), "warranty"),
    export.Column(gettext_lazy("Shown by a reading"), "confirmed"),
    export.Column(gettext_lazy("Taken back"), "taken_back_why"),
]
ORDERS = {"day": ["day"], "site": ["site__code"], "proposed": ["-proposed_at"]}


@needs("read_fleet")
@require_safe
def visit_list(request):
    form = forms.VisitFilter(request.GET, organisation=request.user.organisation)
    name, order = paging.chosen_order(request, ORDERS, "day")
    visits = form.narrowed(Visit.objects.visible_to(request.user)).by_day().for_lists()
    if export.asked(request):
        rows = visits.order_by("day", "id").iterator(chunk_size=2000)
        return export.answer(
            request, "visits", VISIT_COLUMNS, rows, place=lambda v: (v.site.latitude_deg, v.site.longitude_deg)
        )
    context = {
        "page": paging.page(request, visits, order), "filter_form": form, "order_name": name,
        "today": timezone.localdate(), "may_assign": may(request.user, "assign"),
    }  # fmt: skip
    return render(request, "visits/list.html", context)


@needs("read_fleet")
@require_safe
def visit_page(request, key):
    visits = Visit.objects.visible_to(request.user).select_related(
        "site__district", "installation__unit__pump_type", "technician", "shortfall", "call", "rule", "procedure",
        "trip", "closed_by", "follows",
    )  # fmt: skip
    visit = get_object_or_404(visits, key=key)
    records = services.current_records(visit)
    steps = [
        {"step": step, "record": records.get(step["code"]), "title": _(step["title"])}
        for step in (visit.procedure.steps if visit.procedure else [])
    ]
    findings = list(visit.findings.select_related("noted_by"))
    may_log = may(request.user, "log") and Visit.objects.loggable_by(request.user).filter(pk=visit.pk).exists()
    context = {
        "visit": visit, "steps": steps, "findings": [(f, _words(f)) for f in findings],
        "parts": visit.parts.select_related("part_type"), "photos": visit.photos.all(),
        "spot_tests": visit.spot_tests.select_related("spot_test"),
        "take_along": services.parts_for(visit) if visit.is_open else [],
        "always": codes.ALWAYS,
        "causes": [(codes.CAUSES.get(c, c), odds) for c, odds in services.likely_causes(visit)],
        "checks": advice.with_cautions(visit.shortfall.checks) if visit.shortfall and visit.is_open else [],
        "may_assign": may(request.user, "assign"),
        "may_log": may_log, "owed": services.owed(visit) if may_log else None,
        "outcome": codes.OUTCOMES.get(visit.outcome, ""),
        "to_settle": visit.pieces.to_settle().count() + visit.pieces.moved_meanwhile().count(),
        "followed_by": visit.followed_by.first(),
        "answers": _answers(visit.call) if visit.call else [],
    }  # fmt: skip
    return render(request, "visits/visit.html", context)


def _words(finding):
    """A finding's five things in words."""
    return [
        str(found)
        for found in (
            codes.ITEMS.get(finding.item), codes.FAILURE_MODES.get(finding.failure_mode),
            codes.MECHANISMS.get(finding.mechanism), codes.CAUSES.get(finding.cause),
            codes.ACTIONS.get(finding.action),
        )
        if found
    ]  # fmt: skip


def _answers(call):
    asked = {q["code"]: q for q in codes.PHONE_QUESTIONS}
    yes_no = {"yes": _("yes"), "no": _("no"), True: _("yes"), False: _("no")}
    found = []
    for code, answer in call.answers.items():
        if code in asked:
            words = asked[code].get("options", yes_no).get(answer, answer)
            found.append((asked[code]["ask"], words))
    return found


@needs("assign")
@require_http_methods(["GET", "POST"])
def propose(request):
    """A visit for the list; `?shortfall=` names what it is for, and finds the visit that is planned for it already."""
    start = {"site": request.GET.get("site", ""), "kind": request.GET.get("kind", "inspection")}
    short = _open_shortfall(request)
    if short is not None:
        planned = short.visits.filter(state__in=["proposed", "assigned"]).first()
        if planned is not None:
            messages.info(request, _("A visit for this shortfall is on the list already."))
            return redirect("visits:assign", planned.key)
        start = services.for_shortfall(short) | {"site": short.installation.well.site.code}
    form = forms.ProposeForm(request.POST or None, initial=start, organisation=request.user.organisation)
    if form.is_valid():
        site = form.cleaned_data["site"]
        own = short is not None and short.installation.well.site == site
        hanging = short.installation if own else _hanging_at(site)
        done, visit = attempt(
            form, services.propose, by=request.user, installation=hanging, shortfall=short if own else None,
            **form.cleaned_data,
        )  # fmt: skip
        if done:
            messages.success(request, _("The visit is on the list."))
            return redirect("visits:assign", visit.key)
    return render(request, "visits/propose.html", {"form": form}, status=422 if form.errors else 200)


def _open_shortfall(request):
    key = request.GET.get("shortfall", "")
    rows = Shortfall.objects.visible_to(request.user).filter(state="open").select_related("installation__well__site")
    return rows.filter(pk=key).first() if key.isdecimal() and len(key) < 19 else None


def _hanging_at(site):
    return Installation.objects.hanging().filter(well__site=site).order_by("-period").first()


@needs("assign")
@require_http_methods(["GET", "POST"])
def assign(request, key):
    visit = get_object_or_404(
        Visit.objects.visible_to(request.user).select_related("site", "installation__unit", "technician"), key=key
    )
    day = visit.planned_on or timezone.localdate()
    start = {"technician": visit.technician_id, "on": day, "version": visit.version}
    form = forms.AssignForm(request.POST or None, initial=start, organisation=request.user.organisation)
    nearby = _nearby(visit, request.user)
    if form.is_valid():
        with transaction.atomic():
            chosen = form.cleaned_data
            done, _visit = attempt(
                form, services.assign, visit=visit, technician=chosen["technician"], on=chosen["on"], by=request.user,
                expected_version=chosen["version"],
            )  # fmt: skip
            also = [other for other, _km in nearby if str(other.key) in request.POST.getlist("also")]
            if done and also:
                done, _all = attempt(
                    form, services.assign_many, visits=also, technician=chosen["technician"], on=chosen["on"],
                    by=request.user,
                )  # fmt: skip
            if not done:
                transaction.set_rollback(True)
        if done:
            n = 1 + len(also)
            messages.success(
                request,
                ngettext("%(n)d visit assigned to %(who)s.", "%(n)d visits assigned to %(who)s.", n)
                % {"n": n, "who": chosen["technician"]},
            )
            return redirect("visits:visit", visit.key)
    context = {"visit": visit, "form": form, "nearby": nearby, "also": request.POST.getlist("also")}
    return render(request, "visits/assign.html", context, status=422 if form.errors else 200)


def _nearby(visit, person):
    """Other visits that could go on the same trip: proposed, or within a degree or so and for nobody yet."""
    box = 0.6  # degrees, about 65 km of latitude; the road distance is worked out for these only
    site = visit.site
    others = (
        Visit.objects.visible_to(person).waiting_for_someone().exclude(pk=visit.pk)
        .filter(
            site__latitude_deg__range=(site.latitude_deg - box, site.latitude_deg + box),
            site__longitude_deg__range=(site.longitude_deg - box, site.longitude_deg + box),
        )
        .select_related("site", "installation__unit")[:200]
    )  # fmt: skip
    return services.nearby(visit, others)


@needs("assign")
@require_http_methods(["GET", "POST"])
def assign_many(request):
    """From the list: several visits to one technician for one day."""
    keys = request.POST.getlist("visit") or request.GET.getlist("visit")
    visits = list(
        Visit.objects.visible_to(request.user).filter(key__in=[k for k in keys if len(k) in {32, 36}][:100])
        .select_related("site", "installation__unit", "technician").order_by("site__code")
    )  # fmt: skip
    if not visits:
        messages.warning(request, _("Pick at least one visit in the list."))
        return redirect("visits:list")
    form = forms.AssignForm(
        request.POST if "on" in request.POST else None, initial={"on": timezone.localdate()},
        organisation=request.user.organisation,
    )  # fmt: skip
    if form.is_valid():
        chosen = form.cleaned_data
        done, made = attempt(
            form, services.assign_many, visits=visits, technician=chosen["technician"], on=chosen["on"], by=request.user
        )
        if done:
            said = _("%(n)d visits assigned to %(who)s.") % {"n": len(made), "who": chosen["technician"]}
            messages.success(request, said)
            return redirect("visits:trip", made[0].trip_id)
    return render(
        request, "visits/assign_many.html", {"visits": visits, "form": form}, status=422 if form.errors else 200
    )


@needs("assign")
@require_POST
def take_back(request, key):
    visit = get_object_or_404(Visit.objects.visible_to(request.user), key=key)
    try:
        services.take_back(visit=visit, by=request.user)
        messages.success(request, _("The visit stands with nobody now."))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visits:visit", key)


@needs("assign")
@require_http_methods(["GET", "POST"])
def cancel(request, key):
    visit = get_object_or_404(Visit.objects.visible_to(request.user).select_related("site"), key=key)
    form = forms.CancelForm(request.POST or None)
    if form.is_valid() and attempt(form, services.cancel, visit=visit, by=request.user, **form.cleaned_data)[0]:
        messages.success(request, _("The visit is called off."))
        return redirect("visits:visit", key)
    context = {
        "question": _("Call off this visit to %(site)s?") % {"site": visit.site}, "form": form, "danger": True,
        "consequences": [_("What was recorded stays."), _("A shortfall or call behind it stays open.")],
        "yes": _("Call it off"), "back": reverse("visits:visit", args=[key]),
    }  # fmt: skip
    return render(request, "web/confirm.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def finding_list(request):
    """What was found on all visits, newest first."""
    form = forms.FindingFilter(request.GET)
    found = Finding.objects.visible_to(request.user).select_related("visit__site", "visit__installation__unit")
    found = form.narrowed(found)
    if export.asked(request):
        rows = found.order_by("-noted_at", "-id").iterator(chunk_size=2000)
        return export.answer(request, "findings", FINDING_COLUMNS, rows)
    page = paging.page(request, found, ["-noted_at"])
    rows = [(finding, _words(finding)) for finding in page]
    return render(request, "visits/findings.html", {"page": page, "rows": rows, "filter_form": form})


@needs("read_fleet")
@require_safe
def call_list(request):
    calls = Call.objects.visible_to(request.user)
    show = request.GET.get("show", "open")
    today = timezone.localdate()
    if show == "open":
        calls = calls.open()
    elif show == "ring":
        calls = calls.to_ring_back(today)
    calls = calls.select_related("site__district", "taken_by")
    if export.asked(request):
        return export.answer(request, "calls", CALL_COLUMNS, calls.order_by("-at", "-id").iterator(chunk_size=2000))
    context = {"page": paging.page(request, calls, ["-at"]), "show": show}
    return render(request, "visits/calls.html", context)


@needs("take_calls")
@require_http_methods(["GET", "POST"])
def take_call(request):
    form = forms.CallForm(
        request.POST or None, initial={"site": request.GET.get("site", "")}, organisation=request.user.organisation
    )
    if form.is_valid():
        known = {name: form.cleaned_data[name] for name in ("site", "caller", "phone", "words")}
        done, call = attempt(form, services.take_call, by=request.user, answers=form.answers(), **known)
        if done:
            return redirect("visits:call", call.pk)
    context = {
        "form": form, "asked": [form[name] for name in form.asked], "phone_caution": codes.PHONE_CAUTION,
    }  # fmt: skip
    return render(request, "visits/take_call.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def call_page(request, call_id):
    call = get_object_or_404(Call.objects.visible_to(request.user).select_related("site", "taken_by"), pk=call_id)
    context = {
        "call": call, "answers": _answers(call), "advice": services.advice(call.answers),
        "danger": services.is_danger(call.answers), "may_assign": may(request.user, "assign"),
        "visits": call.visits.select_related("technician"),
        "settled": call.state in {"visit", "closed"} or not may(request.user, "take_calls"),
    }  # fmt: skip
    return render(request, "visits/call.html", context)


CALL_VERBS = {
    "solved": (services.solve_by_phone, gettext_lazy("Kept: ring back in three days.")),
    "closed": (services.close_call, gettext_lazy("The call is closed.")),
    "visit": (services.visit_for_call, gettext_lazy("A visit is on the list.")),
}


@needs("take_calls")
@require_POST
def settle_call(request, call_id):
    call = get_object_or_404(Call.objects.visible_to(request.user), pk=call_id)
    how = request.POST.get("how")
    if how not in CALL_VERBS:
        return redirect("visits:call", call_id)
    verb, said = CALL_VERBS[how]
    try:
        made = verb(call=call, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("visits:call", call_id)
    messages.success(request, said)
    return redirect("visits:assign", made.key) if how == "visit" else redirect("visits:calls")
