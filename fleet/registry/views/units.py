"""Units: the list, one unit's record, and the verbs that hang it, move it and take it out."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import needs
from fleet.registry import forms, services, warnings
from fleet.registry.models import Installation, Label, Unit
from fleet.registry.services.sheets import label_sheet
from fleet.registry.views import tables
from fleet.registry.views.parts import attempt, editor, form_page, own_copy
from fleet.web import charts, export, paging
from fleet.web.refusals import Refused


def _hangs(name):
    def read(unit):
        found = unit.hangs[0] if unit.hangs else None
        for part in name.split("."):
            found = getattr(found, part, None)
        return found

    return read


COLUMNS = [
    export.Column("serial", "serial"),
    export.Column("pump_type", "pump_type.name"),
    export.Column("status", "status"),
    export.Column("batch", "batch"),
    export.Column("tested_on", "tested_on"),
    export.Column("warranty_until", "warranty_until"),
    export.Column("site_code", _hangs("well.site.code")),
    export.Column("site_name", _hangs("well.site.name")),
    export.Column("district", _hangs("well.site.district.name")),
    export.Column("since", _hangs("period.lower")),
]
ORDERS = {"serial": ["serial"], "type": ["pump_type__name", "serial"], "warranty": ["warranty_until"]}


def place_of(unit):
    return (unit.hangs[0].well.site.latitude_deg, unit.hangs[0].well.site.longitude_deg) if unit.hangs else None


def page_of(unit_id):
    return tables.life_addresses()(unit_id)


def _chosen(request):
    form = forms.UnitFilter(request.GET or None, person=request.user)
    units = Unit.objects.visible_to(request.user)
    found = form.cleaned_data if form.is_valid() else {}
    if found.get("q"):
        units = units.matching(found["q"])
    if found.get("pump_type"):
        units = units.filter(pump_type=found["pump_type"])
    if found.get("status"):
        units = units.filter(status=found["status"])
    return form, units


@needs("read_fleet")
@require_safe
def unit_list(request):
    form, units = _chosen(request)
    if export.asked(request):
        rows = units.with_hanging().order_by("serial").iterator(chunk_size=1000)
        return export.answer(request, "units", COLUMNS, rows, place=place_of)
    name, order = paging.chosen_order(request, ORDERS, "serial")
    page = paging.page(request, units.as_listed(), order)
    context = {
        "filter_form": form, "page": page, "table": tables.of_units(page.rows), "order_name": name,
        "editor": editor(request),
    }  # fmt: skip
    return render(request, "registry/units.html", context)


@needs("read_fleet")
@require_safe
def find(request):
    """The search box: a label's code leads straight to its unit; words find sites and units."""
    from fleet.registry.models import Site

    words = request.GET.get("q", "").strip()
    try:
        label = Label.objects.filter(code=services.read_label(words)).first()
    except Refused:
        label = None
    if label and Unit.objects.visible_to(request.user).filter(pk=label.unit_id).exists():
        return redirect(page_of(label.unit_id))
    units, sites = [], []
    if words:
        units = list(Unit.objects.visible_to(request.user).matching(words).with_hanging().order_by("serial")[:30])
        sites = list(Site.objects.visible_to(request.user).select_related("district").matching(words)
                     .order_by("-likeness", "code")[:30])  # fmt: skip
    exact = [u for u in units if u.serial.lower() == words.lower()]
    if len(exact) == 1:
        return redirect(page_of(exact[0].pk))
    for unit in units:
        unit.page = page_of(unit.pk)
    return render(request, "registry/find.html", {"words": words, "units": units, "sites": sites})


def _unit(request, pk):
    return get_object_or_404(Unit.objects.visible_to(request.user).select_related("pump_type"), pk=pk)


