"""Form fields without a template a field: the same markup as Django's own widget templates, some ten times quicker.

A page with a filter has five lists to choose from, each option a template of its own; that took longer than its rows.
Widgets that are not named here go the usual way.
"""

from django.forms.renderers import DjangoTemplates
from django.utils.safestring import SafeString

from fleet.web.markup import text


def _attributes(attrs):
    return "".join(
        f" {name}" if value is True else f' {name}="{text(value)}"'
        for name, value in attrs.items()
        if value is not False
    )


def _option(option):
    return f'<option value="{text(option["value"])}"{_attributes(option["attrs"])}>{text(option["label"])}</option>'


def _select(widget):
    parts = [f'<select name="{text(widget["name"])}"{_attributes(widget["attrs"])}>']
    for group, options, _index in widget["optgroups"]:
        made = "\n  ".join(["", *map(_option, options)])
        parts.append(f'\n  <optgroup label="{text(group)}">{made}\n  </optgroup>' if group else made)
    return SafeString("".join(parts) + "\n</select>")


def _input(widget):
    value = "" if widget["value"] is None else f' value="{text(widget["value"])}"'
    return SafeString(
        f'<input type="{text(widget["type"])}" name="{text(widget["name"])}"{value}{_attributes(widget["attrs"])}>'
    )


QUICK = {
    "django/forms/widgets/select.html": _select,
    **{
        f"django/forms/widgets/{kind}.html": _input
        for kind in ("date", "email", "hidden", "number", "password", "search", "tel", "text", "time")
    },
}


class Renderer(DjangoTemplates):
    """Django's renderer, but for the commonest widgets."""

    def render(self, template_name, context, request=None):
        quick = QUICK.get(template_name)
        return quick(context["widget"]) if quick else super().render(template_name, context, request)
