"""Pages that need every room: attention, a unit's whole life, the technician's day, the map."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST, require_safe

from fleet.desk import services, silence, tables
from fleet.desk.forms import AttentionForm, SendForm, SilentForm
from fleet.output import ranges, skies
from fleet.output.models import Baseline, Shortfall
from fleet.people.access import may, needs, own
from fleet.registry.models import Attachment, Unit
from fleet.web import export, paging

LISTED_BESIDE_MAP = 30  # the worst; the map and its own list show all
EXPORT = [
    export.Column(gettext_lazy("site"), "installation.well.site.code"),
    export.Column(gettext_lazy("name"), "installation.well.site.name"),
    export.Column(gettext_lazy("district"), "installation.well.site.district.name"),
    export.Column(gettext_lazy("serial"), "installation.unit.serial"),
    export.Column(gettext_lazy("pump type"), "installation.unit.pump_type.name"),
    export.Column(gettext_lazy("lost L a day"), "lost_l_day"),
    export.Column(gettext_lazy("lost share"), "lost_fraction"),
    export.Column(gettext_lazy("people"), "people_served"),
    export.Column(gettext_lazy("since"), "since"),
    export.Column(gettext_lazy("flagged on"), "flagged_on"),
    export.Column(gettext_lazy("how sure"), "probability"),
    export.Column(gettext_lazy("danger"), "danger"),
]


SILENT = [
    export.Column(gettext_lazy("site"), "well.site.code"),
    export.Column(gettext_lazy("name"), "well.site.name"),
    export.Column(gettext_lazy("district"), "well.site.district.name"),
    export.Column(gettext_lazy("serial"), "unit.serial"),
    export.Column(gettext_lazy("pump type"), "unit.pump_type.name"),
    export.Column(gettext_lazy("last reported"), lambda row: silence.heard(row).last),
    export.Column(gettext_lazy("what is measured"), "get_instrument_level_display"),
    export.Column(gettext_lazy("people"), "well.site.people_served"),
    export.Column(gettext_lazy("caretaker"), "well.site.caretaker_name"),
    export.Column(gettext_lazy("telephone"), "well.site.caretaker_phone"),
]


def _ways(*wanted):
    """Links to other rooms' pages: (title, url name, arguments, icon)."""
    return [
        {"title": title, "address": reverse(name, args=arguments), "icon": icon}
        for title, name, arguments, icon in wanted
    ]


def _place(row):
    site = row.installation.well.site
    return site.latitude_deg, site.longitude_deg


def _today(person):
    """The day at the organisation's sites: their zone, not the server's."""
    zone = services.zone_of(person)
    return timezone.now().astimezone(ZoneInfo(zone)).date()


@needs("read_fleet")
@require_safe
def attention(request):
    head = services.head_of_attention(request.user)
    form = AttentionForm(request.GET or None, person=request.user, known=head)
    rows = services.attention(request.user, **form.chosen())
    if export.asked(request):
        return export.answer(request, "shortfalls", EXPORT, rows, place=_place)
    may_send = may(request.user, "assign")
    page = paging.page(request, rows.select_related(None).values(*tables.FACTS), ["-weight"])
    context = {
        "filter_form": form,
        "page": page,
        "table": tables.of_shortfalls(page.rows, may_send=may_send),
        "counts": head,
        "may_send": may_send,
        "send_form": SendForm(person=request.user, known=head, initial={"day": head["today"] + timedelta(days=1)}),
        "ways": _ways(
            *([(_("New call"), "visits:take_call", (), "phone")] if may(request.user, "take_calls") else []),
            (_("Figures to settle"), "readings:slips", (), "pencil-line"),
            (_("Silent units"), "desk:silent", (), "bell-off"),
            (_("All visits"), "visits:list", (), "list"),
            (_("Map"), "desk:map", (), "map"),
        ),
    }
    return render(request, "desk/attention.html", context)


@needs("read_fleet")
@require_safe
def silent(request):
    """Units that should have reported since they last did."""
    form = SilentForm(request.GET or None, person=request.user)
    rows = services.silent_list(request.user, **form.chosen())
    if export.asked(request):
        return export.answer(request, "silent", SILENT, rows.iterator(chunk_size=2000), place=_where)
    page = paging.page(request, rows, ["-well__site__people_served"])
    context = {
        "filter_form": form, "page": page, "table": tables.of_silent(page.rows),
        "most_days": sorted(set(silence.MOST_DAYS.values())),
    }  # fmt: skip
    return render(request, "desk/silent.html", context)


