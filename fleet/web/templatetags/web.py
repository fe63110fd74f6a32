"""Parts that pages are made of. `{% load web %}`; each docstring shows its use, templates/web/README.md all of them."""

import functools
from urllib.parse import urlencode

import lucide
from django import forms, template
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from fleet.web import navigation, quantities
from fleet.web.markup import markup

register = template.Library()

# State is told by word and shape as well as colour. A shape is drawn in a box of 16 by 16.
TONES = {
    "good": '<circle cx="8" cy="8" r="6.5"/><path class="cut" d="M4.8 8.3l2.2 2.3 4.3-4.9"/>',
    "watch": '<path d="M8 1.2 15.4 14.4H.6z"/><path class="cut" d="M8 6v4.2M8 12v.6"/>',
    "bad": '<path d="M5 1h6l4 4v6l-4 4H5l-4-4V5z"/><path class="cut" d="M8 4.2v4.8M8 11v.8"/>',
    "danger": '<path d="M9.4.8 2.6 9h4.2l-1 6.2L13.4 6.6H9z"/>',
    "unsure": '<path class="line" d="M8 1.4 14.6 8 8 14.6 1.4 8z"/>',
    "idle": '<rect class="line" x="2" y="2" width="12" height="12" rx="1.5"/>',
    "plain": '<circle class="line" cx="8" cy="8" r="6"/>',
    "info": '<circle cx="8" cy="8" r="6.5"/><path class="cut" d="M8 7.2v4.2M8 4.4v.6"/>',
}


@functools.lru_cache(maxsize=512)
def _icon(name, size, css):
    drawn = lucide._render_icon(name, size, class_=css, aria_hidden="true", focusable="false")
    return mark_safe(drawn)  # noqa: S308 - the library's own drawing, its attributes escaped by it


@register.simple_tag
def icon(name, size=20, css="icon"):
    """{% icon "droplet" %}: decoration, silent to screen readers; the words beside it say what it means."""
    return _icon(str(name), int(size), str(css))


@register.simple_tag
@functools.cache
def shape(tone):
    """{% shape "watch" %}: the shape of a state alone, where the word stands elsewhere."""
    if tone not in TONES:
        return shape("plain")
    return mark_safe(  # noqa: S308 - from the table above
        f'<svg class="shape" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" focusable="false">'
        f"{TONES[tone]}</svg>"
    )


@register.simple_tag
def badge(word, tone="plain"):
    """{% badge word "good" %}: a state by word, shape and colour.

    Tones: good, watch, bad, danger, unsure (cannot tell), idle (not at work, no fault), plain, info.
    """
    tone = tone if tone in TONES else "plain"
    return markup('<span class="badge badge-{}">{}{}</span>', tone, shape(tone), word)


@register.simple_block_tag
def notice(content, tone="info", title=""):
    """{% notice "watch" title=_("Mind the cable") %}…{% endnotice %}: info, good, watch, bad, danger."""
    tone = tone if tone in TONES else "info"
    head = format_html('<p class="notice-title">{}</p>', title) if title else ""
    return format_html(
        '<div class="notice notice-{}">{}<div>{}{}</div></div>', tone, shape(tone), head, _safe(content)
    )


@register.simple_block_tag
def caution(content, kind=""):
    """{% caution "DC" %}…{% endcaution %}: where a step can hurt someone. `kind` is the hazard's short word."""
    return format_html(
        '<div class="caution" role="note"><p class="caution-title">{}<strong>{}</strong>{}</p><div>{}</div></div>',
        shape("danger"), _("Caution"), format_html(" <span class='caution-kind'>{}</span>", kind) if kind else "",
        _safe(content),
    )  # fmt: skip


@register.simple_block_tag
def empty(content, title="", icon="inbox"):
    """{% empty title=_("No sites yet") icon="map-pin" %}what to do next{% endempty %}"""
    return format_html(
        '<div class="empty">{}<p class="empty-title">{}</p><div>{}</div></div>', _icon(icon, 40, "icon"), title,
        _safe(content),
    )  # fmt: skip


def _safe(content):
    return content if isinstance(content, SafeString) else mark_safe(content)  # noqa: S308 - already rendered


