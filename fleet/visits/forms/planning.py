"""What a coordinator types: filters, calls, proposing, assigning, calling off, bases."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Person
from fleet.registry.models import District, Site
from fleet.registry.querysets import like, plain
from fleet.visits.codes import PHONE_QUESTIONS
from fleet.visits.models import Base, Visit

MOST_NAMED = 5


class Day(forms.DateInput):
    input_type = "date"

    def __init__(self, **attrs):
        super().__init__(attrs, format="%Y-%m-%d")


def technicians(organisation):
    """Who may be sent: technicians first, then others that log visits."""
    people = Person.objects.filter(organisation=organisation, is_active=True)
    return people.filter(role__in=["technician", "coordinator", "administrator"]).order_by("-role", "first_name")


class VisitFilter(forms.Form):
    q = forms.CharField(label=_("Site or village"), required=False)
    state = forms.ChoiceField(label=_("State"), required=False)
    kind = forms.ChoiceField(label=_("Kind"), required=False)
    technician = forms.ModelChoiceField(label=_("Technician"), queryset=Person.objects.none(), required=False)
    district = forms.ModelChoiceField(label=_("District"), queryset=District.objects.none(), required=False)

    def __init__(self, *args, organisation, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["state"].choices = [
            ("", _("open")), ("overdue", _("overdue")), ("not_home", _("not come home")), *Visit.State.choices,
            ("all", _("all")),
        ]  # fmt: skip
        self.fields["kind"].choices = [("", _("all")), *Visit.Kind.choices]
        self.fields["technician"].queryset = technicians(organisation)
        self.fields["district"].queryset = District.objects.filter(organisation=organisation)

    def narrowed(self, visits):
        """The visits that fit what was chosen; open ones where no state is chosen."""
        if not self.is_valid():
            return visits.open()
        chosen = self.cleaned_data
        state = chosen["state"]
        today = timezone.localdate()
        if state == "overdue":
            visits = visits.overdue(today)
        elif state == "not_home":
            visits = visits.not_home(today)
        elif state == "":
            visits = visits.open()
        elif state != "all":
            visits = visits.filter(state=state)
        if chosen["kind"]:
            visits = visits.filter(kind=chosen["kind"])
        if chosen["technician"]:
            visits = visits.filter(technician=chosen["technician"])
        if chosen["district"]:
            visits = visits.filter(site__district=chosen["district"])
        if chosen["q"]:
            visits = visits.filter(like(chosen["q"], "site__"))
        return visits


class SiteField(forms.CharField):
    """A site by its code, or by its name or village where that is enough to know it."""

    def __init__(self, **kwargs):
        kwargs.setdefault("label", _("Site"))
        kwargs.setdefault("help_text", _("Code, name or village."))
        super().__init__(max_length=120, **kwargs)
        self.organisation = None

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        sites = Site.objects.filter(organisation=self.organisation).select_related("district")
        exact = sites.filter(code__iexact=text).first()
        if exact:
            return exact
        found = list(sites.filter(search__contains=plain(text))[: MOST_NAMED + 1])
        if len(found) == 1:
            return found[0]
        if not found and (near := sites.matching(text).order_by("-likeness", "code")[:MOST_NAMED]):
            named = "; ".join(str(s) for s in near)
            raise forms.ValidationError(
                _("No site has this code, name or village. Is one of these meant? %(sites)s. Write the code.")
                % {"sites": named}
            )
        if not found:
            raise forms.ValidationError(_("No site has this code, name or village. Look it up under Sites."))
        named = "; ".join(str(s) for s in found[:MOST_NAMED])
        raise forms.ValidationError(_("Several sites fit: %(sites)s. Write the code.") % {"sites": named})


class CallForm(forms.Form):
    site = SiteField()
    caller = forms.CharField(label=_("Who rings"), max_length=120, required=False)
    phone = forms.CharField(label=_("Telephone"), max_length=20, required=False)
    words = forms.CharField(label=_("What they see, in their words"), widget=forms.Textarea({"rows": 3}))

    def __init__(self, *args, organisation, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["site"].organisation = organisation
        self.asked = []
        for question in PHONE_QUESTIONS:
            name = f"ask_{question['code']}"
            if question["kind"] == "note":
                made = forms.CharField(label=question["ask"], required=False, max_length=300)
            else:
                options = question.get("options") or {"yes": _("yes"), "no": _("no")}
                made = forms.ChoiceField(
                    label=question["ask"], required=False, widget=forms.RadioSelect,
                    choices=[*options.items(), ("", _("not asked"))],
                )  # fmt: skip
            self.fields[name] = made
            self.asked.append(name)

    def answers(self):
        found = {name.removeprefix("ask_"): self.cleaned_data.get(name) for name in self.asked}
        return {code: answer for code, answer in found.items() if answer}


class ProposeForm(forms.Form):
    site = SiteField()
    kind = forms.ChoiceField(label=_("Kind"), choices=Visit.Kind.choices)
    why = forms.CharField(label=_("Why"), max_length=300, required=False)
    due_on = forms.DateField(label=_("Due on"), required=False, widget=Day())

    def __init__(self, *args, organisation, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["site"].organisation = organisation


class AssignForm(forms.Form):
    technician = forms.ModelChoiceField(label=_("Technician"), queryset=Person.objects.none())
    on = forms.DateField(label=_("Day"), widget=Day())
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, organisation, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["technician"].queryset = technicians(organisation)


class CancelForm(forms.Form):
    why = forms.CharField(label=_("Why is it called off?"), max_length=300)


class BaseForm(forms.ModelForm):
    class Meta:
        model = Base
        fields = ["name", "latitude_deg", "longitude_deg"]


class KmForm(forms.Form):
    km = forms.FloatField(label=_("Kilometres driven"), min_value=0, max_value=5000, required=False)
    notes = forms.CharField(label=_("Notes"), required=False, widget=forms.Textarea({"rows": 3}))
