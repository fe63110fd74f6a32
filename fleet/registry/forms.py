"""Forms of the registry. They read and check what was typed; the services keep it."""

import re

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from fleet.registry import hiding
from fleet.registry.engineering import weather
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
from fleet.registry.services.places import find_well
from fleet.web.refusals import Refused
from fleet.web.typed_units import lengths_as_liked


class Figures(forms.Field):
    """A row of figures, typed with spaces, semicolons or on lines; `count` of them, one for all, or none."""

    widget = forms.Textarea

    def __init__(self, *, count, one_for_all=False, **kwargs):
        self.count, self.one_for_all = count, one_for_all
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 2}))
        super().__init__(**kwargs)

    def prepare_value(self, value):
        return " ".join(f"{v:g}" for v in value) if isinstance(value, list) else value

    def to_python(self, value):
        if value in self.empty_values:
            return []
        try:
            found = [float(word.replace(",", ".")) for word in re.split(r"[\s;]+", value.strip()) if word]
        except ValueError:
            raise forms.ValidationError(_("Give figures with spaces between them.")) from None
        if self.one_for_all and len(found) == 1:
            return found * self.count
        if len(found) != self.count:
            raise forms.ValidationError(
                _("Give %(count)s figures; there are %(found)s."), params={"count": self.count, "found": len(found)}
            )
        return found


class Pairs(forms.CharField):
    """Pairs of figures, a pair on a line."""

    widget = forms.Textarea

    def __init__(self, *, width=2, **kwargs):
        self.width = width
        super().__init__(**kwargs)

    def prepare_value(self, value):
        if isinstance(value, list | tuple):
            return "\n".join(" ".join("" if v is None else f"{v:g}" for v in pair) for pair in value)
        return value

    def to_python(self, value):
        found = []
        for number, line in enumerate((value or "").splitlines(), 1):
            words = [w for w in re.split(r"[\s;]+", line.strip()) if w]
            if not words:
                continue
            try:
                figures = [float(w.replace(",", ".")) for w in words]
            except ValueError:
                figures = []
            if not self.width <= len(figures) <= getattr(self, "most", self.width):
                raise forms.ValidationError(
                    _("Line %(line)s: give %(count)s figures with spaces between them."),
                    params={"line": number, "count": self.width},
                )
            found.append(tuple(figures))
        return found

    def has_changed(self, initial, data):
        return True


class Points(Pairs):
    """Test-sheet points: head, power, flow, and volts and amperes where they are known."""

    most = 5

    def __init__(self, **kwargs):
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 12, "class": "input mono"}))
        kwargs.setdefault("label", _("Points"))
        kwargs.setdefault(
            "help_text",
            _("One point a line: head in m, power in W, flow in L/min; then volts and amperes where they are known. "
              "Flow 0 says that it does not lift there."),
        )  # fmt: skip
        super().__init__(width=3, **kwargs)

    def clean(self, value):
        names = ("head_m", "power_w", "flow_l_min", "voltage_v", "current_a")
        return [dict(zip(names, (*line, None, None)[:5], strict=True)) for line in super().clean(value)]


class OfOrganisation(forms.ModelForm):
    """Offers only what belongs to the person's organisation."""

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            queryset = getattr(field, "queryset", None)
            if queryset is not None and hasattr(queryset.model, "organisation"):
                field.queryset = queryset.filter(organisation_id=person.organisation_id)
        lengths_as_liked(self, person)

    def validate_unique(self):
        pass

    def validate_constraints(self):
        pass


class PumpTypeForm(OfOrganisation):
    class Meta:
        model = PumpType
        fields = [
            "name", "maker", "kind", "coupling", "outside_diameter_mm", "mass_kg", "min_voltage_v", "max_voltage_v",
            "max_power_w", "max_head_m", "controller_efficiency", "start_power_w", "motor_ohm", "price", "currency",
        ]  # fmt: skip


class PointsForm(forms.Form):
    points = Points()


class ModuleTypeForm(OfOrganisation):
    class Meta:
        model = ModuleType
        fields = [
            "name", "maker", "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k",
            "beta_voc_pct_k", "gamma_p_pct_k", "noct_c", "price", "currency",
        ]  # fmt: skip


class PipeForm(OfOrganisation):
    class Meta:
        model = Pipe
        fields = ["name", "outside_mm", "wall_mm", "pressure_bar", "material", "price_per_m"]