@register.simple_tag
def tile(label, value, unit="", note="", tone=""):
    """{% tile _("Water delivered") "1 240" "m³" note=_("of 1 380") tone="watch" %}, inside <dl class="tiles">."""
    return markup(
        '<div class="tile{}"><dt>{}</dt><dd class="tile-value">{} <span class="unit">{}</span></dd>{}</div>',
        f" tile-{tone}" if tone else "", label, value, unit,
        markup('<dd class="tile-note">{}</dd>', note) if note else "",
    )  # fmt: skip


@register.simple_tag
def progress(value, most=100, label=""):
    """{% progress job.done job.total label=_("Rows read") %}; `most` 0 or None shows a bar without an end."""
    label = label or _("Progress")
    if not most:
        return format_html('<label class="progress"><span>{}</span><progress></progress></label>', label)
    return format_html(
        '<label class="progress"><span>{}</span><progress value="{}" max="{}"></progress><output>{} %</output></label>',
        label, value, most, f"{100 * float(value) / float(most):.0f}",
    )  # fmt: skip


@register.simple_tag
def odds(share, label=""):
    """{% odds 0.62 label=cause.name %}: a bar with its figure; `share` from 0 to 1, None for not known."""
    if share is None:
        return format_html('<span class="odds">{}</span>', _("not known"))
    share = min(max(float(share), 0.0), 1.0)
    percent = quantities.chance(share)
    return markup(
        '<span class="odds"><svg width="96" height="12" viewBox="0 0 96 12" aria-hidden="true" focusable="false">'
        '<rect class="odds-all" width="96" height="12" rx="3"/><rect class="odds-part" width="{}" height="12" rx="3"/>'
        "</svg><span>{}{}</span></span>",
        f"{share * 96:.1f}", markup('<span class="unseen">{}: </span>', label) if label else "", percent,
    )  # fmt: skip


@register.simple_tag
def spark(values, label="", low=None, high=None):
    """{% spark row.shares label=_("Share of expected, 30 days") low=0 high=1.2 %}: gaps where a value is None."""
    known = [float(v) for v in values if v is not None]
    if not known:
        return format_html('<span class="spark-none">{}</span>', _("no readings"))
    low = min(known) if low is None else float(low)
    high = max(known) if high is None else float(high)
    span, step = (high - low) or 1.0, 100 / max(len(values) - 1, 1)
    pen, moves = "M", []
    for i, value in enumerate(values):
        if value is None:
            pen = "M"
            continue
        y = 26 - 24 * (min(max(float(value), low), high) - low) / span
        moves.append(f"{pen}{i * step:.1f} {y:.1f}")
        pen = "L"
    return format_html(
        '<svg class="spark" viewBox="-2 0 104 28" width="104" height="28" role="img" aria-label="{}">'
        '<path d="{}"/></svg>',
        label or _("course of the values"), " ".join(moves),
    )  # fmt: skip


@register.simple_tag(takes_context=True)
def kept_menu(context, template):
    """{% kept_menu "web/_menu.html" %}: as `include`, for a part that shows the menu and nothing else."""
    part = context.template.engine.get_template(template)
    return navigation.kept(template, context["menu"]["all"], lambda: part.render(context))


@register.simple_tag(takes_context=True)
def once(context, template):
    """{% once "web/_menu.html" %}: as `include`, but a part that stands twice on the page is made once."""
    made = context.get("made_once", {})
    if template not in made:
        made[template] = context.template.engine.get_template(template).render(context)
    return made[template]


@register.simple_tag(takes_context=True)
def listing(context, table):
    """{% listing table %}: a table of `fleet.web.lists`, inside <div class="table-wrap">."""
    heads = []
    for column in table.columns:
        words = _sort_link(context, column.order, column.title) if column.order else column.title
        css = markup(' class="{}"', column.css) if column.css else ""
        heads.append(markup('<th scope="col"{}>{}</th>', css, words))
    head = mark_safe("".join(heads))  # noqa: S308 - markup already
    return markup(
        '<table class="table cards"><thead><tr>{}</tr></thead><tbody>\n{}</tbody></table>', head, table.body
    )


