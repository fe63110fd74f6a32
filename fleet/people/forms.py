"""What people type about themselves and about colleagues."""

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _

from fleet.people.models import Organisation, Person

LANGUAGES = [("", _("as the browser asks")), *settings.LANGUAGES]


class LogInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": _("Name and password do not fit together. Mind capital letters, and try again."),
        "inactive": _("This account is closed. Ask an administrator."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Log-in name")
        self.fields["username"].widget.attrs |= {"autocomplete": "username", "autocapitalize": "none"}
        self.fields["password"].label = _("Password")


class OwnForm(forms.ModelForm):
    language = forms.ChoiceField(label=_("Language"), choices=LANGUAGES, required=False)

    class Meta:
        model = Person
        fields = ["first_name", "last_name", "phone", "email", "language", "flow_unit", "length_unit", "theme"]
        widgets = {"flow_unit": forms.RadioSelect, "length_unit": forms.RadioSelect, "theme": forms.RadioSelect}

    def _post_clean(self):
        """The service changes and checks the row; the form only reads."""


class OwnPasswordForm(forms.Form):
    old = forms.CharField(
        label=_("Present password"), strip=False, widget=forms.PasswordInput({"autocomplete": "current-password"})
    )
    new = forms.CharField(
        label=_("New password"), strip=False, widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text=_("Ten characters or more; several plain words do well."),
    )  # fmt: skip
    again = forms.CharField(
        label=_("New password again"), strip=False, widget=forms.PasswordInput({"autocomplete": "new-password"})
    )

    def clean(self):
        if self.cleaned_data.get("new") != self.cleaned_data.get("again"):
            self.add_error("again", _("The two new passwords differ."))
        return self.cleaned_data


class TokenForm(forms.Form):
    name = forms.CharField(
        label=_("What is it for?"), max_length=80, help_text=_("For example: the logger gateway at the base.")
    )


class PersonForm(forms.Form):
    username = forms.CharField(
        label=_("Log-in name"), max_length=150, help_text=_("Letters, digits and . _ - ; it cannot be changed later."),
        widget=forms.TextInput({"autocapitalize": "none", "autocomplete": "off"}),
    )  # fmt: skip
    first_name = forms.CharField(label=_("First name"), max_length=150)
    last_name = forms.CharField(label=_("Last name"), max_length=150, required=False)
    role = forms.ChoiceField(label=_("Role"), choices=Person.Role.choices, widget=forms.RadioSelect)
    phone = forms.CharField(label=_("Telephone"), max_length=20, required=False)
    email = forms.EmailField(label=_("E-mail"), required=False)
    language = forms.ChoiceField(label=_("Language"), choices=LANGUAGES, required=False)


class ChangePersonForm(PersonForm):
    username = None
    is_active = forms.BooleanField(
        label=_("The account is open"), required=False,
        help_text=_("Closing it ends the person's log-in and revokes their tokens; what they did stays on record."),
    )  # fmt: skip


class OrganisationForm(forms.ModelForm):
    class Meta:
        model = Organisation
        fields = ["name", "country", "need_l_person_day"]
        help_texts = {
            "country": _("Two letters, ISO 3166-1: KE, ML, IN."),
            "need_l_person_day": _("Used where a site has no daily need of its own."),
        }

    def _post_clean(self):
        """The service changes and checks the row; the form only reads."""


class FindPersonForm(forms.Form):
    q = forms.CharField(label=_("Name"), required=False)
    role = forms.ChoiceField(label=_("Role"), choices=[("", _("any")), *Person.Role.choices], required=False)
