"""Pages of expected output: shortfalls, the working of the calculation, the one setting, a spot test's answer."""

from datetime import date

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from fleet.output import advice, forms, pictures, ranges, services, setting, skies, steps
from fleet.output.models import Baseline, Judgement, Shortfall
from fleet.people.access import may, needs
from fleet.people.services import set_false_alarms
from fleet.readings.models import Slip, SpotTest
from fleet.readings.services import keep_spot_test
from fleet.readings.services.clock import zone_of
from fleet.registry.models import Installation
from fleet.registry.querysets import like
from fleet.web import export, paging
from fleet.web import quantities as q
from fleet.web.refusals import Refused


def _installation(request, pk):
    found = Installation.objects.visible_to(request.user).select_related("unit__pump_type", "well__site__district")
    return get_object_or_404(found, pk=pk)


def chosen_shortfalls(person, chosen):
    """Shortfalls as filtered; shared by page and API."""
    rows = Shortfall.objects.visible_to(person).select_related(
        "installation__unit__pump_type", "installation__well__site__district"
    )
    state = chosen.get("state") or "open"
    if state != "all":
        rows = rows.filter(state=state)
    if chosen.get("cause"):
        rows = rows.filter(causes__0__cause=chosen["cause"])
    if chosen.get("district"):
        rows = rows.filter(installation__well__site__district__name__iexact=chosen["district"])
    if words := chosen.get("serial"):
        named = Q(installation__unit__serial__icontains=words)
        rows = rows.filter(named | like(words, "installation__well__site__"))
    return rows


@needs("read_fleet")
@require_safe
def shortfalls(request):
    form = forms.ShortfallFilter(request.GET or None)
    rows = chosen_shortfalls(request.user, form.cleaned_data if form.is_valid() else {})
    if export.asked(request):
        return export.answer(request, "shortfalls", _columns(), rows.order_by("-weight", "id").iterator(2000))
    page = paging.page(request, rows, ["-weight"])
    return render(request, "output/shortfalls.html", {"page": page, "filter_form": form})


def _columns():
    return [
        export.Column(_("serial"), "installation.unit.serial"),
        export.Column(_("site"), "installation.well.site.code"),
        export.Column(_("district"), "installation.well.site.district.name"),
        export.Column(_("state"), "get_state_display"),
        export.Column(_("since about"), "since"),
        export.Column(_("flagged on"), "flagged_on"),
        export.Column(_("lost, L a day"), lambda s: round(s.lost_l_day)),
        export.Column(_("how sure"), "probability"),
        export.Column(_("people served"), "people_served"),
        export.Column(_("causes"), lambda s: "|".join(c["cause"] for c in s.causes)),
        export.Column(_("ended as"), "get_ending_display"),
    ]


@needs("read_fleet")
@require_safe
def shortfall(request, pk):
    """One shortfall: the picture, since when, how much, how surely, why, and what to check first."""
    found = get_object_or_404(
        Shortfall.objects.visible_to(request.user).select_related(
            "installation__unit__pump_type", "installation__well__site__district"
        ),
        pk=pk,
    )
    installation = found.installation
    kind = installation.unit.pump_type.kind
    course = services.day_course(found)
    course_chart, course_days = (None, "") if course is None else pictures.of_course(course, request.user)
    context = {
        "shortfall": found,
        "installation": installation,
        "site": installation.well.site,
        "chart": pictures.of_shortfall(found),
        "course_chart": course_chart,
        "course_days": course_days,
        "tests": _tests(found, request.user),
        "since_words": q.formats.date_format(found.since, "j M Y"),
        "since_range": _since(found),
        "sky": skies.of_installation(installation.pk, found.closed_on),
        "lost_range": _range(found.lost_low_l_day, found.lost_high_l_day, q.litres),
        "causes": [(advice.word(c["cause"]), c["odds"]) for c in found.causes],
        "checks": advice.with_cautions(found.checks),
        "nothing": 1 - found.probability,
        "misread": found.evidence.get("misread", 0.0),
        "season": _season(found),
        "parts": [_(part) for part in found.parts],
        "findings": sum(services.counts(installation.organisation_id).values()),
        "findings_of_kind": sum(services.counts(installation.organisation_id, kind).values()),
        "flags": found.flags.order_by("-flagged_on"),
        "may_assign": may(request.user, "assign"),
        "visits_address": _visits_address(found),
    }
    return render(request, "output/shortfall.html", context)


