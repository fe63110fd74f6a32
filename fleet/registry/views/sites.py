"""Sites: the list, one site with all that stands there, and its parts to add and correct."""

from datetime import timedelta

from django.contrib import messages
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.registry import forms, hiding, services
from fleet.registry.engineering import skyline
from fleet.registry.models import Attachment, Installation, MonthlyClimate, Site, StaticLevel, Tank, Well
from fleet.registry.services.places import warnings_of_site
from fleet.registry.views import tables
from fleet.registry.views.parts import attempt, editor, form_page, own_copy
from fleet.web import export, paging
from fleet.web.refusals import Refused

COLUMNS = [
    export.Column(gettext_lazy("site_code"), "code"),
    export.Column(gettext_lazy("site_name"), "name"),
    export.Column(gettext_lazy("village"), "village"),
    export.Column(gettext_lazy("district"), "district.name"),
    export.Column(gettext_lazy("latitude_deg"), "latitude_deg"),
    export.Column(gettext_lazy("longitude_deg"), "longitude_deg"),
    export.Column(gettext_lazy("altitude_m"), "altitude_m"),
    export.Column(gettext_lazy("zone"), "zone"),
    export.Column(gettext_lazy("people_served"), "people_served"),
    export.Column(gettext_lazy("animals_served"), "animals_served"),
    export.Column(gettext_lazy("caretaker_name"), "caretaker_name"),
    export.Column(gettext_lazy("caretaker_phone"), "caretaker_phone"),
    export.Column("skyline", lambda s: hiding.skyline_words(s.skyline)),
    export.Column("shade_windows", lambda s: hiding.windows_words(s.shade_windows)),
    export.Column(gettext_lazy("units"), lambda s: " ".join(
        i.unit.serial for w in s.all_wells for i in w.hanging)),
]  # fmt: skip
ORDERS = {"code": ["code"], "name": ["name"], "people": ["-people_served"]}


def _chosen(request):
    form = forms.SiteFilter(request.GET or None, person=request.user)
    sites = Site.objects.visible_to(request.user).select_related("district")
    found = form.cleaned_data if form.is_valid() else {}
    if found.get("q"):
        sites = sites.matching(found["q"])
    if found.get("district"):
        sites = sites.filter(district=found["district"])
    if found.get("hanging"):
        there = Installation.objects.visible_to(request.user).hanging().values("well__site")
        sites = sites.filter(pk__in=there) if found["hanging"] == "yes" else sites.exclude(pk__in=there)
    return form, sites, bool(found.get("q"))


@needs("read_fleet")
@require_safe
def site_list(request):
    form, sites, searched = _chosen(request)
    if export.asked(request):
        rows = sites.with_hanging().order_by("code").iterator(chunk_size=1000)
        return export.answer(request, "sites", COLUMNS, rows,
                             place=lambda s: (s.latitude_deg, s.longitude_deg))  # fmt: skip
    name, order = paging.chosen_order(request, ORDERS, "code")
    if searched and "sort" not in request.GET:
        order = ["-likeness", "code"]
    page = paging.page(request, sites.select_related(None).values(*tables.SITE_FACTS), order)
    context = {
        "filter_form": form, "page": page, "table": tables.of_sites(page.rows), "order_name": name,
        "editor": editor(request),
    }  # fmt: skip
    return render(request, "registry/sites.html", context)


def _site(request, code):
    return get_object_or_404(Site.objects.visible_to(request.user).select_related("district"), code=code)


def _well(request, pk):
    wells = Well.objects.filter(site__organisation_id=request.user.organisation_id).select_related("site")
    return get_object_or_404(wells, pk=pk)


@needs("read_fleet")
@require_safe
def site(request, code):
    """All that stands at a site."""
    found = _site(request, code)
    wells = list(found.wells.select_related("tank").prefetch_related("static_levels"))
    installations = Installation.objects.filter(well__in=wells).with_facts().order_by("-period")
    by_well = {}
    for row in installations:
        by_well.setdefault(row.well_id, []).append(row)
    shown = [{"well": w, "levels": list(w.static_levels.all()), "tank": getattr(w, "tank", None),
              "installations": by_well.get(w.pk, [])} for w in wells]  # fmt: skip
    context = {
        "site": found, "wells": shown, "climate": MonthlyClimate.objects.filter(site=found).first(),
        "attachments": found.attachments.select_related("added_by"), "attach_form": forms.AttachForm(),
        "editor": editor(request), "warnings": warnings_of_site(found),
        "logger": may(request.user, "log"), "sky": skyline.shown(found, _frame(installations)),
    }  # fmt: skip
    return render(request, "registry/site.html", context)


