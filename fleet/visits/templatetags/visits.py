"""`{% load visits %}`: a visit's state, a verdict, a cause, in word and shape."""

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.visits import services
from fleet.visits.cause_names import CAUSES
from fleet.web.templatetags.web import badge

register = template.Library()

TONES = {
    "proposed": "plain", "assigned": "info", "under_way": "watch", "logged": "watch", "closed": "good",
    "cancelled": "idle",
}  # fmt: skip
VERDICTS = {
    "as_expected": (gettext_lazy("as expected"), "good"),
    "above": (gettext_lazy("above what is expected"), "good"),
    "below": (gettext_lazy("below what is expected"), "bad"),
    "cannot_tell": (gettext_lazy("cannot tell"), "unsure"),
}


@register.simple_tag
def visit_state(visit, today=None):
    """{% visit_state visit today %}: the state; overdue ones say so."""
    if today and visit.due_on and visit.due_on < today and visit.state in {"proposed", "assigned"}:
        return badge(_("%(state)s, overdue") % {"state": visit.get_state_display()}, "bad")
    return badge(visit.get_state_display(), TONES[visit.state])


@register.simple_tag
def verdict(answer):
    """{% verdict answer %} of a spot test."""
    word, tone = VERDICTS.get((answer or {}).get("verdict"), VERDICTS["cannot_tell"])
    return badge(word, tone)


@register.filter
def cause(name):
    return CAUSES.get(name, name)


@register.filter
def get(mapping, key):
    return (mapping or {}).get(key)


@register.simple_tag(takes_context=True)
def recorded(context, value, capture):
    """{% recorded value capture %}: what was recorded, in short words, in the units that the reader likes."""
    person = context.get("user")
    options = {option["code"]: option["label"] for option in capture.get("options", [])}
    if isinstance(value, str) and value in options:
        return _(options[value])
    return services.in_words(value, capture.get("unit", ""), person)


@register.simple_tag(takes_context=True)
def spot_readings(context, value):
    """{% spot_readings value as rows %}: (label, words) of each reading of a recorded spot test."""
    return services.spot_in_words(value, context.get("user"))