class CableForm(OfOrganisation):
    class Meta:
        model = Cable
        fields = ["name", "area_mm2", "conductor_class", "price_per_m"]


class DistrictForm(OfOrganisation):
    class Meta:
        model = District
        fields = ["name", "p_code"]


class SiteForm(OfOrganisation):
    need_m3_day = Figures(
        count=12, one_for_all=True, required=False, label=_("Daily need by month, m³"),
        help_text=_("Twelve figures from January to December, or one for every month."),
    )  # fmt: skip

    class Meta:
        model = Site
        fields = [
            "code", "name", "village", "district", "latitude_deg", "longitude_deg", "altitude_m", "people_served",
            "animals_served", "need_m3_day", "caretaker_name", "caretaker_phone", "caretaker_language", "access_notes",
            "drive_minutes", "signal",
        ]  # fmt: skip
        widgets = {"access_notes": forms.Textarea(attrs={"rows": 3})}


class WellForm(OfOrganisation):
    class Meta:
        model = Well
        fields = [
            "name", "kind", "inside_diameter_mm", "depth_m", "datum_above_ground_m", "drawdown_law",
            "specific_capacity_m3_h_m", "drawdown_b_d_m2", "drawdown_c_d2_m5", "safe_yield_m3_h",
        ]  # fmt: skip


class TankForm(OfOrganisation):
    class Meta:
        model = Tank
        fields = ["rise_m", "pipe_run_m", "capacity_m3", "float_switch", "fittings_k"]


def day_input():
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class LevelForm(OfOrganisation):
    class Meta:
        model = StaticLevel
        fields = ["measured_on", "level_m", "hours_since_pumped"]
        widgets = {"measured_on": day_input()}


class ClimateForm(forms.Form):
    irradiation_kwh_m2_day = Figures(
        count=12, required=False, label=_("Daily global irradiation by month, kWh/m²"),
        help_text=_("Twelve figures on the level, January to December. Empty: the coarse default."),
    )  # fmt: skip
    air_c = Figures(count=12, required=False, label=_("Air temperature by month, °C"))
    source = forms.CharField(max_length=200, label=_("Where the values come from"), required=False)
    weather_file = forms.FileField(
        required=False, label=_("Or a weather file"),
        help_text=_("A year of hours of this place: EPW, TMY3, PVGIS or NSRDB. Its months replace the figures above, "
                    "and its own days tell how bright and dull days alternate."),
    )  # fmt: skip
    weather_kind = forms.ChoiceField(
        required=False, label=_("Kind of weather file"),
        choices=[("", _("not used")), ("epw", "EPW"), ("tmy3", "TMY3 (CSV)"), ("pvgis_csv", "PVGIS (CSV)"),
                 ("nsrdb_csv", "NSRDB (CSV)")],
    )  # fmt: skip

    def __init__(self, *args, site=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.site = site

    def clean(self):
        data = super().clean()
        if data.get("weather_file"):
            self._read_file(data)
        if data.get("irradiation_kwh_m2_day") and not data.get("source"):
            self.add_error("source", _("Say where the values come from."))
        return data


    def _read_file(self, data):
        """The file's twelve months in place of the figures."""
        if not data.get("weather_kind"):
            self.add_error("weather_kind", _("Say what kind of file it is."))
            return
        try:
            months = weather.months_of_file(self.site, data["weather_file"], data["weather_kind"])
        except Refused as refusal:
            self.add_error("weather_file", str(refusal))
            return
        data.update({name: value for name, value in months.items() if name != "source" or not data.get("source")})


class Entries(forms.CharField):
    """Entries on lines, read by one of `hiding`'s readers, which names every entry that is wrong."""

    def __init__(self, read, write, **kwargs):
        self.read, self.write = read, write
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 6}))
        super().__init__(required=False, **kwargs)

    def prepare_value(self, value):
        return self.write(value, "\n") if isinstance(value, list | tuple) else value

    def to_python(self, value):
        found, faults = self.read(super().to_python(value))
        if faults:
            raise forms.ValidationError(faults)
        return found


