"""`{% load quantities %}`: figures with their unit, as the signed-in person likes to read them.

    {% flow 14.2 %}  {% metres well.depth_m %}  {% in_unit value "L/min" %}
    {{ volume_l|litres }}  {{ share|percent }}  {{ 1234.5|figure:1 }}
    {% when visit.done_at site %}  {% when reading.at site "day" %}  {{ job.started_at|ago }}
"""

from django import template

from fleet.web import quantities as q

register = template.Library()


def _person(context):
    person = context.get("user")
    return person if getattr(person, "is_authenticated", False) else None


@register.simple_tag(takes_context=True)
def flow(context, value_l_min, decimals=None):
    return q.flow(value_l_min, _person(context), decimals)


@register.simple_tag(takes_context=True)
def flow_m3_h(context, value_m3_h):
    return q.flow_m3_h(value_m3_h, _person(context))


@register.simple_tag(takes_context=True)
def specific_capacity(context, value_m3_h_m):
    return q.specific_capacity(value_m3_h_m, _person(context))


@register.simple_tag(takes_context=True)
def metres(context, value_m, decimals=1):
    return q.metres(value_m, _person(context), decimals)


@register.simple_tag(takes_context=True)
def in_unit(context, value, unit):
    return q.in_unit(value, unit, _person(context))


@register.filter
def litres(value_l, decimals=0):
    return q.litres(value_l, decimals)


@register.simple_tag(name="litres")
def litres_tag(value_l, decimals=0):
    return q.litres(value_l, decimals)


@register.filter
def percent(share, decimals=0):
    return q.percent(share, decimals)


@register.filter
def chance(share):
    return q.chance(share)


@register.filter
def figure(value, decimals=0):
    return q.number(value, decimals)


@register.filter
def ago(at):
    return q.age(at) if at else q.NONE


@register.filter
def drive(minutes):
    return q.drive(minutes)


@register.simple_tag
def when(at, place=None, show="time"):
    """A moment in the site's own time. `place` is a site or a zone's name; `show` "day" leaves the hour out."""
    return q.when(at, place, with_time=show != "day")
