"""`{% load output %}`: a shortfall's state, causes and verdicts in word and shape."""

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.output import advice, pictures, skies
from fleet.web import quantities
from fleet.web.templatetags.web import badge

register = template.Library()

TONES = {"open": "bad", "noted": "info", "closed": "good"}
VERDICTS = {
    "as_expected": (gettext_lazy("as expected"), gettext_lazy("As it should be"), "good"),
    "above": (gettext_lazy("above what is possible"), gettext_lazy("More than this unit can give"), "watch"),
    "below": (gettext_lazy("below what is expected"), gettext_lazy("Less than it should be"), "bad"),
    "cannot_tell": (gettext_lazy("cannot tell"), gettext_lazy("Cannot tell"), "unsure"),
}


@register.simple_tag
def shortfall_state(shortfall):
    """{% shortfall_state shortfall %}: open, noted or closed, danger said first."""
    if shortfall.danger and shortfall.state == "open":
        return badge(_("open, caution"), "danger")
    return badge(shortfall.get_state_display(), TONES[shortfall.state])


@register.filter
def cause_word(cause):
    return advice.word(cause)


@register.simple_tag
def spot_verdict(answer):
    word, _sentence, tone = VERDICTS[answer["verdict"]]
    return badge(word, tone)


@register.simple_tag
def verdict_words(answer):
    return VERDICTS[answer["verdict"]][1]


@register.simple_tag(takes_context=True)
def spot_fall(context, answer):
    """{% spot_fall answer as chart %}: where the water of a spot test is lost; None where nothing can be said."""
    return pictures.spot_waterfall(answer or {}, context.get("user"))


@register.filter
def sun_word(code):
    return skies.word(code)


@register.filter
def step_value(value):
    """A number with four figures at most, or the word it is."""
    if isinstance(value, str):
        return value
    if value is None or value != value:
        return quantities.NONE
    if value in (float("inf"), float("-inf")):
        return _("no limit")
    return f"{value:.4g}" if abs(value) < 1e5 else quantities.number(value, 0)


@register.simple_tag
def days_or_dash(days):
    return quantities.NONE if days is None else quantities.number(days)
