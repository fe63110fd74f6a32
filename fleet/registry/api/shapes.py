"""How the registry leaves by the API: named fields only, so that no column leaks."""

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.registry import warnings
from fleet.registry.models import (
    Attachment,
    Cable,
    District,
    Installation,
    ModuleType,
    MonthlyClimate,
    Pipe,
    PumpPoint,
    PumpType,
    Site,
    StaticLevel,
    Tank,
    Unit,
    UnitPoint,
    Well,
)
from fleet.registry.services.places import warnings_of_site


def shape(of, names, *, label=None, **more):
    """A serializer of these fields only; `more` are fields made by hand."""
    meta = type("Meta", (), {"model": of, "fields": names, "read_only_fields": names})
    return type(label or f"{of.__name__}Record", (serializers.ModelSerializer,), {**more, "Meta": meta})


def _name(source, **more):
    return serializers.CharField(source=source, read_only=True, **more)


def _maybe(source):
    return _name(source, allow_null=True, default=None)


class WarningShape(serializers.Serializer):
    """A rule of the trade that warns and never forbids."""

    field = serializers.CharField()
    sentence = serializers.CharField()


@extend_schema_field(
    {"type": "object", "properties": {end: {"type": "string", "format": "date-time", "nullable": end == "until"}
                                      for end in ("from", "until")}}
)  # fmt: skip
class PeriodField(serializers.Field):
    """Start and end of a period, RFC 3339; an open end is null."""

    def to_representation(self, period):
        return {end: moment and moment.isoformat() for end, moment in
                (("from", period.lower), ("until", period.upper))}  # fmt: skip


AttachmentShape = shape(Attachment, ["id", "name", "is_image", "caption", "taken_at", "added_at"])
LevelShape = shape(StaticLevel, ["id", "measured_on", "level_m", "hours_since_pumped"])
TankShape = shape(Tank, ["rise_m", "pipe_run_m", "capacity_m3", "float_switch", "fittings_k"])
ClimateShape = shape(MonthlyClimate, ["irradiation_kwh_m2_day", "day_irradiation_kwh_m2", "air_c", "source"])
WELL = [
    "id", "site", "name", "kind", "inside_diameter_mm", "depth_m", "datum_above_ground_m", "drawdown_law",
    "specific_capacity_m3_h_m", "drawdown_b_d_m2", "drawdown_c_d2_m5", "safe_yield_m3_h", "static_levels", "tank",
]  # fmt: skip
WellShape = shape(
    Well, WELL, site=_name("site.code"), static_levels=LevelShape(many=True, read_only=True),
    tank=TankShape(read_only=True, allow_null=True),
)  # fmt: skip
SITE = [
    "id", "code", "name", "village", "district", "latitude_deg", "longitude_deg", "altitude_m", "zone",
    "caretaker_name", "caretaker_phone", "caretaker_language", "people_served", "animals_served", "need_m3_day",
    "access_notes", "drive_minutes", "signal",
]  # fmt: skip
SiteShape = shape(Site, SITE, district=_name("district.name"))


def _site_warnings(self, site) -> WarningShape(many=True):
    return [{"field": field, "sentence": str(sentence)} for field, sentence in warnings_of_site(site)]


SiteWholeShape = shape(
    Site, [*SITE, "skyline", "shade_windows", "wells", "climate", "attachments", "warnings"], label="SiteWhole",
    district=_name("district.name"), wells=WellShape(many=True, read_only=True),
    climate=ClimateShape(read_only=True, allow_null=True),
    attachments=AttachmentShape(many=True, read_only=True),
    warnings=serializers.SerializerMethodField(), get_warnings=_site_warnings,
)  # fmt: skip
POINT = ["head_m", "power_w", "flow_l_min", "voltage_v", "current_a"]
PointShape = shape(PumpPoint, POINT)
UnitPointShape = shape(UnitPoint, POINT)
TYPE = [
    "id", "name", "maker", "kind", "coupling", "outside_diameter_mm", "mass_kg", "min_voltage_v", "max_voltage_v",
    "max_power_w", "max_head_m", "controller_efficiency", "start_power_w", "motor_ohm", "price", "currency",
]  # fmt: skip
PumpTypeShape = shape(PumpType, TYPE)
PumpTypeWholeShape = shape(
    PumpType, [*TYPE, "points"], label="PumpTypeWhole", points=PointShape(many=True, read_only=True)
)
UNIT = ["id", "serial", "pump_type", "batch", "tested_on", "warranty_until", "status", "retired_why", "notes"]
UnitShape = shape(Unit, UNIT, pump_type=_name("pump_type.name"))
INSTALLATION = [
    "id", "serial", "unit", "site", "well", "period", "module_type", "modules_in_series", "strings", "tilt_deg",
    "azimuth_deg", "mounting_height_m", "fenced", "boxes_shaded", "pipe", "pipe_length_m", "rope_length_m", "cable",
    "cable_length_m", "setting_depth_m", "dry_run_probe", "controller", "controller_serial",
    "controller_max_voltage_v", "meter_rollover_l", "instrument_level", "installer", "commissioned_on",
    "handed_over_on", "next_inspection_on", "closed_why", "notes",
]  # fmt: skip
FACTS = {
    "serial": _name("unit.serial"), "site": _name("well.site.code"), "well": _name("well.name"),
    "period": PeriodField(read_only=True), "module_type": _maybe("module_type.name"), "pipe": _maybe("pipe.name"),
    "cable": _maybe("cable.name"),
}  # fmt: skip
InstallationShape = shape(Installation, INSTALLATION, **FACTS)


def _warnings(self, installation) -> WarningShape(many=True):
    level = installation.well.static_levels.last()
    found = warnings.of(installation, level.level_m if level else None)
    return [{"field": field, "sentence": sentence} for field, sentence in found]


InstallationWholeShape = shape(
    Installation, [*INSTALLATION, "attachments", "warnings"], label="InstallationWhole", **FACTS,
    attachments=AttachmentShape(many=True, read_only=True), warnings=serializers.SerializerMethodField(),
    get_warnings=_warnings,
)  # fmt: skip
UnitWholeShape = shape(
    Unit, [*UNIT, "label_code", "points", "installations"], label="UnitWhole", pump_type=_name("pump_type.name"),
    label_code=_maybe("label.code"), points=UnitPointShape(many=True, read_only=True),
    installations=InstallationShape(many=True, read_only=True),
)  # fmt: skip
ModuleTypeShape = shape(ModuleType, [
    "id", "name", "maker", "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k",
    "beta_voc_pct_k", "gamma_p_pct_k", "noct_c", "price", "currency",
])  # fmt: skip
PipeShape = shape(Pipe, [
    "id", "name", "outside_mm", "wall_mm", "inside_mm", "pressure_bar", "material", "price_per_m",
], inside_mm=serializers.FloatField(read_only=True))  # fmt: skip
CableShape = shape(Cable, ["id", "name", "area_mm2", "conductor_class", "price_per_m"])
DistrictShape = shape(District, ["id", "name", "p_code"])


class LabelShape(serializers.Serializer):
    """The short code on a unit, and where it leads."""

    code = serializers.CharField()
    unit = serializers.IntegerField()
    serial = serializers.CharField()
    installation = serializers.IntegerField(allow_null=True, help_text="in which it hangs now")
    site = serializers.CharField(allow_null=True)
