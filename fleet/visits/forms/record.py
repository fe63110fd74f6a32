"""What is typed at the end of a visit: findings, parts, departure, closing; procedures and rules."""

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.registry.querysets import like
from fleet.visits.codes import ACTIONS, CAUSES, DETECTIONS, FAILURE_MODES, ITEMS, MECHANISMS, OUTCOMES
from fleet.visits.forms.planning import Day
from fleet.visits.models import InspectionRule, PartType

CHOOSE = [("", "—")]


class FindingForm(forms.Form):
    failure_mode = forms.ChoiceField(label=_("How does it show?"), choices=[*CHOOSE, *FAILURE_MODES.items()])
    item = forms.ChoiceField(label=_("Where?"), choices=[*CHOOSE, *ITEMS.items()], required=False)
    mechanism = forms.ChoiceField(
        label=_("What happened inside?"), choices=[*CHOOSE, *MECHANISMS.items()], required=False
    )
    cause = forms.ChoiceField(label=_("Why?"), choices=[*CHOOSE, *CAUSES.items()])
    detection = forms.ChoiceField(label=_("How was it found?"), choices=[*CHOOSE, *DETECTIONS.items()], required=False)
    action = forms.ChoiceField(label=_("What was done?"), choices=[*CHOOSE, *ACTIONS.items()])
    confirmed = forms.BooleanField(label=_("Shown by a reading, not guessed"), required=False, initial=True)
    warranty = forms.BooleanField(label=_("Claim under warranty"), required=False)
    words = forms.CharField(label=_("In words"), required=False, widget=forms.Textarea({"rows": 3}))


class FindingFilter(forms.Form):
    cause = forms.ChoiceField(label=_("Why"), choices=[("", _("all")), *CAUSES.items()], required=False)
    item = forms.ChoiceField(label=_("Where"), choices=[("", _("all")), *ITEMS.items()], required=False)
    warranty = forms.BooleanField(label=_("Claims under warranty only"), required=False)
    q = forms.CharField(label=_("Site or village"), required=False)

    def narrowed(self, findings):
        if not self.is_valid():
            return findings
        chosen = self.cleaned_data
        for name in ("cause", "item"):
            if chosen[name]:
                findings = findings.filter(**{name: chosen[name]})
        if chosen["warranty"]:
            findings = findings.filter(warranty=True)
        if chosen["q"]:
            findings = findings.filter(like(chosen["q"], "visit__site__"))
        return findings


class TakeBackForm(forms.Form):
    why = forms.CharField(label=_("Why is it taken back?"), max_length=300)


class PartForm(forms.Form):
    part_type = forms.ModelChoiceField(label=_("Part"), queryset=PartType.objects.none())
    quantity = forms.IntegerField(label=_("How many"), min_value=1, max_value=1000, initial=1)
    serial_out = forms.CharField(label=_("Serial out"), max_length=40, required=False)
    serial_in = forms.CharField(label=_("Serial in"), max_length=40, required=False)
    was_aboard = forms.BooleanField(label=_("It was in the car"), required=False, initial=True)

    def __init__(self, *args, organisation, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["part_type"].queryset = PartType.objects.filter(organisation=organisation)


class LeaveForm(forms.Form):
    time = forms.TimeField(label=_("Left at"), required=False, widget=forms.TimeInput({"type": "time"}, format="%H:%M"))
    km = forms.FloatField(label=_("Kilometres of this visit"), min_value=0, max_value=5000, required=False)
    caretaker_words = forms.CharField(
        label=_("Caretaker's words"), required=False, widget=forms.Textarea({"rows": 2})
    )
    not_done = forms.CharField(
        label=_("What was not done, and why"), required=False, widget=forms.Textarea({"rows": 2})
    )


class CloseForm(forms.Form):
    SHORTFALL = [
        ("closes", _("it is mended: close it")),
        ("explains", _("it is explained: close it with a word")),
        ("keeps", _("it still stands")),
    ]

    outcome = forms.ChoiceField(label=_("What came of the visit?"), choices=[*CHOOSE, *OUTCOMES.items()])
    shortfall = forms.ChoiceField(
        label=_("The shortfall that caused it"), choices=SHORTFALL, widget=forms.RadioSelect, required=False
    )
    explained = forms.CharField(label=_("In a few words: what was it?"), max_length=300, required=False)
    not_done = forms.CharField(
        label=_("What was not done, or is missing, and why"), required=False, widget=forms.Textarea({"rows": 2})
    )
    next_on = forms.DateField(
        label=_("Next inspection, if not by the rules"), required=False, widget=Day()
    )

    def __init__(self, *args, visit, **kwargs):
        super().__init__(*args, **kwargs)
        if visit.shortfall is None or visit.shortfall.state == "closed":
            del self.fields["shortfall"], self.fields["explained"]
        if visit.kind in {"inspection", "repair", "commissioning"}:
            for code in ("fits", "moved", "retired"):
                self.fields["outcome"].choices = [c for c in self.fields["outcome"].choices if c[0] != code]


class ProcedureForm(forms.Form):
    title = forms.CharField(label=_("Title"), max_length=120)
    whole = forms.JSONField(
        label=_("The whole procedure as data"), required=False,
        widget=forms.Textarea({"rows": 12, "spellcheck": "false"}),
        help_text=_("For those who know the form: replaces everything above when filled in."),
    )  # fmt: skip


class RuleForm(forms.ModelForm):
    class Meta:
        model = InspectionRule
        fields = ["name", "basis", "amount", "active"]

    def _post_clean(self):
        """The service changes and checks the row; the form only reads."""


