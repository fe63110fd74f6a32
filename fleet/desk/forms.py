from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Person
from fleet.registry.models import District, PumpType


def offer(form, known, **names):
    """Choices that the page's view has looked up already, so that each field need not ask for its own."""
    for field, name in names.items() if known is not None else ():
        some = form.fields[field]
        some.choices = [("", some.empty_label), *(known[name] or ())]


class AttentionForm(forms.Form):
    """Which shortfalls are listed."""

    q = forms.CharField(label=_("Site, village, serial"), required=False)
    district = forms.ModelChoiceField(District.objects.none(), label=_("District"), required=False)
    pump_type = forms.ModelChoiceField(PumpType.objects.none(), label=_("Pump type"), required=False)
    planned = forms.ChoiceField(
        label=_("Visit"),
        required=False,
        choices=[("", _("any")), ("no", _("nobody goes yet")), ("yes", _("somebody goes"))],
    )
    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("", _("open")), ("noted", _("noted, not a fault")), ("closed", _("closed"))],
    )

    def __init__(self, *args, person, known=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["district"].queryset = District.objects.filter(organisation=person.organisation_id)
        self.fields["pump_type"].queryset = PumpType.objects.filter(organisation=person.organisation_id)
        offer(self, known, district="districts", pump_type="pump_types")

    def chosen(self):
        """The arguments of `services.attention`; wrong choices count as none."""
        found = self.cleaned_data if self.is_valid() else {}
        return {
            "district": found.get("district"),
            "pump_type": found.get("pump_type"),
            "state": found.get("state") or "open",
            "assigned": {"yes": True, "no": False}.get(found.get("planned")),
            "search": found.get("q") or "",
        }


class SilentForm(forms.Form):
    """Which silent units are listed."""

    q = forms.CharField(label=_("Site, village, serial"), required=False)
    district = forms.ModelChoiceField(District.objects.none(), label=_("District"), required=False)

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["district"].queryset = District.objects.filter(organisation=person.organisation_id)

    def chosen(self):
        """The arguments of `services.silent_list`; wrong choices count as none."""
        found = self.cleaned_data if self.is_valid() else {}
        return {"district": found.get("district"), "search": found.get("q") or ""}


class SendForm(forms.Form):
    """Who goes, and when."""

    technician = forms.ModelChoiceField(Person.objects.none(), label=_("Technician"))
    day = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args, person, known=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["technician"].queryset = Person.objects.filter(
            organisation=person.organisation_id, role="technician", is_active=True
        ).order_by("first_name")
        offer(self, known, technician="technicians")
