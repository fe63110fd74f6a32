"""The catalogue: pump types with their test sheets, module types, pipes, cables; and districts."""

from dataclasses import dataclass

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import needs
from fleet.registry import forms, services
from fleet.registry.models import Cable, District, ModuleType, Pipe, PumpType
from fleet.registry.views.parts import attempt, editor, form_page, own_copy
from fleet.web import charts, export, paging


@dataclass(frozen=True)
class Shelf:
    """One kind of thing in the catalogue."""

    title: str
    new: str
    model: object
    form: object
    verb: object
    argument: str
    order: tuple
    columns: tuple  # (title, attribute, unit) of the list


SHELVES = {
    "pump-types": Shelf(lazy("Pump types"), lazy("A new pump type"), PumpType, forms.PumpTypeForm,
        services.keep_pump_type, "pump_type", ("name",), (
            (lazy("Kind"), "get_kind_display", ""), (lazy("Fed"), "get_coupling_display", ""),
            (lazy("Diameter"), "outside_diameter_mm", "mm"), (lazy("Highest power"), "max_power_w", "W"),
            (lazy("Highest head"), "max_head_m", "m"))),
    "module-types": Shelf(lazy("Module types"), lazy("A new module type"), ModuleType, forms.ModuleTypeForm,
        services.keep_module_type, "module_type", ("name",), (
            (lazy("Power"), "p_stc_w", "W"), (lazy("Cells"), "cells", ""), (lazy("At highest power"), "v_mp_v", "V"),
            (lazy("Open circuit"), "v_oc_v", "V"), (lazy("Short circuit"), "i_sc_a", "A"))),
    "pipes": Shelf(lazy("Pipes"), lazy("A new pipe"), Pipe, forms.PipeForm, services.keep_pipe, "pipe",
        ("outside_mm", "wall_mm"), (
            (lazy("Outside"), "outside_mm", "mm"), (lazy("Wall"), "wall_mm", "mm"), (lazy("Bore"), "inside_mm", "mm"),
            (lazy("Pressure"), "pressure_bar", "bar"), (lazy("Material"), "material", ""))),
    "cables": Shelf(lazy("Drop cables"), lazy("A new cable"), Cable, forms.CableForm, services.keep_cable, "cable",
        ("area_mm2",), ((lazy("Section"), "area_mm2", "mm²"), (lazy("Conductor class"), "conductor_class", ""))),
    "districts": Shelf(lazy("Districts"), lazy("A new district"), District, forms.DistrictForm,
        services.keep_district, "district", ("name",), ((lazy("P-code"), "p_code", ""),)),
}  # fmt: skip


def _shelf(name):
    if name not in SHELVES:
        raise Http404
    return SHELVES[name]


def _own(request, shelf):
    return shelf.model.objects.filter(organisation_id=request.user.organisation_id)


@needs("read_fleet")
@require_safe
def shelf(request, name="pump-types"):
    found = _shelf(name)
    rows = _own(request, found)
    if export.asked(request):
        columns = [export.Column("name", "name")]
        columns += [export.Column(f.name, f.name) for f in found.model._meta.concrete_fields
                    if f.name not in {"id", "organisation", "name"}]  # fmt: skip
        return export.answer(request, name, columns, rows.order_by(*found.order).iterator(chunk_size=1000))
    page = paging.page(request, rows, list(found.order), size=100)
    for row in page.rows:
        row.cells = [(title, _shown(row, attribute), unit) for title, attribute, unit in found.columns]
    context = {"shelf": found, "name": name, "page": page, "editor": editor(request),
               "shelves": [(key, s.title) for key, s in SHELVES.items()]}  # fmt: skip
    return render(request, "registry/catalogue.html", context)


def _shown(row, attribute):
    value = getattr(row, attribute)
    value = value() if callable(value) else value
    return f"{value:g}" if isinstance(value, float) else value


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change(request, name, pk=None):
    found = _shelf(name)
    old = get_object_or_404(_own(request, found), pk=pk) if pk else None
    form = found.form(request.POST or None, instance=own_copy(old), person=request.user)
    if form.is_valid():
        kept = attempt(form, found.verb, by=request.user, **{found.argument: old}, **form.cleaned_data)
        if kept:
            messages.success(request, _("Kept."))
            return redirect("registry:pump_type", kept.pk) if name == "pump-types" else redirect("registry:shelf", name)
    back = reverse("registry:shelf", args=[name])
    return form_page(request, form, str(old) if old else found.new, back)


@needs("read_fleet")
@require_safe
def pump_type(request, pk):
    """A pump type with its test sheet as table and plot."""
    found = get_object_or_404(PumpType.objects.filter(organisation_id=request.user.organisation_id), pk=pk)
    points = list(found.points.all())
    rows = [{"head_m": p.head_m, "power_w": p.power_w, "flow_l_min": p.flow_l_min} for p in points]
    chart = charts.pump_curve(rows, title=_("Flow over head, at each power")) if rows else None
    context = {"type": found, "points": points, "chart": chart, "editor": editor(request)}
    return render(request, "registry/pump_type.html", context)


@needs("edit_registry")
@require_http_methods(["GET", "POST"])
def change_points(request, pk):
    found = get_object_or_404(PumpType.objects.filter(organisation_id=request.user.organisation_id), pk=pk)
    names = ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")
    known = [tuple(v for name in names if (v := getattr(p, name)) is not None) for p in found.points.all()]
    form = forms.PointsForm(request.POST or None, initial={"points": known})
    if form.is_valid() and attempt(
        form, services.keep_pump_points, pump_type=found, points=form.cleaned_data["points"], by=request.user
    ):
        return redirect("registry:pump_type", pk)
    return form_page(request, form, _("Test sheet"), reverse("registry:pump_type", args=[pk]), lead=found.name)


@needs("edit_registry")
@require_POST
def standard(request):
    """PE pipes and flexible cables of the standards into the catalogue."""
    pipes, cables = services.standard_catalogue(organisation=request.user.organisation, by=request.user)
    said = _("%(pipes)s pipes and %(cables)s cables were added.") % {"pipes": pipes, "cables": cables}
    messages.success(request, said)
    return redirect("registry:shelf", "pipes")
