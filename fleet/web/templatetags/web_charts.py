"""`{% load web_charts %}{% chart chart %}`: a drawing of `fleet.web.charts` with its figures as a table."""

import json

from django import template
from django.utils.safestring import mark_safe

from fleet.web.chart_inks import themed

register = template.Library()
# As Django's json_script does: nothing in the figures can end the script element.
_ESCAPES = {ord(">"): "\\u003E", ord("<"): "\\u003C", ord("&"): "\\u0026"}


@register.inclusion_tag("web/_chart.html", takes_context=True)
def chart(context, chart, first=None):
    """The scripts come with the page's first chart; `first` overrules that for parts loaded on their own."""
    request_marks = context.render_context
    if first is None:
        first = not getattr(request_marks, "charts_met", False)
    request_marks.charts_met = True
    text = json.dumps(themed(chart), separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    script = f'<script type="application/json">{text.translate(_ESCAPES)}</script>'
    size = "tall" if chart.height > 340 else "usual" if chart.height > 160 else "low"
    return {"chart": chart, "json": mark_safe(script), "first": first, "size": size}  # noqa: S308 - escaped above
