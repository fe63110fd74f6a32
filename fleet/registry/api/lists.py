"""The registry's lists and records for programs, with the same visibility as the pages; and what is kept by them."""

from django.db import transaction
from django.db.models import Prefetch
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.people.access import own
from fleet.registry import services
from fleet.registry.api import shapes, typed
from fleet.registry.models import Installation, Site, StaticLevel, Unit, Well

TAGS = ["registry"]
EDITS = rest.doing("edit_registry")
LOGS = rest.doing("log")


class Listed(rest.ByMethod, generics.ListAPIView):
    """A list of the person's own organisation, paged by key; `narrow` maps what may be asked to a path."""

    writing = EDITS
    key_order = ["id"]
    path = "organisation"
    narrow = {}
    joined = ()

    def get_queryset(self):
        asked = rest.Asked(self.request)
        rows = own(self.queryset.model.objects.all(), self.request.user, self.path).select_related(*self.joined)
        for name, path in self.narrow.items():
            if found := asked.text(name):
                rows = rows.filter(**{path: found})
        return self.narrowed(rows, asked)

    def narrowed(self, rows, asked):
        return rows


class One(rest.ByMethod, generics.RetrieveAPIView):
    """One record of the person's own organisation."""

    writing = EDITS
    path = "organisation"
    joined = ()

    def get_queryset(self):
        return own(self.queryset.model.objects.all(), self.request.user, self.path).select_related(*self.joined)

    def found(self):
        """The row, looked up before anything is changed."""
        return self.get_object()

    def shown(self, row, code=status.HTTP_200_OK):
        fresh = self.get_queryset().get(pk=row.pk)
        return Response(self.get_serializer(fresh).data, status=code)


def _asks(*words):
    return [rest.words(word) for word in words]


# -- sites, wells, tanks -----------------------------------------------------------------------------------------------


class Sites(Listed):
    queryset, serializer_class, key_order, joined = Site.objects.none(), shapes.SiteShape, ["code"], ["district"]
    narrow = {"district": "district__name", "village": "village", "code": "code"}

    @extend_schema(
        tags=TAGS, parameters=[*_asks("district", "village", "code"), rest.flag("hanging", "a unit hangs there"),
                               rest.words("q", "found by code, name, village, caretaker or serial, misspelt ones too")]
    )  # fmt: skip
    def get(self, request):
        """Sites, by code."""
        return self.list(request)

    def narrowed(self, rows, asked):
        if q := asked.text("q", 80):
            rows = rows.matching(q)
        hanging = asked.flag("hanging")
        if hanging is not None:
            there = Installation.objects.visible_to(self.request.user).hanging().values("well__site")
            rows = rows.filter(pk__in=there) if hanging else rows.exclude(pk__in=there)
        return rows

    @extend_schema(tags=TAGS, request=typed.SiteIn, responses={201: shapes.SiteWholeShape})
    def post(self, request):
        """A new site. Its zone follows its coordinates; those on the sea are refused, odd ones warned of."""
        made = services.keep_site(by=request.user, **rest.typed(typed.SiteIn, request))
        return Response(shapes.SiteWholeShape(_whole_sites().get(pk=made.pk)).data, status=status.HTTP_201_CREATED)


def _whole_sites():
    wells = Well.objects.select_related("site", "tank").prefetch_related("static_levels")
    return Site.objects.select_related("district", "climate").prefetch_related(
        Prefetch("wells", queryset=wells), "attachments"
    )


class OneSite(One):
    queryset, serializer_class, lookup_field = Site.objects.none(), shapes.SiteWholeShape, "code"

    def get_queryset(self):
        return own(_whole_sites(), self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request, code):
        """One site with its wells, levels and tanks, and what looks wrong with its coordinates."""
        return self.retrieve(request, code)

    @extend_schema(tags=TAGS, request=typed.SiteIn, responses=shapes.SiteWholeShape)
    def patch(self, request, code):
        """Correct a site; what is not said stays."""
        site = self.found()
        services.keep_site(by=request.user, site=site, **rest.typed(typed.SiteIn, request, partial=True))
        return self.shown(site)


class _OfSite(One):
    queryset, serializer_class, lookup_field = Site.objects.none(), shapes.SiteWholeShape, "code"
    http_method_names = ["put", "options"]

    def get_queryset(self):
        return own(_whole_sites(), self.request.user)


