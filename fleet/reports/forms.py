from datetime import date

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.registry.models import District, PumpType
from fleet.reports.services.read import Scope


class ScopeForm(forms.Form):
    """Which months and which part of the fleet the figures cover."""

    first = forms.CharField(label=_("From month"), required=False, widget=forms.TextInput(attrs={"type": "month"}))
    last = forms.CharField(label=_("To month"), required=False, widget=forms.TextInput(attrs={"type": "month"}))
    district = forms.ModelChoiceField(District.objects.none(), label=_("District"), required=False)
    type = forms.ModelChoiceField(PumpType.objects.none(), label=_("Pump type"), required=False)

    def __init__(self, *args, person, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.person, self.today = person, today
        self.fields["district"].queryset = District.objects.filter(organisation=person.organisation_id)
        self.fields["type"].queryset = PumpType.objects.filter(organisation=person.organisation_id)

    def _month(self, name):
        words = self.cleaned_data[name].strip()
        if not words:
            return None
        try:
            year, month = words.split("-")[:2]
            return date(int(year), int(month), 1)
        except ValueError:
            raise forms.ValidationError(_("Give a month as year and month, like 2026-03.")) from None

    def clean_first(self):
        return self._month("first")

    def clean_last(self):
        return self._month("last")

    def clean(self):
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and first > last:
            self.add_error("last", _("The last month lies before the first."))

    def scope(self):
        """The chosen scope; without a choice the last twelve whole months."""
        found = self.cleaned_data if self.is_bound and self.is_valid() else {}
        last = found.get("last") or self.today.replace(day=1)
        first = found.get("first") or last.replace(year=last.year - 1)
        filters = {
            "district": found["district"].name if found.get("district") else None,
            "type": found["type"].name if found.get("type") else None,
        }
        return Scope(self.person.organisation, first, last, filters)