class SkylineForm(forms.Form):
    """What hides the sun: what stands around, and shade that comes and goes by the hour."""

    skyline = Entries(
        hiding.read_skyline, hiding.skyline_words, label=_("Skyline"),
        help_text=_("One point a line: true bearing and height angle in degrees, like 95 12. Straight lines are drawn "
                    "between the points, all around."),
    )  # fmt: skip
    shade_windows = Entries(
        hiding.read_windows, hiding.windows_words, label=_("Windows of shade"),
        help_text=_("For shade that is no part of the skyline, a mast or a leafy tree: one window a line, from and to "
                    "by sun time (12:00 is solar noon) and the share of the direct light lost, like 7:30-9:30 80%."),
    )  # fmt: skip


class AttachForm(forms.Form):
    file = forms.FileField(label=_("Photo or document"), help_text=_("JPEG, PNG, WebP or PDF, up to 25 MB."))
    caption = forms.CharField(label=_("What it shows"), max_length=200, required=False)


class UnitForm(OfOrganisation):
    class Meta:
        model = Unit
        fields = ["serial", "pump_type", "batch", "tested_on", "warranty_until", "notes"]
        widgets = {"tested_on": day_input(), "warranty_until": day_input(), "notes": forms.Textarea(attrs={"rows": 3})}


BUILT = [
    "module_type", "modules_in_series", "strings", "tilt_deg", "azimuth_deg", "mounting_height_m", "fenced",
    "boxes_shaded", "pipe", "pipe_length_m", "rope_length_m", "cable", "cable_length_m", "setting_depth_m",
    "dry_run_probe", "controller", "controller_serial", "controller_max_voltage_v", "meter_rollover_l",
    "instrument_level", "installer", "commissioned_on", "handed_over_on", "next_inspection_on", "notes",
]  # fmt: skip


class InstallationForm(OfOrganisation):
    """What was built; the rules of the trade are answered beside it and never stand in the way."""

    class Meta:
        model = Installation
        fields = BUILT
        widgets = {
            "commissioned_on": day_input(), "handed_over_on": day_input(), "next_inspection_on": day_input(),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }  # fmt: skip


class MomentForm(forms.Form):
    """When it happened, in the site's own time."""

    at = forms.DateTimeField(
        label=_("When, in the site's time"), widget=forms.DateTimeInput(attrs={"type": "datetime-local"},
        format="%Y-%m-%dT%H:%M"), input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"],
    )  # fmt: skip

    def __init__(self, *args, zone, **kwargs):
        self.zone = zone
        super().__init__(*args, **kwargs)
        with timezone.override(zone):
            now = timezone.localtime().replace(second=0, microsecond=0, tzinfo=None)
        self.fields["at"].initial = now

    def full_clean(self):
        with timezone.override(self.zone):  # what is typed is the site's time, and kept in UTC
            super().full_clean()


class EndForm(MomentForm):
    why = forms.CharField(label=_("Why"), max_length=200)


class WellByCode(forms.CharField):
    """A well named by its site's code, and the well's name after a space where the site has several."""

    def __init__(self, **kwargs):
        kwargs.setdefault("label", _("Well"))
        kwargs.setdefault("help_text", _("The site's code, like NK-014; where it has several wells, its name after a "
                                         "space."))  # fmt: skip
        super().__init__(**kwargs)
        self.person = None

    def clean(self, value):
        code, _space, name = super().clean(value).partition(" ")
        try:
            return find_well(organisation=self.person.organisation_id, site=code, name=name)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from None


class IntoWellForm(forms.Form):
    """Into which well."""

    well = WellByCode()

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["well"].person = person


class SiteFilter(forms.Form):
    q = forms.CharField(label=_("Serial, site, village, caretaker"), required=False)
    district = forms.ModelChoiceField(District.objects.none(), label=_("District"), required=False)
    hanging = forms.ChoiceField(
        label=_("Unit"), required=False, choices=[("", _("all")), ("yes", _("one hangs there")), ("no", _("none"))]
    )

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["district"].queryset = District.objects.filter(organisation_id=person.organisation_id)


class UnitFilter(forms.Form):
    q = forms.CharField(label=_("Serial, site, village, caretaker"), required=False)
    pump_type = forms.ModelChoiceField(PumpType.objects.none(), label=_("Pump type"), required=False)
    status = forms.ChoiceField(label=_("Status"), required=False, choices=[("", _("all")), *Unit.Status.choices])

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["pump_type"].queryset = PumpType.objects.filter(organisation_id=person.organisation_id).only("name")