class Climate(_OfSite):
    @extend_schema(tags=TAGS, request=typed.ClimateIn, responses=shapes.SiteWholeShape)
    def put(self, request, code):
        """The site's own twelve values of sun and air; without sun they are taken away."""
        site = self.found()
        services.keep_climate(site=site, by=request.user, **rest.typed(typed.ClimateIn, request))
        return self.shown(site)


class Skyline(_OfSite):
    writing = LOGS

    @extend_schema(tags=TAGS, request=typed.SkylineIn, responses=shapes.SiteWholeShape)
    def put(self, request, code):
        """The skyline of a site."""
        site = self.found()
        services.keep_skyline(site=site, by=request.user, pairs=rest.typed(typed.SkylineIn, request)["skyline"])
        return self.shown(site)


class ShadeWindows(_OfSite):
    writing = LOGS

    @extend_schema(tags=TAGS, request=typed.ShadeWindowsIn, responses=shapes.SiteWholeShape)
    def put(self, request, code):
        """The windows of shade of a site."""
        site = self.found()
        windows = rest.typed(typed.ShadeWindowsIn, request)["shade_windows"]
        services.keep_shade_windows(site=site, by=request.user, windows=windows)
        return self.shown(site)


def _wells(person):
    return own(Well.objects.all(), person, "site__organisation").select_related("site", "tank")


def _well_shown(person, well, code=status.HTTP_200_OK):
    fresh = _wells(person).prefetch_related("static_levels").get(pk=well.pk)
    return Response(shapes.WellShape(fresh).data, status=code)


class Wells(Listed):
    queryset, serializer_class, path = Well.objects.none(), shapes.WellShape, "site__organisation"
    joined, narrow = ["site", "tank"], {"site": "site__code"}

    @extend_schema(tags=TAGS, parameters=_asks("site"))
    def get(self, request):
        """Wells with their levels and tanks."""
        return self.list(request)

    def narrowed(self, rows, asked):
        return rows.prefetch_related("static_levels")


class AddWell(APIView):
    permission_classes = EDITS

    @extend_schema(tags=TAGS, request=typed.NewWellIn, responses={201: shapes.WellShape})
    @transaction.atomic
    def post(self, request, code):
        """A new well of a site, with its levels and its tank where they are known."""
        site = get_object_or_404(Site.objects.visible_to(request.user), code=code)
        said = rest.typed(typed.NewWellIn, request)
        levels, tank = said.pop("static_levels", []), said.pop("tank", None)
        well = services.keep_well(by=request.user, site=site, **said)
        for level in levels:
            services.keep_level(by=request.user, well=well, **level)
        if tank is not None:
            services.keep_tank(by=request.user, well=well, **tank)
        return _well_shown(request.user, well, status.HTTP_201_CREATED)


class OneWell(One):
    queryset, serializer_class, path = Well.objects.none(), shapes.WellShape, "site__organisation"
    joined = ["site", "tank"]

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One well."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=typed.WellIn, responses=shapes.WellShape)
    def patch(self, request, pk):
        """Correct a well."""
        well = self.found()
        services.keep_well(by=request.user, well=well, **rest.typed(typed.WellIn, request, partial=True))
        return _well_shown(request.user, well)


class OfWell(APIView):
    def well(self, request, pk):
        return get_object_or_404(_wells(request.user), pk=pk)


class AddLevel(OfWell):
    permission_classes = LOGS

    @extend_schema(tags=TAGS, request=typed.LevelIn, responses={201: shapes.WellShape})
    def post(self, request, pk):
        """A static level on a day; the same day again corrects it."""
        well = self.well(request, pk)
        services.keep_level(by=request.user, well=well, **rest.typed(typed.LevelIn, request))
        return _well_shown(request.user, well, status.HTTP_201_CREATED)


class OneLevel(APIView):
    permission_classes = EDITS

    @extend_schema(tags=TAGS, request=None, responses={204: None})
    def delete(self, request, pk):
        """Take a mistaken level away; the history keeps it."""
        levels = own(StaticLevel.objects.all(), request.user, "well__site__organisation").select_related("well__site")
        services.remove_level(level=get_object_or_404(levels, pk=pk), by=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)


class TankOf(OfWell):
    permission_classes = EDITS

    @extend_schema(tags=TAGS, request=typed.TankIn, responses=shapes.WellShape)
    def put(self, request, pk):
        """The well's tank; what is not said stays."""
        well = self.well(request, pk)
        services.keep_tank(by=request.user, well=well, **rest.typed(typed.TankIn, request))
        return _well_shown(request.user, well)