def _sort_link(context, name, title):
    request = context.get("request")
    asked = dict(request.GET.lists()) if request else {}
    chosen = context.get("order_name") or asked.get("sort", [""])[-1]
    asked = {key: values for key, values in asked.items() if key not in ("after", "before")} | {"sort": name}
    address = f"?{urlencode(asked, doseq=True)}"
    if name != chosen:
        return markup('<a class="sort" href="{}">{}</a>', address, title)
    return markup(
        '<a class="sort" href="{}" aria-current="true">{}{}<span class="unseen">{}</span></a>', address, title,
        _icon("arrow-down-narrow-wide", 16, "icon"), _("(ordered by this)"),
    )  # fmt: skip


@register.inclusion_tag("web/_pager.html", takes_context=True)
def pager(context, page):
    """{% pager page %}: previous and next of a page by key; nothing where there is only one."""
    return {"page": page, "request": context.get("request")}


@register.inclusion_tag("web/_filters.html", takes_context=True)
def filters(context, form):
    """{% filters form %}: a form read from the address; on the phone it folds away while nothing is chosen."""
    form.auto_id = "choose_%s"  # the page's other form may have fields of the same names
    chosen = [f for f in form if not f.is_hidden and f.value() not in (None, "", [], False)]
    return {"form": form, "chosen": chosen, "request": context.get("request")}


@register.inclusion_tag("web/_exports.html", takes_context=True)
def exports(context, formats="csv xlsx"):
    """{% exports "csv xlsx geojson" %}: the same list, as filtered, to take away."""
    return {"formats": formats.split(), "request": context.get("request")}


@register.simple_tag(takes_context=True)
def sort(context, name, title):
    """<th scope="col">{% sort "lost" _("Lost water") %}</th>: a head that orders the list; see paging.chosen_order."""
    return _sort_link(context, name, title)


@register.simple_tag
def field(bound, hint="", unit=""):
    """{% field form.depth unit="m" %}: label, hint, faults and input of one form field."""
    widget = bound.field.widget
    described = []
    if hint or bound.help_text:
        described.append(f"{bound.id_for_label}_hint")
    if bound.errors:
        described.append(f"{bound.id_for_label}_error")
    extra = {"aria-describedby": " ".join(described)} if described else {}
    if bound.errors:
        extra["aria-invalid"] = "true"
    if not isinstance(widget, forms.CheckboxInput | forms.RadioSelect | forms.CheckboxSelectMultiple):
        extra["class"] = f"{widget.attrs.get('class', '')} input".strip()
    single = isinstance(widget, forms.CheckboxInput)
    many = isinstance(widget, forms.RadioSelect | forms.CheckboxSelectMultiple) and not single
    control = bound.as_widget(attrs=extra)
    hint, unit = hint or bound.help_text, unit or getattr(bound.field, "unit", "")
    optional = not bound.field.required and not single
    if not (single or many or hint or unit or bound.errors):  # as in a filter: the same markup, without a template
        return markup(
            '<div class="field">\n  <label for="{}">{}{}</label>\n  {}\n</div>', bound.id_for_label, bound.label,
            markup(' <span class="optional">{}</span>', _("optional")) if optional else "", control,
        )  # fmt: skip
    return render_to_string(
        "web/_field.html",
        {
            "bound": bound, "control": control, "hint": hint, "unit": unit, "single": single, "many": many,
            "in_a_row": many and _fits_a_row(bound.field.choices), "optional": optional,
        },
    )  # fmt: skip


def _fits_a_row(choices):
    """A few short words stand side by side; a column of yes and no makes a form long for nothing."""
    words = [str(label) for _value, label in choices]
    return len(words) <= 5 and max(map(len, words), default=0) <= 16


@register.inclusion_tag("web/_fields.html")
def fields(form, *names):
    """{% fields form %} for all of a form's fields in order, {% fields form "code" "name" %} for some."""
    return {"form": form, "chosen": [form[n] for n in names] if names else form.visible_fields()}


@register.inclusion_tag("web/_form_errors.html")
def form_errors(form):
    """{% form_errors form %}: what stands in the way, each with a way to its field; put it above the form."""
    return {"form": form, "faulty": [f for f in form if f.errors]}


@register.filter
def yes_no(value):
    """{{ site.fenced|yes_no }}: yes, no, or not known."""
    if value is None:
        return pgettext("state", "not known")
    return _("yes") if value else _("no")