def _frame(installations):
    """(tilt, azimuth) of what hangs here now, if anything."""
    return next(((row.tilt_deg, row.azimuth_deg) for row in installations if row.hangs_now), None)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_site(request, code=None):
    old = _site(request, code) if code else None
    form = forms.SiteForm(request.POST or None, instance=own_copy(old), person=request.user)
    if form.is_valid():
        kept = attempt(form, services.keep_site, by=request.user, site=old, **form.cleaned_data)
        if kept:
            for _field, sentence in warnings_of_site(kept):
                messages.warning(request, sentence)
            messages.success(request, _("Kept. Its time zone is %(zone)s.") % {"zone": kept.zone})
            return redirect("registry:site", kept.code)
    back = reverse("registry:site", args=[code]) if code else reverse("registry:sites")
    return form_page(request, form, _("Correct the site") if old else _("A new site"), back)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_well(request, code=None, pk=None):
    old = _well(request, pk) if pk else None
    place = old.site if old else _site(request, code)
    initial = {} if old else {"name": str(place.wells.count() + 1)}
    form = forms.WellForm(request.POST or None, instance=own_copy(old), person=request.user, initial=initial)
    facts = {"by": request.user, "well": old, "site": place}
    if form.is_valid() and attempt(form, services.keep_well, **facts, **form.cleaned_data):
        return redirect("registry:site", place.code)
    title = _("Correct the well") if old else _("A new well")
    return form_page(request, form, title, reverse("registry:site", args=[place.code]), lead=str(place))


@needs("log")
@require_http_methods(["GET", "POST"])
def add_level(request, pk):
    well = _well(request, pk)
    form = forms.LevelForm(request.POST or None, person=request.user, initial={"measured_on": timezone.localdate()})
    if form.is_valid():
        if form.cleaned_data["measured_on"] > timezone.localdate() + timedelta(days=1):
            form.add_error("measured_on", _("That day has not come yet."))
        elif attempt(form, services.keep_level, by=request.user, well=well, **form.cleaned_data):
            return redirect("registry:site", well.site.code)
    title = _("A static level")
    return form_page(request, form, title, reverse("registry:site", args=[well.site.code]), lead=str(well))


@needs("edit_registry")
@require_POST
def remove_level(request, pk):
    levels = StaticLevel.objects.filter(well__site__organisation_id=request.user.organisation_id)
    level = get_object_or_404(levels.select_related("well__site"), pk=pk)
    services.remove_level(level=level, by=request.user)
    messages.success(request, _("Taken away. The history keeps it."))
    return redirect("registry:site", level.well.site.code)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_tank(request, pk):
    well = _well(request, pk)
    old = Tank.objects.filter(well=well).first()
    form = forms.TankForm(request.POST or None, instance=own_copy(old), person=request.user)
    if form.is_valid() and attempt(form, services.keep_tank, by=request.user, well=well, **form.cleaned_data):
        return redirect("registry:site", well.site.code)
    return form_page(request, form, _("The tank"), reverse("registry:site", args=[well.site.code]), lead=str(well))


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_climate(request, code):
    place = _site(request, code)
    old = MonthlyClimate.objects.filter(site=place).first()
    initial = {f: getattr(old, f) for f in ("irradiation_kwh_m2_day", "air_c", "source")} if old else {}
    form = forms.ClimateForm(request.POST or None, request.FILES or None, initial=initial, site=place)
    if form.is_valid():
        kept = {f: form.cleaned_data[f] for f in ("irradiation_kwh_m2_day", "air_c", "source")}
        kept["day_irradiation_kwh_m2"] = form.cleaned_data.get("day_irradiation_kwh_m2")  # only of a weather file
        attempt(form, services.keep_climate, site=place, by=request.user, **kept)
        if not form.errors:
            return redirect("registry:site", code)
    title = _("The site's own sun and air")
    return form_page(request, form, title, reverse("registry:site", args=[code]), lead=str(place))


@needs("log")
@require_http_methods(["GET", "POST"])
def change_skyline(request, code):
    place = _site(request, code)
    initial = {"skyline": place.skyline, "shade_windows": place.shade_windows}
    form = forms.SkylineForm(request.POST or None, initial=initial)
    if form.is_valid():
        found, who = form.cleaned_data, {"site": place, "by": request.user}
        attempt(form, services.keep_skyline, pairs=found["skyline"], **who)
        attempt(form, services.keep_shade_windows, windows=found["shade_windows"], **who)
        if not form.errors:
            return redirect("registry:site", code)
    return form_page(
        request, form, _("Skyline and shade"), reverse("registry:site", args=[code]), lead=str(place)
    )


@needs("log")
@require_POST
def attach(request, code=None, pk=None):
    """A photo or document of a site, or of an installation."""
    if code:
        place, back = {"site": _site(request, code)}, reverse("registry:site", args=[code])
    else:
        row = get_object_or_404(Installation.objects.visible_to(request.user), pk=pk)
        place, back = {"installation": row}, reverse("registry:installation", args=[pk])
    form = forms.AttachForm(request.POST, request.FILES)
    if form.is_valid() and attempt(form, services.attach, by=request.user, **place, **form.cleaned_data):
        return redirect(back)
    return form_page(request, form, _("A photo or document"), back, multipart=True)


@needs("read_fleet")
@require_safe
def attachment(request, pk):
    """The file itself: photos to be shown, documents to be taken away."""
    rows = Attachment.objects.filter(organisation_id=request.user.organisation_id)
    row = get_object_or_404(rows, pk=pk)
    return FileResponse(row.file.open("rb"), as_attachment=not row.is_image, filename=row.name)


@needs("edit_registry")
@require_POST
def withdraw(request, pk):
    row = get_object_or_404(Attachment.objects.filter(organisation_id=request.user.organisation_id), pk=pk)
    back = ("registry:site", row.site.code) if row.site_id else ("registry:installation", row.installation_id)
    try:
        services.withdraw(attachment=row, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect(*back)
