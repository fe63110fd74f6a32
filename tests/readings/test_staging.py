"""Columns to the database and back."""

import numpy as np
import pytest
from django.db import connection, transaction

from fleet.readings import staging

pytestmark = pytest.mark.django_db


def test_what_goes_in_comes_out_gaps_included():
    columns = {
        "id": ("bigint", np.array([1, 2**40, 3])),
        "day": ("date", np.array(["1999-12-31", "2024-02-29", "2031-01-01"], dtype="datetime64[D]")),
        "small": ("smallint", np.array([-1, 0, 32767])),
        "x": ("float8", np.array([np.nan, 1e300, -0.1])),
        "yes": ("bool", np.array([1, -1, 0], dtype=np.int8)),
    }
    with transaction.atomic(), connection.cursor() as cursor:
        staging.stage(cursor, "back", columns)
        cursor.execute("SELECT * FROM back ORDER BY id")
        rows = cursor.fetchall()
        found = staging.fetch({name: (kind, name) for name, (kind, _v) in columns.items()}, "FROM back", order="id")
    assert sorted(rows)[0][3:] == (None, True)
    order = np.argsort(columns["id"][1])
    for name, (_kind, values) in columns.items():
        np.testing.assert_array_equal(found[name], values[order], err_msg=name)


def test_arrays_keep_their_gaps():
    with transaction.atomic(), connection.cursor() as cursor:
        staging.stage(
            cursor,
            "lists",
            {
                "id": ("bigint", np.array([1, 2])),
                "s": ("int[]", [np.array([1, 2]), np.array([5])]),
                "v": ("float8[]", [np.array([0.5, np.nan]), None]),
            },
        )
        cursor.execute("SELECT s, v FROM lists ORDER BY id")
        assert cursor.fetchall() == [([1, 2], [0.5, None]), ([5], None)]


def test_no_rows_are_no_rows():
    found = staging.fetch({"id": ("bigint", "id")}, "FROM registry_unit")
    assert found["id"].shape == (0,)
