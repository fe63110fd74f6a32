"""Columns into a temporary table by binary COPY, and rows out of the database as columns.

Binary COPY of ready-made blocks is several times faster than rows one by one. A column is a NumPy array; what is
missing is NaN in a float column and -1 in a `bool` column. Array columns are lists of arrays, None where missing.
"""

import numpy as np
import psycopg
from django.db import connection
from django.db.models.expressions import RawSQL

HEADER = b"PGCOPY\n\xff\r\n\0" + b"\0" * 8
TRAILER = b"\xff\xff"
EPOCH = np.datetime64("2000-01-01", "D")  # PostgreSQL counts days from here

# Type in the staging table -> how its value is laid out in a binary row.
SCALARS = {"bigint": ">i8", "date": ">i4", "int": ">i4", "smallint": ">i2", "float8": ">f8", "bool": "i1"}
BYTES_FROM = 40  # bit from which the pattern of a row holds the length of its bytes; one such column at most
ARRAYS = {"int[]": (23, ">i4"), "float8[]": (701, ">f8")}  # the element's type number and layout


def _missing(kind, values):
    if kind == "float8":
        return np.isnan(values)
    if kind == "bool":
        return values < 0
    if kind == "bytea":
        return np.array([value is None for value in values], dtype=bool)
    return None


def blocks(columns):
    """Binary COPY blocks of `columns`, a list of (kind, values) with scalars only, all of one length."""
    count = len(columns[0][1])
    arrays, pattern = [], np.zeros(count, dtype=np.int64)
    for index, (kind, values) in enumerate(columns):
        values = np.asarray(values, dtype=object if kind == "bytea" else None)
        if kind == "date":
            values = (values.astype("datetime64[D]") - EPOCH).astype(np.int32)
        missing = _missing(kind, values)
        if missing is not None:
            pattern |= missing.astype(np.int64) << index
        if kind == "bytea":
            lengths = np.array([0 if value is None else len(value) for value in values], dtype=np.int64)
            pattern |= lengths << BYTES_FROM
        arrays.append(values)
    # Rows that miss the same columns have the same length, so each such group is one structured array.
    for shape in np.unique(pattern):
        rows = np.flatnonzero(pattern == shape)
        layout = [("fields", ">i2")]
        for index, (kind, _values) in enumerate(columns):
            layout.append((f"n{index}", ">i4"))
            if not shape >> index & 1:
                layout.append((f"v{index}", f"V{shape >> BYTES_FROM}" if kind == "bytea" else SCALARS[kind]))
        block = np.empty(len(rows), dtype=layout)
        block["fields"] = len(columns)
        for index, (kind, _values) in enumerate(columns):
            if shape >> index & 1:
                block[f"n{index}"] = -1
            elif kind == "bytea":
                size = int(shape >> BYTES_FROM)
                block[f"n{index}"] = size
                block[f"v{index}"] = np.frombuffer(b"".join(arrays[index][rows]), f"V{size}")
            else:
                block[f"n{index}"] = np.dtype(SCALARS[kind]).itemsize
                block[f"v{index}"] = arrays[index][rows]
        yield block.tobytes()


def _array(kind, values):
    number, layout = ARRAYS[kind]
    if values is None:
        return b"\xff\xff\xff\xff"
    values = np.asarray(values)
    gaps = np.isnan(values) if kind == "float8[]" else np.zeros(len(values), dtype=bool)
    head = np.array([1, int(gaps.any()), number, len(values), 1], dtype=">i4").tobytes()
    size = np.dtype(layout).itemsize
    if not gaps.any():
        body = np.empty(len(values), dtype=[("n", ">i4"), ("v", layout)])
        body["n"], body["v"] = size, values
        body = body.tobytes()
    else:
        width = np.array([size], dtype=">i4").tobytes()
        raw = values.astype(layout).tobytes()
        body = b"".join(
            b"\xff\xff\xff\xff" if gap else width + raw[at * size : (at + 1) * size]
            for at, gap in enumerate(gaps.tolist())
        )
    return np.array([len(head) + len(body)], dtype=">i4").tobytes() + head + body