# -- units and installations -------------------------------------------------------------------------------------------


class Units(Listed):
    queryset, serializer_class, key_order, joined = Unit.objects.none(), shapes.UnitShape, ["serial"], ["pump_type"]
    narrow = {"pump_type": "pump_type__name", "batch": "batch", "serial": "serial__iexact"}

    @extend_schema(
        tags=TAGS, parameters=[*_asks("pump_type", "batch", "serial"), rest.words("status", "", Unit.Status.values),
                               rest.words("q", "found by serial, site, village or caretaker, misspelt ones too")]
    )  # fmt: skip
    def get(self, request):
        """Units, by serial."""
        return self.list(request)

    def narrowed(self, rows, asked):
        if q := asked.text("q", 80):
            rows = rows.matching(q)
        found = asked.choice("status", Unit.Status.values)
        return rows.filter(status=found) if found else rows

    @extend_schema(tags=TAGS, request=typed.UnitIn, responses={201: shapes.UnitWholeShape})
    def post(self, request):
        """A new unit, in store."""
        made = services.keep_unit(by=request.user, **rest.typed(typed.UnitIn, request))
        return Response(shapes.UnitWholeShape(whole_units().get(pk=made.pk)).data, status=status.HTTP_201_CREATED)


def whole_units():
    rows = Installation.objects.with_facts().order_by("-period")
    return Unit.objects.select_related("pump_type", "label").prefetch_related(
        "points", Prefetch("installations", queryset=rows)
    )


class OneUnit(One):
    queryset, serializer_class = Unit.objects.none(), shapes.UnitWholeShape

    def get_queryset(self):
        return own(whole_units(), self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One unit: its test sheet, and where it hung and hangs."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=typed.UnitIn, responses=shapes.UnitWholeShape)
    def patch(self, request, pk):
        """Correct a unit."""
        unit = self.found()
        services.keep_unit(by=request.user, unit=unit, **rest.typed(typed.UnitIn, request, partial=True))
        return self.shown(unit)


class UnitPoints(One):
    queryset, serializer_class = Unit.objects.none(), shapes.UnitWholeShape
    http_method_names = ["put", "options"]

    def get_queryset(self):
        return own(whole_units(), self.request.user)

    @extend_schema(tags=TAGS, request=typed.SheetIn, responses=shapes.UnitWholeShape)
    def put(self, request, pk):
        """The unit's own test sheet, whole."""
        unit = self.found()
        points = [dict(point) for point in rest.typed(typed.SheetIn, request)["points"]]
        services.keep_unit_points(unit=unit, points=points, by=request.user)
        return self.shown(unit)


class Installations(Listed):
    queryset, serializer_class = Installation.objects.none(), shapes.InstallationShape
    joined = ["unit", "well__site", "module_type", "pipe", "cable"]
    narrow = {"serial": "unit__serial__iexact", "site": "well__site__code",
              "district": "well__site__district__name", "pump_type": "unit__pump_type__name"}  # fmt: skip

    @extend_schema(
        tags=TAGS, parameters=[
            *_asks("serial", "site", "district", "pump_type"), rest.flag("hanging", "hanging in its well now"),
            rest.words("instrument_level", "", Installation.Level.values),
            rest.day("due_before", "hanging, and the next inspection is due before this day"),
        ],
    )  # fmt: skip
    def get(self, request):
        """Installations, past and present."""
        return self.list(request)

    def narrowed(self, rows, asked):
        hanging = asked.flag("hanging")
        if hanging is not None:
            rows = rows.filter(period__upper_inf=hanging)
        if level := asked.choice("instrument_level", Installation.Level.values):
            rows = rows.filter(instrument_level=level)
        due = asked.day("due_before")
        return rows.inspection_overdue(due) if due else rows


def whole_installations():
    return Installation.objects.with_facts().prefetch_related("attachments", "well__static_levels")


class OneInstallation(One):
    queryset, serializer_class = Installation.objects.none(), shapes.InstallationWholeShape
    writing = LOGS

    def get_queryset(self):
        return own(whole_installations(), self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One installation as it was built, with what the rules of the trade say about it."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=typed.AsBuiltIn, responses=shapes.InstallationWholeShape)
    def patch(self, request, pk):
        """Put facts right; unit, well and period are changed by installing, relocating and taking out."""
        row = self.found()
        services.correct(installation=row, by=request.user, **rest.typed(typed.AsBuiltIn, request, partial=True))
        return self.shown(row)
