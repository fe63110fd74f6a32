"""New rows by COPY: several times as fast as INSERT through the mapper, and triggers and constraints hold as ever."""

import json

from django.db import connection
from django.db.models import BooleanField, FloatField, ForeignKey, IntegerField, JSONField, TextField

ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


def _words(value):
    return value.translate(ESCAPES)


def _yes_no(value):
    return "t" if value else "f"


def _json(value):
    return json.dumps(value).translate(ESCAPES)


def _range(value):
    lower = value.lower.isoformat() if value.lower is not None else ""
    upper = value.upper.isoformat() if value.upper is not None else ""
    return f"[{lower},{upper})"


def _writer(field):
    if isinstance(field, JSONField):
        return _json
    if isinstance(field, BooleanField):
        return _yes_no
    if field.get_internal_type() == "DateTimeRangeField":
        return _range
    if isinstance(field, FloatField):
        return repr
    if isinstance(field, IntegerField | ForeignKey):
        return str
    if isinstance(field, TextField) or field.get_internal_type() in {"CharField"}:
        return _words
    return str  # days and times: their ISO form


def copy_in(things):
    """Store new objects of one model; each gets its id. Related objects must be stored before."""
    model = type(things[0])
    table = model._meta.db_table
    fields = model._meta.concrete_fields
    for field in fields:
        if field.is_relation:  # an object planned earlier in this chunk has its key only now
            name, attname = field.name, field.attname
            for thing in things:
                related = thing._state.fields_cache.get(name)
                if related is not None:
                    thing.__dict__[attname] = related.id
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT array_agg(nextval(pg_get_serial_sequence(%s, 'id'))) FROM generate_series(1, %s)",
            [table, len(things)],
        )
        for thing, key in zip(things, cursor.fetchone()[0], strict=True):
            thing.__dict__["id"] = key
        rows = [thing.__dict__ for thing in things]
        columns = [_column([row[f.attname] for row in rows], _writer(f)) for f in fields]
        block = "\n".join(map("\t".join, zip(*columns, strict=True))) + "\n"
        names = ", ".join(connection.ops.quote_name(f.column) for f in fields)
        with connection.wrap_database_errors, cursor.cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
            copy.write(block)
    for thing in things:
        thing._state.adding, thing._state.db = False, connection.alias


def _column(values, write):
    """One column in the text form of COPY. Many columns say the same in every row."""
    first = values[0]
    if values.count(first) == len(values):
        return [_cell(first, write)] * len(values)
    return [_cell(value, write) for value in values]


def _cell(value, write):
    return "\\N" if value is None else write(value)
