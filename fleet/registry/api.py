"""The registry for programs: lists by key and single records, with the same visibility as the pages."""

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, permissions, serializers

from fleet.people.access import may, own
from fleet.registry.models import (
    Cable,
    District,
    Installation,
    ModuleType,
    Pipe,
    PumpPoint,
    PumpType,
    Site,
    StaticLevel,
    Tank,
    Unit,
    UnitPoint,
    Well,
)  # fmt: skip


class Sees(permissions.BasePermission):
    """Whose role reads the fleet."""

    def has_permission(self, request, view):
        return may(request.user, "read_fleet")


def shape(of, names, *, label=None, **more):
    """A serializer of these fields only; `more` are fields made by hand."""
    meta = type("Meta", (), {"model": of, "fields": names, "read_only_fields": names})
    return type(label or f"{of.__name__}Record", (serializers.ModelSerializer,), {**more, "Meta": meta})


def _name(source):
    return serializers.CharField(source=source, read_only=True)


PLACE = ["id", "inside_diameter_mm", "depth_m", "name", "kind"]
LevelShape = shape(StaticLevel, ["measured_on", "level_m", "hours_since_pumped"])
TankShape = shape(Tank, ["rise_m", "pipe_run_m", "capacity_m3", "float_switch", "fittings_k"])
WellShape = shape(
    Well, [*PLACE, "datum_above_ground_m", "drawdown_law", "specific_capacity_m3_h_m", "safe_yield_m3_h",
           "static_levels", "tank"],
    static_levels=LevelShape(many=True, read_only=True), tank=TankShape(read_only=True),
)  # fmt: skip
SITE = [
    "id", "code", "name", "village", "district", "latitude_deg", "longitude_deg", "altitude_m", "zone",
    "caretaker_name", "caretaker_phone", "people_served", "animals_served", "need_m3_day", "access_notes",
]  # fmt: skip
SiteShape = shape(Site, SITE, district=_name("district.name"))
SiteWholeShape = shape(
    Site, [*SITE, "wells"], label="SiteWhole", district=_name("district.name"),
    wells=WellShape(many=True, read_only=True),
)  # fmt: skip
PointShape = shape(PumpPoint, ["head_m", "power_w", "flow_l_min", "voltage_v", "current_a"])
UnitPointShape = shape(UnitPoint, ["head_m", "power_w", "flow_l_min", "voltage_v", "current_a"])
TYPE = [
    "id", "name", "maker", "kind", "coupling", "outside_diameter_mm", "mass_kg", "min_voltage_v", "max_voltage_v",
    "max_power_w", "max_head_m", "controller_efficiency", "start_power_w", "price", "currency",
]  # fmt: skip
PumpTypeShape = shape(PumpType, TYPE)
PumpTypeWholeShape = shape(
    PumpType, [*TYPE, "points"], label="PumpTypeWhole", points=PointShape(many=True, read_only=True)
)
UNIT = ["id", "serial", "pump_type", "batch", "tested_on", "warranty_until", "status", "retired_why"]
UnitShape = shape(Unit, UNIT, pump_type=_name("pump_type.name"))
UnitWholeShape = shape(
    Unit, [*UNIT, "points"], label="UnitWhole", pump_type=_name("pump_type.name"),
    points=UnitPointShape(many=True, read_only=True),
)  # fmt: skip


class PeriodField(serializers.Field):
    """Start and end of a period, RFC 3339; an open end is null."""

    def to_representation(self, period):
        return {end: moment and moment.isoformat() for end, moment in
                (("from", period.lower), ("until", period.upper))}  # fmt: skip


