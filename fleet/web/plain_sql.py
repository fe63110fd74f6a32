"""Short statements that are asked many times a minute, past everything that a queryset is worked out with.

Values go to the server apart from the text, and bytes as bytes: a part of a photo is not written out as digits first.
"""

from contextlib import contextmanager

import psycopg
from django.db import connection


@contextmanager
def server_cursor():
    """A cursor of psycopg on Django's own connection, in its transaction if there is one. `%(name)b` takes bytes."""
    with connection.cursor():  # opens the line, or finds out that it has gone
        wrapped = connection.make_debug_cursor if connection.queries_logged else connection.make_cursor
        with wrapped(psycopg.Cursor(connection.connection)) as cursor:
            yield cursor


def columns(model, alias):
    """All columns of a model for a SELECT, in the order in which `Model.from_db` takes their `names`."""
    return ", ".join(f'{alias}."{field.column}"' for field in model._meta.concrete_fields)


def names(model):
    return [field.attname for field in model._meta.concrete_fields]