def rows_with_arrays(columns):
    """Binary COPY blocks where some columns hold an array a row: one row at a time, for rows that carry many values."""
    count = len(columns[0][1])
    fields = np.array([len(columns)], dtype=">i2").tobytes()
    plain = {}
    for index, (kind, values) in enumerate(columns):
        if kind in SCALARS:
            if kind == "date":
                values = (np.asarray(values).astype("datetime64[D]") - EPOCH).astype(np.int32)
            layout = SCALARS[kind]
            pair = np.empty(count, dtype=[("n", ">i4"), ("v", layout)])
            pair["n"], pair["v"] = np.dtype(layout).itemsize, values
            plain[index] = [one.tobytes() for one in pair]
    for row in range(count):
        parts = [fields]
        for index, (kind, values) in enumerate(columns):
            parts.append(plain[index][row] if index in plain else _array(kind, values[row]))
        yield b"".join(parts)


def stage(cursor, table, columns):
    """Make the temporary `table` for this transaction and fill it. `columns`: {name: (kind, values)}."""
    body = ", ".join(f"{name} {kind}" for name, (kind, _values) in columns.items())
    cursor.execute(f"DROP TABLE IF EXISTS {table}")
    cursor.execute(f"CREATE TEMP TABLE {table} ({body}) ON COMMIT DROP")
    _copy_into(cursor, table, columns)
    cursor.execute(f"ANALYZE {table}")


def stage_again(cursor, table, columns):
    """As `stage`, for what is staged some hundred times an hour with the same columns: the table stays, empty."""
    body = ", ".join(f"{name} {kind}" for name, (kind, _values) in columns.items())
    cursor.execute("SELECT to_regclass(%s)", [f"pg_temp.{table}"])
    if cursor.fetchone()[0] is None:
        cursor.execute(f"CREATE TEMP TABLE {table} ({body}) ON COMMIT DELETE ROWS")
    else:
        cursor.execute(f"DELETE FROM {table}")  # of the same transaction, if there are any
    _copy_into(cursor, table, columns)


def _copy_into(cursor, table, columns):
    pairs = list(columns.values())
    made = rows_with_arrays(pairs) if any(kind in ARRAYS for kind, _values in pairs) else blocks(pairs)
    names = ", ".join(columns)
    with cursor.copy(f"COPY {table} ({names}) FROM STDIN (FORMAT BINARY)") as copy:
        copy.write(HEADER)
        for block in made:
            copy.write(block)
        copy.write(TRAILER)


def stage_texts(cursor, table, ids, words):
    """A temporary `table` (id, words) for this transaction, few rows."""
    cursor.execute(f"DROP TABLE IF EXISTS {table}")
    cursor.execute(f"CREATE TEMP TABLE {table} (id bigint PRIMARY KEY, words text) ON COMMIT DROP")
    cursor.execute(f"INSERT INTO {table} SELECT * FROM unnest(%s::bigint[], %s::text[])", [list(ids), list(words)])


SEND = {"bigint": "int8send", "date": "date_send", "int": "int4send", "smallint": "int2send", "float8": "float8send"}


def fetch(columns, source, params=(), order=None):
    """Rows as columns: {name: array}. `columns`: {name: (kind, expression)}; scalars only, bool as smallint -1, 0, 1.

    All rows travel as one value laid out like an array in memory, which is read in one step; this is several times
    faster than building a Python object a value.
    """
    parts, layout = [], []
    for name, (kind, expression) in columns.items():
        if kind == "float8":
            expression = f"coalesce(({expression})::float8, 'NaN')"
        elif kind == "bool":
            kind, expression = "smallint", f"coalesce(({expression})::int, -1)::smallint"
        else:
            expression = f"({expression})::{kind}"
        parts.append(f"{SEND[kind]}({expression})")
        layout.append((name, SCALARS[kind]))
    ordering = f" ORDER BY {order}" if order else ""
    found = fetch_rows(f"SELECT string_agg({' || '.join(parts)}, ''::bytea{ordering}) {source}", params)
    rows = np.frombuffer(found[0][0] or b"", dtype=layout)
    found = {}
    for name, (kind, _expression) in columns.items():
        values = rows[name].astype(rows[name].dtype.newbyteorder("="))
        found[name] = EPOCH + values.astype("timedelta64[D]") if kind == "date" else values
    return found


def fetch_rows(sql, params=()):
    """Rows as tuples; bytes travel as they are, where Django's cursor would have them as twice as many digits."""
    connection.ensure_connection()
    with psycopg.Cursor(connection.connection) as cursor:
        cursor.execute(sql, params, binary=True)
        return cursor.fetchall()


def among(ids):
    """For `pk__in=`: one array instead of a parameter for each id, of which a thousand take longer than the answer."""
    return RawSQL("SELECT unnest(%s::bigint[])", [[int(i) for i in ids]])