@needs("read_fleet")
@require_safe
def unit(request, pk):
    """The registry's record of one unit: type, test sheet, where it hung and hangs."""
    found = _unit(request, pk)
    context = {
        "unit": found, "points": list(found.points.all()), "editor": editor(request),
        "installations": list(found.installations.with_facts().order_by("-period")),
        "chart": _curve(found), "whole_life": page_of(pk), "label": Label.objects.filter(unit=found).first(),
    }  # fmt: skip
    return render(request, "registry/unit.html", context)


def _curve(unit):
    points = list(unit.pump_type.points.all())
    if not points:
        return None
    own = unit.points.first()
    rows = [{"head_m": p.head_m, "power_w": p.power_w, "flow_l_min": p.flow_l_min} for p in points]
    point = (own.head_m, own.flow_l_min, _("its own test, %(w)g W") % {"w": own.power_w}) if own else None
    return charts.pump_curve(rows, title=_("Test sheet of %(type)s") % {"type": unit.pump_type}, point=point)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_unit(request, pk=None):
    old = _unit(request, pk) if pk else None
    form = forms.UnitForm(request.POST or None, instance=own_copy(old), person=request.user)
    if form.is_valid():
        kept = attempt(form, services.keep_unit, by=request.user, unit=old, **form.cleaned_data)
        if kept:
            return redirect("registry:unit", kept.pk)
    back = reverse("registry:unit", args=[pk]) if pk else reverse("registry:units")
    return form_page(request, form, _("Correct the unit") if old else _("A new unit"), back)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_points(request, pk):
    found = _unit(request, pk)
    names = ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")
    known = [tuple(v for name in names if (v := getattr(p, name)) is not None) for p in found.points.all()]
    form = forms.PointsForm(request.POST or None, initial={"points": known})
    if form.is_valid() and attempt(
        form, services.keep_unit_points, unit=found, points=form.cleaned_data["points"], by=request.user
    ):
        return redirect("registry:unit", pk)
    title = _("The unit's own test sheet")
    return form_page(request, form, title, reverse("registry:unit", args=[pk]), lead=found.serial)


# -- hanging and moving ------------------------------------------------------------------------------------------------


def _warn(request, installation):
    level = installation.well.static_levels.last()
    for _field, sentence in warnings.of(installation, level.level_m if level else None):
        messages.warning(request, sentence)


@needs("log")
@require_http_methods(["GET", "POST"])
def install(request, pk):
    """Hang a stored unit in a well; or, where it hangs already, move it to another in one action."""
    found = _unit(request, pk)
    old = Installation.objects.hanging().filter(unit=found).select_related("well__site").first()
    into = forms.IntoWellForm(request.POST or None, person=request.user)
    zone = old.well.site.zone if old else "UTC"
    if into.is_valid():
        zone = into.cleaned_data["well"].site.zone
    when = (forms.EndForm if old else forms.MomentForm)(request.POST or None, zone=zone)
    travels = {f: getattr(old, f) for f in forms.BUILT if old and f in _TRAVELS}
    built = forms.InstallationForm(request.POST or None, person=request.user, initial=travels)
    if request.method == "POST" and all([into.is_valid(), when.is_valid(), built.is_valid()]):
        facts = {"well": into.cleaned_data["well"], "by": request.user, **when.cleaned_data, **built.cleaned_data}
        try:
            made = services.relocate(unit=found, **facts) if old else services.install(unit=found, **facts)
        except Refused as refusal:
            form = next((f for f in (into, when, built) if refusal.field in f.fields), into)
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            _warn(request, made)
            messages.success(request, _("It hangs in %(well)s.") % {"well": made.well})
            return redirect("registry:installation", made.pk)
    title = _("Move %(serial)s to another well") if old else _("Hang %(serial)s in a well")
    back = reverse("registry:unit", args=[pk])
    title = title % {"serial": found.serial}
    return form_page(request, [into, when, built], title, back, template="registry/install.html", old=old)


_TRAVELS = {
    "module_type", "modules_in_series", "strings", "pipe", "cable", "controller", "controller_serial",
    "controller_max_voltage_v", "meter_rollover_l", "instrument_level", "dry_run_probe",
}  # fmt: skip


