from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.registry.models import Site
from sizing.choose import people


def number(label, low, high, *, required=False, unit="", initial=None, hint=""):
    field = forms.FloatField(
        label=label, min_value=low, max_value=high, required=required, initial=initial, help_text=hint, localize=False,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )  # fmt: skip
    field.unit = unit
    return field


class SurveyForm(forms.Form):
    """What was found at the well. The first seven are needed, the rest sharpens the answer."""

    latitude_deg = number(_("Latitude"), -66, 66, required=True, unit="°")
    longitude_deg = number(_("Longitude"), -180, 180, required=True, unit="°")
    static_level_m = number(_("Water level in the driest month"), 0, 600, required=True, unit="m")
    rise_m = number(_("Rise from well head to tank"), 0, 300, required=True, unit="m")
    distance_m = number(_("Run of pipe to the tank"), 0, 20000, required=True, unit="m")
    need_l_day = number(_("Water needed a day"), 1, 10_000_000, required=True, unit="L")
    well_inside_mm = number(_("Inside diameter of the well"), 40, 20000, unit="mm")
    well_depth_m = number(_("Depth of the well"), 1, 700, unit="m")
    specific_capacity_m3_h_m = number(_("Specific capacity"), 0.001, 1000, unit="m³/h/m")
    safe_yield_m3_h = number(_("Safe yield"), 0.01, 1000, unit="m³/h")
    altitude_m = number(_("Altitude"), -450, 6000, unit="m")
    array_distance_m = number(_("Cable from array to well head"), 0, 1000, unit="m", initial=10)
    need_by_month = forms.CharField(
        label=_("Water needed by month"), required=False,
        help_text=_("Twelve numbers, January first, in litres a day; they replace the single figure."),
    )  # fmt: skip
    order = forms.ChoiceField(
        label=_("In order of"), required=False,
        choices=[("margin", _("most water in the worst month")), ("cost", _("lowest cost"))],
    )  # fmt: skip

    def clean_need_by_month(self):
        words = self.cleaned_data["need_by_month"].replace(";", " ").replace(",", " ").split()
        if not words:
            return None
        try:
            values = [float(word) for word in words]
        except ValueError:
            raise forms.ValidationError(
                _("Give twelve plain numbers with spaces between, like 5200 5200 5000 …")
            ) from None
        if len(values) != 12 or min(values) < 0 or max(values) <= 0:
            raise forms.ValidationError(_("Twelve numbers are needed, none below zero; %(n)d stand here.")
                                        % {"n": len(values)})  # fmt: skip
        return values

    def survey(self):
        """The fields of the engineering's survey."""
        found = dict(self.cleaned_data)
        by_month = found.pop("need_by_month")
        found.pop("order")
        if by_month:
            found["need_l_day"] = by_month
        if found.get("array_distance_m") is None:
            found["array_distance_m"] = 10.0
        return found

    @classmethod
    def of_site(cls, site: Site):
        """What the registry knows of a site, to begin with."""
        well = site.wells.select_related("tank").prefetch_related("static_levels").first()
        known = {
            "latitude_deg": site.latitude_deg, "longitude_deg": site.longitude_deg, "altitude_m": site.altitude_m,
            "array_distance_m": 10,
        }  # fmt: skip
        if len(site.need_m3_day) == 12:
            known["need_l_day"] = round(max(site.need_m3_day) * 1000)
            known["need_by_month"] = " ".join(f"{1000 * value:.0f}" for value in site.need_m3_day)
        elif site.people_served:
            known["need_l_day"] = float(people.need_l_day(site.people_served))
        if well is not None:
            levels = [level.level_m for level in well.static_levels.all()]
            known |= {
                "static_level_m": max(levels) if levels else None, "well_inside_mm": well.inside_diameter_mm,
                "well_depth_m": well.depth_m, "specific_capacity_m3_h_m": well.specific_capacity_m3_h_m,
                "safe_yield_m3_h": well.safe_yield_m3_h,
            }  # fmt: skip
            if hasattr(well, "tank"):
                known |= {"rise_m": well.tank.rise_m, "distance_m": well.tank.pipe_run_m}
        return {name: value for name, value in known.items() if value is not None}
