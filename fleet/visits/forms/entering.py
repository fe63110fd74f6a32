"""What is said when a visit's change goes into the register."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from fleet.registry import services as registry
from fleet.web.quantities import zone_of
from fleet.web.refusals import Refused
from fleet.web.typed_units import lengths_as_liked


class WellField(forms.CharField):
    """A well by its site's code, with the well's name after a space where the site has several."""

    def __init__(self, **kwargs):
        super().__init__(max_length=90, **kwargs)
        self.organisation = None

    def clean(self, value):
        code, _space, name = super().clean(value).partition(" ")
        try:
            return registry.find_well(organisation=self.organisation, site=code, name=name)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from None


class EnterForm(forms.Form):
    at = forms.DateTimeField(
        label=_("When, on the site's clock"),
        widget=forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"],
    )
    well = WellField(label=_("Into which well"), help_text=_("The new site's code; the well's name after a space where "
                                                             "it has several."))  # fmt: skip
    setting_depth_m = forms.FloatField(label=_("Setting depth, m"), min_value=0, max_value=400, required=False)
    pipe_length_m = forms.FloatField(label=_("Pipe in the well, m"), min_value=0, max_value=400, required=False)
    rope_length_m = forms.FloatField(label=_("Safety rope, m"), min_value=0, max_value=450, required=False)
    cable_length_m = forms.FloatField(label=_("Drop cable, m"), min_value=0, max_value=500, required=False)
    tilt_deg = forms.FloatField(label=_("Tilt, degrees"), min_value=0, max_value=90, required=False)
    azimuth_deg = forms.FloatField(
        label=_("Azimuth, degrees"), min_value=0, max_value=360, required=False, help_text=_("180 faces south.")
    )
    scrapped = forms.ChoiceField(
        label=_("The pump that came out"), widget=forms.RadioSelect,
        choices=[("no", _("goes into store")), ("yes", _("is retired for good"))],
    )  # fmt: skip
    why = forms.CharField(label=_("Why"), max_length=200)

    def __init__(self, *args, change, visit, person=None, **kwargs):
        self.zone = zone_of(visit.site)
        at = timezone.localtime(change.at, self.zone) if change.at else timezone.localtime(timezone.now(), self.zone)
        start = {
            "at": at.replace(second=0, microsecond=0, tzinfo=None), "why": change.why[:200],
            "scrapped": "yes" if change.scrapped else "no", **change.as_built,
        }  # fmt: skip
        super().__init__(*args, initial=start, **kwargs)
        self.fields["well"].organisation = visit.organisation
        if change.kind == "relocation":
            del self.fields["scrapped"]
        else:
            for name in ("well", "setting_depth_m", "pipe_length_m", "rope_length_m", "cable_length_m", "tilt_deg",
                         "azimuth_deg"):  # fmt: skip
                del self.fields[name]
        lengths_as_liked(self, person)

    def full_clean(self):
        with timezone.override(self.zone):  # what is typed is the site's time
            super().full_clean()

    def typed(self):
        """Keyword arguments for the service; what was left empty is not said."""
        found = {name: value for name, value in self.cleaned_data.items() if value is not None}
        if "scrapped" in found:
            found["scrapped"] = found["scrapped"] == "yes"
        return found
