"""Arrays of the engineering package as bytes in a column, and back; a changed layout is noticed, never misread."""

import hashlib
from dataclasses import fields

import numpy as np

from fleet.output.fleet_arrays import METHOD
from sizing.causes.table import Table
from sizing.judge import record

MARK = 8  # bytes before the numbers that tell their layout


def _mark(*words):
    return hashlib.sha256(repr((METHOD, *words)).encode()).digest()[:MARK]


STATE_MARK = _mark([f.name for f in fields(record.State)], record.SIZES.tolist(), record.OBSERVATION.descr)
_table_shapes = {}


def pack_table(table):
    """One `bytes` an installation of a causes.table.Table; numbers as float32."""
    names = [f.name for f in fields(Table)]
    parts = [np.asarray(getattr(table, name)) for name in names]
    shapes = tuple((name, part.shape[1:]) for name, part in zip(names, parts))
    _table_shapes[_mark(shapes)] = shapes
    rows = np.concatenate([p.reshape(len(p), -1).astype("<f4") for p in parts], axis=1)
    head = repr(shapes).encode()
    head = _mark(shapes) + len(head).to_bytes(2, "little") + head
    return [head + row.tobytes() for row in np.ascontiguousarray(rows)]


def unpack_table(rows):
    """A Table of the rows that have one of today's layout: (Table or None, which rows (bool))."""
    names = [f.name for f in fields(Table)]
    heads = [bytes(row[: _head_length(row)]) if row else b"" for row in rows]
    good = np.array([bool(h) and _shapes(h) is not None and [n for n, _s in _shapes(h)] == names for h in heads], bool)
    if not good.any():
        return None, good
    head = next(h for h, ok in zip(heads, good) if ok)
    good &= np.array([h == head for h in heads])
    shapes = _shapes(head)
    body = b"".join(bytes(row[len(head) :]) for row, ok in zip(rows, good) if ok)
    numbers = np.frombuffer(body, "<f4").reshape(int(good.sum()), -1)
    made, at = {}, 0
    for name, shape in shapes:
        size = int(np.prod(shape, dtype=int))
        part = numbers[:, at : at + size].reshape(-1, *shape)
        made[name] = np.ascontiguousarray(part if size > 1 else part, dtype=np.float64 if not shape else np.float32)
        at += size
    return Table(**made), good


def _head_length(row):
    return MARK + 2 + int.from_bytes(bytes(row[MARK : MARK + 2]), "little")


def _shapes(head):
    mark = head[:MARK]
    if mark not in _table_shapes:
        from ast import literal_eval

        try:
            shapes = literal_eval(head[MARK + 2 :].decode())
        except (ValueError, SyntaxError, UnicodeDecodeError):
            return None
        if _mark(shapes) != mark:
            return None
        _table_shapes[mark] = shapes
    return _table_shapes[mark]


def pack_states(state):
    """One `bytes` an installation."""
    rows = np.ascontiguousarray(state.as_rows().astype("<f8"))
    return [STATE_MARK + row.tobytes() for row in rows]


def unpack_states(rows):
    """(State of the rows that have one of today's layout, which rows (bool)); the State is None where none has."""
    good = np.array([bool(row) and bytes(row[:MARK]) == STATE_MARK for row in rows], bool)
    if not good.any():
        return None, good
    body = b"".join(bytes(row[MARK:]) for row, ok in zip(rows, good) if ok)
    numbers = np.frombuffer(body, "<f8").reshape(int(good.sum()), -1).copy()
    return record.State.from_rows(numbers), good


def observations(raw):
    """Observations of stored bytes, all one after another; those of another layout are left out."""
    size = record.OBSERVATION.itemsize
    kept = [bytes(r) for r in raw if r is not None and len(r) % size == 0]
    return np.frombuffer(b"".join(kept), record.OBSERVATION).copy()
