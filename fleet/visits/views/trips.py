"""A technician's day: order, way, parts, paper."""

from datetime import date, timedelta

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.visits import codes, forms, paper, services
from fleet.visits.forms.trying import attempt
from fleet.visits.models import Base, Trip, Visit
from fleet.web import export, paging
from fleet.web.refusals import Refused

TRIP_COLUMNS = [
    export.Column(gettext_lazy("Day"), "day"),
    export.Column(gettext_lazy("Technician"), lambda trip: str(trip.technician)),
    export.Column(gettext_lazy("Start"), "base.name"),
    export.Column(gettext_lazy("Visits"), "n"),
    export.Column(gettext_lazy("Way as planned, km"), "planned_km"),
    export.Column(gettext_lazy("Kilometres driven"), "km"),
    export.Column(gettext_lazy("Notes"), "notes"),
]
BASE_COLUMNS = [
    export.Column(gettext_lazy("Base"), "name"),
    export.Column(gettext_lazy("Latitude, °"), "latitude_deg"),
    export.Column(gettext_lazy("Longitude, °"), "longitude_deg"),
]


@needs("read_fleet")
@require_safe
def trip_list(request):
    trips = Trip.objects.visible_to(request.user).select_related("technician").annotate(n=Count("visits"))
    if request.user.role == "technician":
        trips = trips.filter(technician=request.user)
    since = timezone.localdate() - timedelta(days=1)
    past = request.GET.get("show") == "past"
    trips = trips.filter(day__lt=since) if past else trips.filter(day__gte=since)
    order = ["-day"] if past else ["day"]
    if export.asked(request):
        rows = trips.select_related("technician", "base").order_by(*order, "id")
        return export.answer(request, "trips", TRIP_COLUMNS, rows.iterator(chunk_size=2000))
    return render(request, "visits/trips.html", {"page": paging.page(request, trips, order), "past": past})


def _trip(request, trip_id):
    trips = Trip.objects.visible_to(request.user).select_related("technician", "base")
    if request.user.role == "technician":
        trips = trips.filter(technician=request.user)
    return get_object_or_404(trips, pk=trip_id)


def stops_of(trip):
    """[(visit, km from the stop before, parts)] in order, and the way back."""
    visits = list(
        trip.visits.select_related("site", "installation__unit__pump_type", "shortfall", "call").order_by(
            "trip_order", "id"
        )
    )
    here = (trip.base.latitude_deg, trip.base.longitude_deg) if trip.base else None
    found = []
    for visit in visits:
        there = (visit.site.latitude_deg, visit.site.longitude_deg)
        found.append((visit, services.road_km(here, there) if here else None, services.parts_for(visit)))
        here = there
    back = services.road_km(here, (trip.base.latitude_deg, trip.base.longitude_deg)) if trip.base and visits else None
    return found, back


@needs("read_fleet")
@require_http_methods(["GET", "POST"])
def trip_page(request, trip_id):
    trip = _trip(request, trip_id)
    form = forms.KmForm(request.POST or None, initial={"km": trip.km, "notes": trip.notes})
    if form.is_valid() and attempt(form, services.note_trip, trip=trip, by=request.user, **form.cleaned_data)[0]:
        messages.success(request, _("Kept."))
        return redirect("visits:trip", trip.pk)
    stops, back = stops_of(trip)
    parts = {}
    for _visit, _km, found in stops:
        for code, name, why in found:
            parts.setdefault(code, (name, why))
    km = sum(k for _v, k, _p in stops if k) + (back or 0)
    context = {
        "trip": trip, "stops": stops, "back": back, "parts": parts.values(), "always": codes.ALWAYS, "form": form,
        "may_assign": may(request.user, "assign"), "km": km, "minutes": services.drive_minutes(km) if km else None,
        "today": timezone.localdate(),
    }  # fmt: skip
    return render(request, "visits/trip.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def my_day(request):
    """Today's trip of the person signed in, or the next one."""
    day = request.GET.get("day")
    try:
        day = date.fromisoformat(day) if day else timezone.localdate()
    except ValueError:
        day = timezone.localdate()
    trip = Trip.objects.visible_to(request.user).filter(technician=request.user, day__gte=day).order_by("day").first()
    return redirect("visits:trip", trip.pk) if trip else redirect("visits:trips")


@needs("assign")
@require_POST
def plan_order(request, trip_id):
    trip = _trip(request, trip_id)
    try:
        services.plan_order(trip=trip, by=request.user)
        messages.success(request, _("The visits are in the shortest order."))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visits:trip", trip_id)


@needs("assign")
@require_POST
def move(request, trip_id):
    trip = _trip(request, trip_id)
    visit = get_object_or_404(Visit.objects.visible_to(request.user), trip=trip, key=request.POST.get("visit"))
    services.move_in_trip(visit=visit, up=request.POST.get("way") == "up", by=request.user)
    return redirect("visits:trip", trip_id)


@needs("read_fleet")
@require_safe
def trip_sheet(request, trip_id):
    """The day on paper: the way, the parts, a sheet for each visit with its expected card."""
    trip = _trip(request, trip_id)
    stops, back = stops_of(trip)
    return _pdf(paper.trip_sheet(trip, stops, back), f"trip-{trip.day}.pdf")


@needs("read_fleet")
@require_safe
def visit_sheet(request, key):
    """Job sheet and test sheet of one visit, to be filled in by hand."""
    visits = Visit.objects.visible_to(request.user).select_related(
        "site", "installation__unit__pump_type", "procedure", "technician", "shortfall", "call"
    )
    visit = get_object_or_404(visits, key=key)
    return _pdf(paper.visit_sheet(visit, services.parts_for(visit)), f"visit-{visit.site.code}.pdf")


def _pdf(data, name):
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer


@needs("assign")
@require_http_methods(["GET", "POST"])
def bases(request):
    if export.asked(request):
        rows = request.user.organisation.bases.order_by("name", "id")
        return export.answer(request, "bases", BASE_COLUMNS, rows, lambda base: (base.latitude_deg, base.longitude_deg))
    form = forms.BaseForm(request.POST or None, instance=Base(organisation=request.user.organisation))
    if form.is_valid():
        services.add_base(by=request.user, **form.cleaned_data)
        messages.success(request, _("The base is kept. New trips start there."))
        return redirect("visits:bases")
    context = {"form": form, "bases": request.user.organisation.bases.all()}
    return render(request, "visits/bases.html", context, status=422 if form.errors else 200)
