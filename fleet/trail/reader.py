"""Reads the trail: a row's history in words, and a row as it was at a moment."""

from dataclasses import dataclass
from itertools import chain

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from fleet.trail.models import Change

MOST = 50  # changes shown under a page; the rest is a matter for the trail's own list
EMPTY = "–"


@dataclass(frozen=True)
class Line:
    """One column's change in words."""

    name: str
    was: str
    now: str


@dataclass(frozen=True)
class Entry:
    """One change in words: `what` names the row's kind, `lines` its columns; who is empty for the house itself."""

    at: object
    kind: str
    word: str
    what: str
    row_id: str
    who: str
    via: str
    lines: list


def as_of(row, moment):
    """The row's columns as they stood at `moment`: {column: JSON value}, or None if it was not there then.

    Walks back from what stands now (or stood when it was removed), undoing each later change. `row` may be removed
    already, as long as it still knows its id. Columns that the trail does not see keep their present value; the
    moment is that of a transaction's start, as the trail keeps it.
    """
    return row_as_of(row._meta.model, row.pk, moment)


def row_as_of(model, row_id, moment):
    changes = list(Change.objects.of_row(model._meta.db_table, row_id))
    now = _present(model, row_id)
    state = now
    for change in changes:  # newest first
        if change.at <= moment:
            break
        if change.kind == Change.Kind.REMOVED:
            state = dict(change.before)
        elif change.kind == Change.Kind.ADDED:
            state = None
        elif state is not None:
            state = state | change.before
    return state


def _present(model, row_id):
    """What stands now, in the trail's own form, so that old and new values compare."""
    from django.db import connection

    quoted = connection.ops.quote_name(model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT to_jsonb(t) FROM {quoted} t WHERE id = %s", [row_id])  # noqa: S608 - our own table's name
        found = cursor.fetchone()
    if found is None:
        return None
    import json

    return found[0] if isinstance(found[0], dict) else json.loads(found[0])


def _model_of(table):
    return next((m for m in apps.get_models() if m._meta.db_table == table), None)


def _field_of(model, column):
    if model is None:
        return None
    for field in model._meta.concrete_fields:
        if field.column == column:
            return field
    try:
        return model._meta.get_field(column)
    except FieldDoesNotExist:
        return None


def history(row, most=MOST):
    """The row's changes in words, the newest first."""
    return in_words(Change.objects.of(row).select_related("person")[:most])


def lines(changes, at_once=500):
    """A row of words for each changed column of `changes`, a queryset: {at, who, via, what, row_id, word, name, was,
    now}. Read in stretches, so that a long list can be written to a file while it is read."""
    stretch = []
    for change in chain(changes.iterator(chunk_size=at_once), [None]):
        if change is not None:
            stretch.append(change)
        if stretch and (change is None or len(stretch) == at_once):
            for entry in in_words(stretch):
                about = {name: getattr(entry, name) for name in ("at", "who", "via", "what", "row_id", "word")}
                for line in entry.lines or [Line("", "", "")]:
                    yield about | {"name": line.name, "was": line.was, "now": line.now}
            stretch = []


def in_words(changes):
    """Changes as entries. Rows that a key points to are looked up once per kind of row."""
    changes = list(changes)
    names = _names_of_keys(changes)
    return [_entry(change, names) for change in changes]


def _names_of_keys(changes):
    wanted = {}
    for change in changes:
        model = _model_of(change.table)
        for part in (change.before or {}, change.after or {}):
            for column, value in part.items():
                field = _field_of(model, column)
                if field is not None and field.remote_field and value is not None:
                    wanted.setdefault(field.related_model, set()).add(value)
    names = {}
    for model, ids in wanted.items():
        # Names of people and types only: a name that itself needs other rows would cost a query each.
        related = [f.name for f in model._meta.concrete_fields if f.remote_field]
        for row in model._base_manager.filter(pk__in=ids).select_related(*related):
            names[model, row.pk] = str(row)
    return names


def _entry(change, names):
    model = _model_of(change.table)
    before, after = change.before or {}, change.after or {}
    lines = []
    for column in sorted(before.keys() | after.keys()):
        field = _field_of(model, column)
        if column == "id" or (change.kind != Change.Kind.CHANGED and _bare(before, after, column)):
            continue
        title = str(field.verbose_name) if field is not None else column.replace("_", " ")
        lines.append(
            Line(title, _value(field, before.get(column), names), _value(field, after.get(column), names))
        )
    return Entry(
        at=change.at,
        kind=change.kind,
        word={"I": _("added"), "U": _("changed"), "D": _("removed")}.get(change.kind, change.kind),
        what=str(model._meta.verbose_name) if model is not None else change.table,
        row_id=change.row_id,
        who=str(change.person) if change.person_id and change.person else "",
        via=change.via,
        lines=lines,
    )


def _bare(before, after, column):
    """Nothing stood and nothing stands: not worth a line."""
    return before.get(column) in (None, "", [], {}) and after.get(column) in (None, "", [], {})


def _value(field, value, names):
    if value is None or value == "":
        return EMPTY
    if field is not None and field.remote_field:
        return names.get((field.related_model, value), f"#{value}")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if field is not None and field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, str) and field is not None and field.get_internal_type() == "DateTimeField":
        moment = parse_datetime(value)
        return f"{moment:%Y-%m-%d %H:%M} UTC" if moment else value
    if isinstance(value, float):
        return f"{value:g}"
    text = str(value)
    return text if len(text) <= 200 else text[:199] + "…"
