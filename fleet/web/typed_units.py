"""Figures typed and shown in the unit that the person likes; what is kept stays metres and litres a minute.

A text beside a shown unit is told on with that unit behind it ("60.4 ft"), which every reader of readings understands;
a form of the register reads lengths itself (`lengths_as_liked`). A figure that nobody touched is never turned twice:
it comes back as exactly what was kept.
"""

import math

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from fleet.web.quantities import FOOT_M

DECIMALS = {"ft": 2, "m³/h": 3}


def liked(unit, person):
    """(the unit shown to this person, how much of the house's unit one of it is)."""
    if unit == "m" and getattr(person, "length_unit", "m") == "ft":
        return "ft", FOOT_M
    if unit == "L/min" and getattr(person, "flow_unit", "l_min") == "m3_h":
        return "m³/h", 1 / 0.06
    return unit, 1.0


def _figure(value, unit):
    return f"{round(value, DECIMALS.get(unit, 6)):.10g}"


def shown(value, unit, person):
    """What stands in a field for a kept number, or for a text that was typed there and came back."""
    other, size = liked(unit, person)
    if isinstance(value, str):
        return value.removesuffix(f" {other}") if other != unit else value
    return _figure(value / size, other)


def typed(text, unit, person, kept=None):
    """What a text that was typed beside the shown unit says: itself with the unit behind it, if it is not the house's.

    `kept`: the number that was shown; where the text still says the same it is meant.
    """
    other, _size = liked(unit, person)
    if not text or other == unit:
        return text
    if isinstance(kept, int | float) and text == shown(kept, unit, person):
        return kept
    return f"{text} {other}"


class InFeet(forms.FloatField):
    """A length kept in metres, typed and shown in feet. Its limits are metres too; a refusal names feet."""

    def __init__(self, *, kept=None, low=None, high=None, **kwargs):
        self.kept, self.low, self.high = kept, low, high
        super().__init__(**kwargs)

    def prepare_value(self, value):
        return _figure(value / FOOT_M, "ft") if isinstance(value, int | float) else value

    def clean(self, value):
        if self.kept is not None and str(value or "").strip() == self.prepare_value(self.kept):
            return self.kept
        feet = super().clean(value.replace(",", ".") if isinstance(value, str) else value)
        if feet is None:
            return None
        metres = feet * FOOT_M
        if (self.low is not None and metres < self.low) or (self.high is not None and metres > self.high):
            low, high = (None if end is None else self.prepare_value(float(end)) for end in (self.low, self.high))
            if high is None:
                raise forms.ValidationError(_("Give %(low)s ft or more."), params={"low": low})
            if low is None:
                raise forms.ValidationError(_("Give %(high)s ft or less."), params={"high": high})
            raise forms.ValidationError(_("Give %(low)s to %(high)s ft."), params={"low": low, "high": high})
        return metres

    def has_changed(self, initial, data):
        try:
            metres = self.clean(data)
        except forms.ValidationError:
            return True
        return not (metres == initial or (metres and initial and math.isclose(metres, initial)))


def _limits(form, name, field):
    """(lowest, highest) of a field, from itself and from its model's column."""
    model = getattr(getattr(form, "_meta", None), "model", None)
    checks = list(field.validators) + (list(model._meta.get_field(name).validators) if model else [])

    def ends(kind):
        return [check.limit_value for check in checks if isinstance(check, kind)]

    return max(ends(MinValueValidator), default=None), min(ends(MaxValueValidator), default=None)


def lengths_as_liked(form, person):
    """Make a form's lengths ("…_m", labelled "…, m") fields in feet where the person likes feet."""
    if liked("m", person)[0] == "m":
        return
    for name, field in form.fields.items():
        label = str(field.label or "")
        if type(field) is not forms.FloatField or not name.endswith("_m") or not label.endswith(", m"):
            continue
        low, high = _limits(form, name, field)
        kept = form.get_initial_for_field(field, name)
        form.fields[name] = InFeet(
            label=f"{label[:-1]}ft", required=field.required, help_text=field.help_text, low=low, high=high,
            kept=kept if isinstance(kept, int | float) else None, initial=field.initial,
            widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        )  # fmt: skip
