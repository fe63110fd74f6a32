"""Words and shapes that only pages across rooms need."""

from django import template

from fleet.output import advice
from fleet.visits.cause_names import CAUSES

register = template.Library()

# How each kind of moment in a unit's life is drawn: icon, tone.
MOMENTS = {
    "test": ("clipboard-check", "plain"), "hung": ("arrow-down-to-line", "good"),
    "taken": ("arrow-up-from-line", "idle"),
    "hand": ("handshake", "plain"), "level": ("waves-horizontal", "plain"), "spot": ("gauge", "info"),
    "visit": ("wrench", "info"),
    "shortfall": ("trending-down", "bad"), "ended": ("circle-check-big", "good"), "slip": ("pencil-line", "unsure"),
    "call": ("phone", "watch"), "meter": ("timer", "plain"),
}  # fmt: skip


@register.filter
def cause_word(code):
    """The cause in words; a name that has no words yet is shown as it stands."""
    return CAUSES.get(code, str(code).replace("_", " "))


@register.filter
def named(causes, most):
    """The causes to name where there is room for so many."""
    return advice.named(causes, most)


@register.filter
def moment_icon(kind):
    return MOMENTS.get(kind, ("circle", "plain"))[0]


@register.filter
def moment_tone(kind):
    return MOMENTS.get(kind, ("circle", "plain"))[1]