InstallationShape = shape(
    Installation,
    [
        "id", "serial", "site", "well", "period", "module_type", "modules_in_series", "strings", "tilt_deg",
        "azimuth_deg", "mounting_height_m", "fenced", "boxes_shaded", "pipe", "pipe_length_m", "rope_length_m",
        "cable", "cable_length_m", "setting_depth_m", "dry_run_probe", "controller", "controller_serial",
        "controller_max_voltage_v", "meter_rollover_l", "instrument_level", "installer", "commissioned_on",
        "handed_over_on", "next_inspection_on", "closed_why",
    ],
    serial=_name("unit.serial"), site=_name("well.site.code"), well=_name("well.name"), period=PeriodField(),
    module_type=serializers.CharField(source="module_type.name", read_only=True, allow_null=True, default=None),
    pipe=serializers.CharField(source="pipe.name", read_only=True, allow_null=True, default=None),
    cable=serializers.CharField(source="cable.name", read_only=True, allow_null=True, default=None),
)  # fmt: skip
ModuleTypeShape = shape(ModuleType, [
    "id", "name", "maker", "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k",
    "beta_voc_pct_k", "gamma_p_pct_k", "noct_c", "price", "currency",
])  # fmt: skip
PipeShape = shape(Pipe, ["id", "name", "outside_mm", "wall_mm", "pressure_bar", "material", "price_per_m"])
CableShape = shape(Cable, ["id", "name", "area_mm2", "conductor_class", "price_per_m"])
DistrictShape = shape(District, ["id", "name", "p_code"])


def _words(request, name):
    return (request.query_params.get(name) or "").replace("\0", "")[:120]


class Listed(generics.ListAPIView):
    """A list of the person's own organisation, paged by key; `narrow` maps what may be asked to a path."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    key_order = ["id"]
    narrow = {}
    joined = ()

    def get_queryset(self):
        rows = own(self.queryset.model.objects.all(), self.request.user).select_related(*self.joined)
        for name, path in self.narrow.items():
            if _words(self.request, name):
                rows = rows.filter(**{path: _words(self.request, name)})
        return rows


class One(generics.RetrieveAPIView):
    """One record of the person's own organisation."""

    permission_classes = [permissions.IsAuthenticated, Sees]

    def get_queryset(self):
        return own(self.queryset.model.objects.all(), self.request.user)


def _list(of, shape_of, *, order=("id",), narrow=None, joined=(), about=""):
    view = type(f"{of.__name__}List", (Listed,), {
        "queryset": of.objects.none(), "serializer_class": shape_of, "key_order": list(order),
        "narrow": narrow or {}, "joined": joined, "__doc__": about,
    })  # fmt: skip
    return extend_schema(tags=["registry"], parameters=[OpenApiParameter(name, str) for name in narrow or {}])(view)


def _one(of, shape_of, **more):
    view = type(f"One{of.__name__}", (One,), {
        "queryset": of.objects.none(), "serializer_class": shape_of, "__doc__": f"One {of._meta.verbose_name}.", **more
    })  # fmt: skip
    return extend_schema(tags=["registry"])(view)


Sites = _list(Site, SiteShape, order=["code"], joined=["district"],
              narrow={"district": "district__name", "village": "village", "code": "code"}, about="Sites.")  # fmt: skip
OneSite = _one(Site, SiteWholeShape, lookup_field="code")
Units = _list(Unit, UnitShape, order=["serial"], joined=["pump_type"],
              narrow={"pump_type": "pump_type__name", "batch": "batch", "serial": "serial__iexact"},
              about="Units.")  # fmt: skip
OneUnit = _one(Unit, UnitWholeShape)
Installations = _list(Installation, InstallationShape,
                      joined=["unit", "well__site", "module_type", "pipe", "cable"],
                      narrow={"serial": "unit__serial__iexact", "site": "well__site__code"},
                      about="Installations, past and present.")  # fmt: skip
OneInstallation = _one(Installation, InstallationShape)
PumpTypes = _list(PumpType, PumpTypeShape, order=["name"], about="Pump types.")
OnePumpType = _one(PumpType, PumpTypeWholeShape)
ModuleTypes = _list(ModuleType, ModuleTypeShape, order=["name"], about="Module types.")
Pipes = _list(Pipe, PipeShape, order=["outside_mm", "wall_mm"], about="Pipes.")
Cables = _list(Cable, CableShape, order=["area_mm2"], about="Cables.")
Districts = _list(District, DistrictShape, order=["name"], about="Districts.")
