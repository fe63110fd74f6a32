"""`{% load trail %}`: {% history site %} tells who changed what of a row, {% changes page.rows %} of many rows."""

from django import template

from fleet.trail import reader

register = template.Library()


@register.inclusion_tag("trail/_history.html")
def history(row, zone=None):
    """The row's history in words, folded; `zone` is the site or zone whose clock is shown."""
    return {"entries": reader.history(row), "most": reader.MOST, "zone": zone, "of_one": True}


@register.inclusion_tag("trail/_entries.html")
def changes(found, zone=None):
    return {"entries": reader.in_words(found), "zone": zone, "of_one": False}
