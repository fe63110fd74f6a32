"""What programs send to the registry: read and typed here, judged by the services."""

from rest_framework import serializers

from fleet.people.rest import Named
from fleet.registry.models import (
    Cable,
    District,
    Installation,
    ModuleType,
    Pipe,
    PumpType,
    Site,
    StaticLevel,
    Tank,
    Unit,
    Well,
)
from fleet.registry.services.installing import AS_BUILT
from fleet.web.rest import Figure, Moment


class Typed(serializers.ModelSerializer):
    """Fields of a row as its model has them; what one row says about others is asked by the services."""

    serializer_field_mapping = serializers.ModelSerializer.serializer_field_mapping | {
        model_field: Figure
        for model_field, field in serializers.ModelSerializer.serializer_field_mapping.items()
        if field is serializers.FloatField
    }


def typed(of, names, *, label=None, **more):
    meta = type("Meta", (), {"model": of, "fields": names, "validators": []})
    return type(label or f"{of.__name__}In", (Typed,), {**more, "Meta": meta})


def _twelve(**more):
    return serializers.ListField(child=Figure(), required=False, min_length=0, max_length=12, **more)


LevelIn = typed(StaticLevel, ["measured_on", "level_m", "hours_since_pumped"])
TankIn = typed(Tank, ["rise_m", "pipe_run_m", "capacity_m3", "float_switch", "fittings_k"])
WELL = [
    "name", "kind", "inside_diameter_mm", "depth_m", "datum_above_ground_m", "drawdown_law", "specific_capacity_m3_h_m",
    "drawdown_b_d_m2", "drawdown_c_d2_m5", "safe_yield_m3_h",
]  # fmt: skip
WellIn = typed(Well, WELL)
NewWellIn = typed(
    Well, [*WELL, "static_levels", "tank"], label="NewWellIn",
    static_levels=LevelIn(many=True, required=False), tank=TankIn(required=False, allow_null=True),
)  # fmt: skip
SiteIn = typed(
    Site, [
        "code", "name", "village", "district", "latitude_deg", "longitude_deg", "altitude_m", "people_served",
        "animals_served", "need_m3_day", "caretaker_name", "caretaker_phone", "caretaker_language", "access_notes",
        "drive_minutes", "signal",
    ],
    district=Named("name", queryset=District.objects.all(), help_text="a district's name"),
    need_m3_day=_twelve(help_text="twelve figures, a month each, or none"),
)  # fmt: skip
UnitIn = typed(
    Unit, ["serial", "pump_type", "batch", "tested_on", "warranty_until", "notes"],
    pump_type=Named("name", queryset=PumpType.objects.all(), help_text="a pump type's name"),
)  # fmt: skip
BUILT = [f.name for f in Installation._meta.concrete_fields if f.name in AS_BUILT]
NAMED = {
    "module_type": Named("name", queryset=ModuleType.objects.all(), required=False, allow_null=True),
    "pipe": Named("name", queryset=Pipe.objects.all(), required=False, allow_null=True),
    "cable": Named("name", queryset=Cable.objects.all(), required=False, allow_null=True),
}
INTO = {
    "site": serializers.CharField(max_length=24, help_text="site code"),
    "well": serializers.CharField(max_length=60, required=False, help_text="its name, where the site has several"),
    "at": Moment(help_text="when, with its offset from UTC"),
}
AsBuiltIn = typed(Installation, BUILT, label="AsBuiltIn", **NAMED)
InstallIn = typed(Installation, [*INTO, *BUILT], label="InstallIn", **INTO, **NAMED)
RelocateIn = typed(
    Installation, [*INTO, "why", *BUILT], label="RelocateIn", **INTO, **NAMED,
    why=serializers.CharField(max_length=200),
)  # fmt: skip


class EndIn(serializers.Serializer):
    at = Moment()
    why = serializers.CharField(max_length=200)


class RetireIn(serializers.Serializer):
    at = Moment(required=False, allow_null=True, default=None, help_text="needed where it hangs; else now")
    why = serializers.CharField(max_length=200)


class PointIn(serializers.Serializer):
    head_m = Figure(min_value=0, max_value=1000)
    power_w = Figure(min_value=0, max_value=100_000)
    flow_l_min = Figure(min_value=0, max_value=10_000)
    voltage_v = Figure(required=False, allow_null=True, default=None, min_value=0, max_value=10_000)
    current_a = Figure(required=False, allow_null=True, default=None, min_value=0, max_value=10_000)


class SheetIn(serializers.Serializer):
    """A whole test sheet; it takes the place of the one before."""

    points = PointIn(many=True, max_length=2000)


class ClimateIn(serializers.Serializer):
    """Twelve values of sun, and of air where known; no sun takes the table away."""

    irradiation_kwh_m2_day = _twelve(default=list)
    air_c = _twelve(default=list)
    day_irradiation_kwh_m2 = serializers.ListField(
        child=serializers.ListField(child=Figure(min_value=0, max_value=15), min_length=9, max_length=9),
        required=False, allow_null=True, default=None, max_length=12,
        help_text="twelve rows: the means of nine equal groups of the month's days, dullest first, kWh/m²",
    )  # fmt: skip
    source = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class SkylineIn(serializers.Serializer):
    """Pairs of bearing from true north and height angle, in degrees."""

    skyline = serializers.ListField(
        child=serializers.ListField(child=Figure(), min_length=2, max_length=2), max_length=360
    )


class ShadeWindowsIn(serializers.Serializer):
    """Windows of shade: from and to in hours of sun time (12 is solar noon), share of the direct light lost."""

    shade_windows = serializers.ListField(
        child=serializers.ListField(child=Figure(), min_length=3, max_length=3), max_length=24
    )


PumpTypeIn = typed(PumpType, [
    "name", "maker", "kind", "coupling", "outside_diameter_mm", "mass_kg", "min_voltage_v", "max_voltage_v",
    "max_power_w", "max_head_m", "controller_efficiency", "start_power_w", "motor_ohm", "price", "currency",
])  # fmt: skip
ModuleTypeIn = typed(ModuleType, [
    "name", "maker", "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k", "beta_voc_pct_k",
    "gamma_p_pct_k", "noct_c", "price", "currency",
])  # fmt: skip
PipeIn = typed(Pipe, ["name", "outside_mm", "wall_mm", "pressure_bar", "material", "price_per_m"])
CableIn = typed(Cable, ["name", "area_mm2", "conductor_class", "price_per_m"])
DistrictIn = typed(District, ["name", "p_code"])
