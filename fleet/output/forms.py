"""Forms of the output's pages; they only read, the services check."""

from datetime import datetime

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.output.advice import CAUSES
from fleet.output.models import Shortfall
from fleet.readings.models import SpotTest
from fleet.readings.services.clock import zone_of


def _figure(label, required=False, **more):
    return forms.FloatField(
        label=label, required=required, widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}), **more
    )


class SpotForm(forms.Form):
    """One set of readings taken in the same minutes."""

    day = forms.DateField(label=_("Day"), widget=forms.DateInput({"type": "date"}))
    hour = forms.TimeField(label=_("Hour at the site"), widget=forms.TimeInput({"type": "time"}))
    kind = forms.ChoiceField(label=_("Kind"), choices=SpotTest.Kind.choices, initial="visit")
    sun_by = forms.ChoiceField(label=_("Irradiance got from"), choices=SpotTest.SunBy.choices, initial="reference_cell")
    irradiance_w_m2 = _figure(_("Irradiance in the plane of the modules"))
    module_isc_a = _figure(_("Module short-circuit current"))
    air_c = _figure(_("Air"))
    array_voltage_v = _figure(_("Array voltage"))
    array_current_a = _figure(_("Array current"))
    output_voltage_v = _figure(_("Voltage at the box's output, if it gives direct current"))
    output_current_a = _figure(_("Current at the box's output"))
    loop_ohm = _figure(_("Loop resistance of cable and motor, leads off the box"))
    first_water_min = _figure(_("Minutes to first water"))
    flow_by = forms.ChoiceField(label=_("Flow measured by"), choices=SpotTest.FlowBy.choices, initial="bucket")
    flow_l_min = _figure(_("Flow"), help_text=_("Or give the fills below."))
    meter_flow_l_min = _figure(_("Flow by the meter beside the bucket"))
    no_water = forms.BooleanField(label=_("No water came"), required=False)
    watched_min = _figure(
        _("Minutes watched without water"),
        help_text=_("From switching on. An empty rising main takes some minutes to fill."),
    )
    static_level_m = _figure(_("Static level below datum"))
    pumping_level_m = _figure(_("Pumping level below datum"))
    notes = forms.CharField(label=_("Notes"), required=False, widget=forms.Textarea({"rows": 2}))
    fills = 3

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for n in range(1, self.fills + 1):
            self.fields[f"litres_{n}"] = _figure(_("Fill %d, litres") % n)
            self.fields[f"seconds_{n}"] = _figure(_("Fill %d, seconds") % n)

    def readings(self, installation):
        """What the service takes."""
        values = {k: v for k, v in self.cleaned_data.items() if v not in (None, "")}
        if not values["no_water"]:
            del values["no_water"]  # the minutes watched say it as well
        values["at"] = datetime.combine(values.pop("day"), values.pop("hour"), tzinfo=zone_of(installation))
        fills = []
        for n in range(1, self.fills + 1):
            litres, seconds = values.pop(f"litres_{n}", None), values.pop(f"seconds_{n}", None)
            if litres is not None or seconds is not None:
                fills.append({"litres": litres, "seconds": seconds})
        return values | {"repeats": fills}

    @property
    def fill_pairs(self):
        return [(self[f"litres_{n}"], self[f"seconds_{n}"]) for n in range(1, self.fills + 1)]


class WorkingForm(forms.Form):
    day = forms.DateField(label=_("Day"), required=False, widget=forms.DateInput({"type": "date"}))
    sun_kwh_m2 = forms.FloatField(
        label=_("Sun on level ground"), required=False, min_value=0.05, max_value=12,
        widget=forms.TextInput({"inputmode": "decimal"}), help_text=_("Left empty: the usual for that month."),
    )  # fmt: skip


class AlarmsForm(forms.Form):
    alarms = forms.FloatField(
        label=_("False alarms per hundred units a year"), min_value=0.5, max_value=200,
        widget=forms.TextInput({"inputmode": "decimal"}),
    )  # fmt: skip


class ShortfallFilter(forms.Form):
    state = forms.ChoiceField(
        label=_("State"), required=False, choices=[("", _("open"))] + Shortfall.State.choices[1:] + [("all", _("all"))]
    )
    cause = forms.ChoiceField(label=_("Likeliest cause"), required=False, choices=[("", _("any")), *CAUSES.items()])
    district = forms.CharField(label=_("District"), required=False, max_length=80)
    serial = forms.CharField(label=_("Serial or site"), required=False, max_length=40)


MOST_WEATHER_BYTES = 25 * 1024 * 1024
WEATHER_TOO_LARGE = _("This file is larger than 25 MB. Ask the service for fewer years at once.")


class WeatherForm(forms.Form):
    file = forms.FileField(
        label=_("File"), help_text=_("Hourly values of one place, as the service gives them, up to 25 MB.")
    )
    kind = forms.ChoiceField(
        label=_("Kind of file"),
        choices=[
            ("power_json", _("POWER, hourly, JSON")), ("pvgis_hourly", _("PVGIS, hourly radiation on level ground")),
            ("cams_csv", _("CAMS radiation, CSV")), ("nsrdb_csv", _("NSRDB, CSV")),
        ],
    )  # fmt: skip
    name = forms.CharField(label=_("Name of the place"), max_length=80)

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MOST_WEATHER_BYTES:
            raise forms.ValidationError(WEATHER_TOO_LARGE)
        return file