def _where(row):
    return row.well.site.latitude_deg, row.well.site.longitude_deg


@needs("assign")
@require_POST
def send(request):
    """Plans a visit to every ticked shortfall, all for one technician and day."""
    form = SendForm(request.POST, person=request.user)
    ticked = own(Shortfall.objects.all(), request.user, "installation__organisation").filter(
        pk__in=[key for key in request.POST.getlist("shortfall") if key.isdigit()]
    )
    back = request.POST.get("back") or reverse("desk:attention")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = reverse("desk:attention")
    if not form.is_valid() or not ticked:
        messages.error(request, _("Tick at least one site, and give a technician and a day."))
        return redirect(back)
    planned, refusals = services.send_to(shortfalls=ticked, by=request.user, **form.cleaned_data)
    if planned:
        messages.success(
            request,
            ngettext("%(n)d visit planned for %(who)s.", "%(n)d visits planned for %(who)s.", planned)
            % {"n": planned, "who": form.cleaned_data["technician"]},
        )
    for sentence in refusals:
        messages.error(request, sentence)
    return redirect(back)


@needs("read_fleet")
@require_safe
def unit(request, unit_id):
    row = get_object_or_404(
        Unit.objects.visible_to(request.user).select_related("pump_type", "organisation"), pk=unit_id
    )
    whole = "all" in request.GET
    first = None if whole else timezone.now() - timedelta(days=400)
    life, installations = services.life(row, first=first)
    now = next((one for one in reversed(installations) if one.hangs_now), None)
    context = {"unit": row, "now": now, "place": now.well.site if now else None, "life": life, "older": not whole}
    if now:
        days = services.measured_against_expected(now)
        context["chart"] = services.band_chart(days) if days else None
        context["sky"] = skies.sentence(row["sun_by"] for row in days)
        context["range"] = ranges.of_month(Baseline.objects.filter(pk=now.pk).first(), _today(request.user).month)
        context["latest"] = services.latest_figures(now)
        context["state"] = services.state_now(request.user, now.pk)
        context["shortfall"] = now.shortfalls.filter(state="open").first()
        context["attachments"] = [
            {"title": str(paper), "address": reverse("registry:attachment", args=[paper.pk])}
            for paper in Attachment.objects.filter(installation__in=installations)[:40]
        ]
        context["ways"] = _ways(
            (_("How the figure is worked out"), "output:working", (now.pk,), "sigma"),
            (_("Readings"), "readings:of", (now.pk,), "table"),
            (_("Sun here"), "registry:sun", (now.well.site.code,), "sun"),
            (_("Label"), "registry:label", (row.pk,), "qr-code"),
            (_("As built"), "registry:installation", (now.pk,), "ruler"),
        )
    return render(request, "desk/unit.html", context)


@needs("own_day")
@require_safe
def my_day(request):
    today = _today(request.user)
    try:
        day = date.fromisoformat(request.GET["day"]) if "day" in request.GET else today
    except ValueError:
        day = today
    found = services.day_of(request.user, day)
    context = {
        "day": day, "today": today, "before": day - timedelta(days=1), "after": day + timedelta(days=1),
        "visits": found["today"], "waiting": found["waiting"] if day == today else [],
        "coming": found["coming"] if day == today else [], "parts": services.parts_for(found["today"]),
    }  # fmt: skip
    return render(request, "desk/my_day.html", context)


@needs("read_fleet")
@require_safe
def fleet_map(request):
    rows = []
    for place in services.map_list(request.user).filter(short_id__isnull=False)[:LISTED_BESIDE_MAP]:
        tone, word = services.state_of(place)
        rows.append({"place": place, "tone": tone, "word": word, "silence": services.silence_beside(place)})
    return render(request, "desk/map.html", {"rows": rows, "places_address": reverse("desk:places")})


@needs("read_fleet")
@require_safe
def places(request):
    """The fleet's places and states as GeoJSON, for the map."""
    answer = JsonResponse(services.map_features(request.user), content_type="application/geo+json")
    answer["Cache-Control"] = "private, max-age=60"
    return answer

