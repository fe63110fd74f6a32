"""What the person who reads a page may do, so that no page offers what the next would refuse."""

from django import template

from fleet.people import access

register = template.Library()


@register.filter
def may(person, deed):
    """{% if user|may:"log" %}: whether the person's role covers the deed."""
    return access.may(person, deed)