@needs("log")
@require_http_methods(["GET", "POST"])
def take_out(request, pk, deed):
    """Out of the well and into store, or retired for good."""
    found = _unit(request, pk)
    old = Installation.objects.hanging().filter(unit=found).select_related("well__site").first()
    if deed == "take-out" and old is None:
        raise Http404
    form = forms.EndForm(request.POST or None, zone=old.well.site.zone if old else "UTC")
    if form.is_valid():
        verb = services.take_out if deed == "take-out" else services.retire
        if attempt(form, verb, unit=found, by=request.user, **form.cleaned_data):
            return redirect("registry:unit", pk)
    consequences = [_("The installation in %(well)s ends at that moment; its history stays.") % {"well": old.well}] if (
        old) else []  # fmt: skip
    question = _("Take %(serial)s out of its well?") if deed == "take-out" else _("Retire %(serial)s for good?")
    yes = _("Take it out") if deed == "take-out" else _("Retire it")
    context = {"question": question % {"serial": found.serial}, "consequences": consequences, "yes": yes,
               "danger": deed != "take-out", "form": form, "back": reverse("registry:unit", args=[pk])}  # fmt: skip
    return render(request, "web/confirm.html", context, status=422 if form.errors else 200)


@needs("edit_registry")
@require_POST
def store(request, pk):
    try:
        services.put_in_store(unit=_unit(request, pk), by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("registry:unit", pk)


def _installation(request, pk):
    return get_object_or_404(Installation.objects.visible_to(request.user).with_facts(), pk=pk)


@needs("read_fleet")
@require_safe
def installation(request, pk):
    """One installation as it was built, with what the rules of the trade say about it."""
    found = _installation(request, pk)
    level = found.well.static_levels.last()
    context = {
        "installation": found, "unit": found.unit, "well": found.well, "site": found.well.site, "level": level,
        "warnings": warnings.of(found, level.level_m if level else None), "attach_form": forms.AttachForm(),
        "attachments": found.attachments.select_related("added_by"), "whole_life": page_of(found.unit_id),
        "editor": editor(request),
    }  # fmt: skip
    return render(request, "registry/installation.html", context)


@needs("log")
@require_http_methods(["GET", "POST"])
def correct(request, pk):
    old = _installation(request, pk)
    form = forms.InstallationForm(request.POST or None, instance=own_copy(old), person=request.user)
    if form.is_valid():
        kept = attempt(form, services.correct, installation=old, by=request.user, **form.cleaned_data)
        if kept:
            _warn(request, kept)
            return redirect("registry:installation", pk)
    title = _("Correct the installation")
    return form_page(request, form, title, reverse("registry:installation", args=[pk]), lead=str(old))


# -- labels ------------------------------------------------------------------------------------------------------------


def _pdf(body, name):
    answer = HttpResponse(body, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer


@needs("read_fleet")
@require_safe
def label(request, pk):
    """A sheet with this unit's label, as often as it fits."""
    found = _unit(request, pk)
    return _pdf(label_sheet(units=[found], by=request.user, each=12), f"label-{found.serial}.pdf")


@needs("read_fleet")
@require_safe
def label_list(request):
    """A sheet of labels for the units as filtered, up to 240."""
    _form, units = _chosen(request)
    return _pdf(label_sheet(units=units.with_hanging().order_by("serial")[:240], by=request.user), "labels.pdf")


@require_safe
def by_label(request, code):
    """Where the QR code on a unit leads: its page, after signing in where one has to."""
    try:
        code = services.read_label(code)
    except Refused as refusal:
        return render(request, "web/refused.html", {"title": _("No such label"), "refusal": refusal}, status=404)
    return _to_unit(request, code)


@needs("read_fleet")
def _to_unit(request, code):
    found = get_object_or_404(Label.objects.filter(unit__in=Unit.objects.visible_to(request.user)), code=code)
    return redirect(page_of(found.unit_id))
