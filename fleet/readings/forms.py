"""Forms of the readings' pages; they only read, the services check."""

from datetime import datetime

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.readings.models import Slip
from fleet.readings.services.clock import zone_of


class MeterForm(forms.Form):
    day = forms.DateField(label=_("Day"), widget=forms.DateInput({"type": "date"}))
    hour = forms.TimeField(
        label=_("Hour"), required=False, widget=forms.TimeInput({"type": "time"}),
        help_text=_("The site's own time. Leave it empty only where nobody wrote it down."),
    )  # fmt: skip
    total_l = forms.FloatField(
        label=_("Total on the meter"), min_value=0, widget=forms.TextInput({"inputmode": "decimal"})
    )
    tank_full_seen = forms.TypedChoiceField(
        label=_("Was the tank full, today or yesterday?"), required=False, empty_value=None, widget=forms.RadioSelect,
        choices=[("yes", _("yes")), ("no", _("no")), ("", _("not looked"))],
        coerce=lambda word: {"yes": True, "no": False}.get(word),
    )  # fmt: skip
    new_meter = forms.BooleanField(label=_("This is the first figure of a new meter"), required=False)
    as_written = forms.BooleanField(
        label=_("The figure is lower than the one before, and I have looked twice"), required=False
    )

    def reading(self, installation):
        """What the service takes."""
        values = dict(self.cleaned_data)
        day, hour = values.pop("day"), values.pop("hour")
        if hour is None:
            return values | {"day": day}
        return values | {"at": datetime.combine(day, hour, tzinfo=zone_of(installation))}


class SlipFilter(forms.Form):
    state = forms.ChoiceField(
        label=_("State"), required=False,
        choices=[("", _("waiting")), ("settled", _("settled")), ("all", _("all"))],
    )  # fmt: skip
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("any"))] + Slip.Kind.choices)
    serial = forms.CharField(label=_("Serial or site"), required=False, max_length=40)


class OtherFigureForm(forms.Form):
    value = forms.FloatField(label=_("The right figure"), min_value=0, widget=forms.TextInput({"inputmode": "decimal"}))


class DropForm(forms.Form):
    first_day = forms.DateField(label=_("First day"), widget=forms.DateInput({"type": "date"}))
    last_day = forms.DateField(label=_("Last day"), widget=forms.DateInput({"type": "date"}))
    why = forms.CharField(
        label=_("Why"), max_length=200, help_text=_("For example: its clock was three hours ahead. It stays on record.")
    )