def _since(found):
    """Beside the day since which it falls short: between which days that lies, and how the loss came."""
    between = _range(found.since_low, found.since_high, lambda day: q.formats.date_format(day, "j M"))
    return " · ".join(filter(None, [between, _came(found.evidence.get("came"))]))


def _came(came):
    if not came:
        return ""
    if came["how"] == "grows":
        return _("grows over about %(days)s days") % {"days": came["days"]}
    return {"stopped": _("stopped"), "at_once": _("came at once")}[came["how"]]


def _season(found):
    """What the season does to sound units here, in words; nothing where it is next to nothing."""
    change = found.evidence.get("season", 1.0) - 1.0
    if abs(change) < 0.01:
        return ""
    share = {"share": q.percent(abs(change))}
    if change < 0:
        return _("Sound units here give about %(share)s less than usual at this time of the year.") % share
    return _("Sound units here give about %(share)s more than usual at this time of the year.") % share


def _tests(found, person):
    """Spot tests that counted: what was measured, what is right there, and how the flow was got."""
    rows = []
    for test in reversed(pictures.tests_of(found)):
        low, high = (q.flow(test[end], person) for end in ("low", "high"))
        by = SpotTest.FlowBy.BUCKET if test["bucket"] else SpotTest.FlowBy.METER
        rows.append(test | {"right": f"{low.split(q.GAP)[0]} – {high}", "by": by.label})
    return rows


def _range(low, high, words):
    if low is None or high is None:
        return ""
    if words(low) == words(high):
        return _("known to the day") if hasattr(low, "year") else ""
    return _("between %(low)s and %(high)s") % {"low": words(low), "high": words(high)}


def _visits_address(found):
    """Where a visit is proposed for it: the room above names its own page; without that room there is no button."""
    from django.urls import NoReverseMatch, reverse

    try:
        return f"{reverse('visits:propose')}?shortfall={found.pk}"
    except NoReverseMatch:
        return ""


@needs("read_fleet")
@require_safe
def working(request, pk):
    """Every number of the calculation for one installation and day, with formula, source and origin."""
    installation = _installation(request, pk)
    form = forms.WorkingForm(request.GET or None)
    chosen = form.cleaned_data if form.is_valid() else {}
    day = chosen.get("day") or timezone.now().astimezone(zone_of(installation)).date()
    context = {
        "installation": installation, "site": installation.well.site, "form": form, "day": day,
        "baseline": Baseline.objects.filter(pk=installation.pk).first(),
    }  # fmt: skip
    try:
        context |= services.working(installation, day, chosen.get("sun_kwh_m2"))
        context |= pictures.of_hours(context["hours"])
        context["range"] = ranges.of_month(context["baseline"], day.month)
        context["day_water"] = ranges.of_day(context["steps"])
        context["stages"] = steps.by_stage(context["steps"])
        months = [q.formats.date_format(date(2001, month, 1), "F") for month in range(1, 13)]
        context["frame_months"] = list(zip(months, zip(*(cost.by_month_l for cost in context["frame_costs"]))))
    except Refused as refusal:
        context["trouble"] = str(refusal)
    return render(request, "output/working.html", context)


@needs("read_reports")
@require_http_methods(["GET", "POST"])
def alarms(request):
    """The one setting, with what it costs in days to notice."""
    organisation = request.user.organisation
    allowed = may(request.user, "set_alarms")
    now = organisation.false_alarms_per_100_unit_years
    form = forms.AlarmsForm(request.POST or None, initial={"alarms": now})
    if request.method == "POST" and form.is_valid():
        try:
            set_false_alarms(by=request.user, organisation=organisation, per_100_unit_years=form.cleaned_data["alarms"])
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Kept. It counts from the next night on."))
            return redirect("output:alarms")
    shown = sorted({*setting.CHOICES, now})
    units = Installation.objects.visible_to(request.user).hanging().count()
    context = {
        "form": form, "allowed": allowed, "now": now,
        "tables": [(value, setting.table(value)) for value in shown],
        "units": units, "yearly": units * now / 100, "said": services.said_and_found(organisation.pk),
        "heard": services.findings_heard(organisation.pk),
    }  # fmt: skip
    return render(request, "output/alarms.html", context, status=422 if form.errors else 200)


@needs("log")
@require_http_methods(["GET", "POST"])
def add_spot(request, pk):
    """Enter a spot test and be told at once whether it is right for this sun and level."""
    installation = _installation(request, pk)
    now = timezone.now().astimezone(zone_of(installation))
    form = forms.SpotForm(request.POST or None, initial={"day": now.date(), "hour": now.strftime("%H:%M")})
    context = {"form": form, "installation": installation, "site": installation.well.site}
    if form.is_valid():
        try:
            test, _new = keep_spot_test(installation=installation, by=request.user, **form.readings(installation))
            services.look_at_tests([installation.pk])
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            return redirect("output:spot", installation.pk, test.pk)
    return render(request, "output/add_spot.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def spot(request, pk, test):
    """A kept spot test with its answer: the expected range, the verdict, where the water is lost."""
    installation = _installation(request, pk)
    found = get_object_or_404(installation.spot_tests, pk=test)
    answer = services.answer_spot(installation, found)
    causes = services.causes_of_test(found, answer["verdict"])
    measured, *unit = q.flow(answer.get("measured_l_min"), request.user).split(q.GAP)
    context = {
        "installation": installation, "site": installation.well.site, "test": found, "answer": answer,
        "chart": pictures.spot_waterfall(answer, request.user),
        "right_words": _flow_range(answer, request.user),
        "watched": _("watched %s min") % f"{found.watched_min:.0f}" if found.watched_min else "",
        "measured_words": measured, "flow_unit": "".join(unit),
        "doubts": found.slips.waiting(), "settled": Slip.objects.settled_of(tests=[found]),
        "may_settle": may(request.user, "settle"),
        "causes": causes and [(advice.word(c["cause"]), c["odds"]) for c in causes["causes"]],
        "checks": causes and advice.with_cautions(causes["checks"]), "nothing": causes and causes["nothing"],
        "again": causes and causes["nothing"] > services.MAY_WELL,
    }  # fmt: skip
    return render(request, "output/spot.html", context)


def _flow_range(answer, person):
    expected = answer.get("expected_l_min")
    low, high = (q.flow(expected[end], person).split(q.GAP)[0] for end in ("low", "high")) if expected else ("", "")
    return f"{low} – {high}"


TROUBLE_COLUMNS = [
    export.Column(gettext_lazy("Serial"), "installation.unit.serial"),
    export.Column(gettext_lazy("Site"), "installation.well.site.code"),
    export.Column(gettext_lazy("Name"), "installation.well.site.name"),
    export.Column(gettext_lazy("Why"), "trouble"),
]


@needs("read_fleet")
@require_safe
def troubles(request):
    """Installations of which nothing can be computed, with the reason, so that somebody can mend what is missing."""
    rows = Baseline.objects.visible_to(request.user).in_trouble().filter(
        installation__period__upper_inf=True
    ).select_related("installation__unit", "installation__well__site")  # fmt: skip
    if export.asked(request):
        return export.answer(request, "not-computed", TROUBLE_COLUMNS, rows.order_by("pk").iterator(chunk_size=2000))
    page = paging.page(request, rows, ["pk"])
    judged = Judgement.objects.visible_to(request.user).exclude(trouble="").count() if not page.rows else 0
    return render(request, "output/troubles.html", {"page": page, "judged": judged})


@needs("import")
@require_http_methods(["GET", "POST"])
def weather(request):
    """Places whose weather is known, and a file of one more."""
    form = forms.WeatherForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            days, kept = services.import_weather(
                organisation=request.user.organisation, content=typed["file"].read(), kind=typed["kind"],
                name=typed["name"], by=request.user,
            )  # fmt: skip
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            messages.success(
                request,
                _("%(name)s: %(new)d new days, %(changed)d changed, %(same)d as before; %(left)d days were not whole.")
                % {"name": typed["name"], "new": kept.new, "changed": kept.changed, "same": kept.same,
                   "left": days.left_out},
            )  # fmt: skip
            return redirect("output:weather")
    context = {
        "form": form, "places": services.weather_places(request.user.organisation),
        "service": services.nightly_service(),
    }  # fmt: skip
    return render(request, "output/weather.html", context, status=422 if form.errors else 200)


@needs("import")
@require_http_methods(["GET", "POST"])
def forget_weather(request, pk):
    place = get_object_or_404(services.weather_places(request.user.organisation), pk=pk)
    if request.method == "POST":
        services.forget_weather(place=place, by=request.user)
        messages.success(request, _("Forgotten."))
        return redirect("output:weather")
    context = {
        "question": _("Forget the weather of %(name)s?") % {"name": place.name}, "yes": _("Forget it"), "danger": True,
        "consequences": [_("Its days are thrown away. What was judged by them stays until something new comes in.")],
        "back": reverse("output:weather"),
    }  # fmt: skip
    return render(request, "web/confirm.html", context)
