"""Readings from programs: rows of a table as JSON or CSV, and SenML packs, through the tables that files go through.

The answer is the same for all three: how many rows were new, changed or the same, and every fault with where it stands.
"""

import math
import tempfile
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.intake import columns as heads_of
from fleet.intake import tables
from fleet.intake.run import ALL, GOOD, LOOK
from fleet.intake.services import bring_in_file, bring_in_rows
from fleet.readings import senml
from fleet.registry.models import Unit
from fleet.web.refusals import Refused

COUNTS = ("rows", "new", "changed", "same", "rejected")


@dataclass
class Brought:
    """What became of it. Each of `errors` and `warnings`: code, field, sentence, line or record, path, found."""

    rows: int = 0
    new: int = 0
    changed: int = 0
    same: int = 0
    rejected: int = 0
    records: int | None = None
    kept: bool = False
    ignored: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    errors: list = field(default_factory=list)
    warnings: list = field(default_factory=list)

    def add(self, outcome):
        for name in COUNTS:
            setattr(self, name, getattr(self, name) + getattr(outcome, name))
        self.notes += [str(note) for note in outcome.notes]


def word_for(*, keep_good, look):
    return LOOK if look else GOOD if keep_good else ALL


def bring_csv(*, table, body, by, word, replace=False):
    """The table as a CSV file's bytes; faults by line of the file. replace: what stood of what it covers is dropped."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        path.write_bytes(body)
        outcome = bring_in_file(
            table=table, path=path, organisation=by.organisation, by=by, word=word, mapping={"replace": replace}
        )
    brought = Brought(kept=outcome.kept)
    brought.add(outcome)
    names = _names(table)
    for fault in outcome.faults:
        said = _said(fault, names.get(fault.column, fault.column))
        (brought.warnings if fault.warning else brought.errors).append(said | {"line": fault.line})
    return brought


def bring_json(*, table, rows, by, word, replace=False):
    """Rows as a list of objects; faults by number of the row, from 1, and by path."""
    rows = [{_clean(head): cell for head, cell in row.items()} for row in rows]
    heads, brought = list(dict.fromkeys(head for row in rows for head in row)), Brought()
    if len(heads) > 200:
        raise Refused("too_wide", _("These rows name more than 200 columns."))
    given = [(number, [_cell(row.get(head)) for head in heads]) for number, row in enumerate(rows, 1)]
    columns = tables.find(table).columns
    brought.ignored = [head for index, head in enumerate(heads) if index not in heads_of.match(heads, columns)]
    outcome = bring_in_rows(
        table=table, heads=heads, rows=given, organisation=by.organisation, by=by, word=word,
        mapping={"replace": replace},
    )  # fmt: skip
    brought.kept = outcome.kept
    brought.add(outcome)
    names = _names(table)
    for fault in outcome.faults:
        head = names.get(fault.column, fault.column)
        # Line 0 stands for the heads, which a list of objects has not got.
        where = {"record": fault.line or None, "path": _path(fault.line, head if head in heads else "")}
        (brought.warnings if fault.warning else brought.errors).append(_said(fault, head) | where)
    return brought


def bring_senml(*, body, by, word):
    """A SenML pack's bytes; faults by number of the record, from 1, and by path. One pack is kept or not as a whole,
    unless the good records were asked for; a fault of the pack itself keeps nothing."""
    sent, faults = senml.read_pack(body)
    records = []
    if not faults:
        records, faults = senml.resolve(sent, timezone.now().timestamp())
    brought = Brought(records=len(sent))
    if not any(fault.whole for fault in faults):
        serials = Unit.objects.filter(organisation=by.organisation).values_list("serial", flat=True)
        rows, unplaced = senml.rows_of(records, serials)
        faults += unplaced
        _bring_rows(brought, rows, faults, by, word)
    brought.errors[:0] = [
        {"code": f.code, "field": _clean(f.field) or None, "sentence": _clean(f.sentence), "record": f.record,
         "path": _clean(f.path),
         "found": _clean(f.found)} for f in sorted(faults, key=lambda f: f.record or 0)
    ]  # fmt: skip
    brought.rejected = len({error["record"] for error in brought.errors})
    return brought


class _TakenBack(Exception):
    """Ends the transaction where not all of a pack is good."""


def _bring_rows(brought, rows, faults, by, word):
    """The pack's rows table by table in one transaction. What a row came to counts for each record it was made of."""
    try:
        with transaction.atomic():
            for table, these in rows.items():
                _bring_table(brought, table, these, by)
            if word == LOOK or (word == ALL and (faults or brought.errors)):
                raise _TakenBack
            brought.kept = True
    except _TakenBack:
        brought.kept = False


def _bring_table(brought, table, rows, by):
    if table == "spot_tests":
        for row in rows:  # a test that a program sends is one of a visit, unless it says otherwise
            row.cells.setdefault("kind", "visit")
    heads = list(dict.fromkeys(column for row in rows for column in row.cells))
    given = [
        (number, [row.serial, row.at, *(_cell(row.cells.get(head)) for head in heads)])
        for number, row in enumerate(rows, 1)
    ]
    outcome = bring_in_rows(
        table=table, heads=["serial", "at", *heads], rows=given, organisation=by.organisation, by=by, word=GOOD
    )
    for name in ("rows", "new", "changed", "same"):
        setattr(brought, name, getattr(brought, name) + getattr(outcome, name))
    for fault in outcome.faults:
        row = rows[fault.line - 1]
        number, label = row.records.get(fault.column, (row.first, "v"))
        label = {"serial": "n", "at": "t"}.get(fault.column, label)
        said = _said(fault, label) | {"record": number, "path": f"/{number - 1}/{label}"}
        (brought.warnings if fault.warning else brought.errors).append(said)


def _cell(value):
    """A value of JSON as a cell: what no cell can hold is shown as text, so that the column can refuse it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return value
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    if isinstance(value, int) and abs(value) > 2**63:
        return str(value)
    return value if isinstance(value, int | float | datetime) else _clean(str(value))


def _clean(text):
    """Half a surrogate pair and a zero can neither be kept nor sent back."""
    return text.encode("utf-8", "replace").decode().replace("\0", "")


def _names(table):
    """Column names by the titles that faults of missing columns carry."""
    return {str(column.title): column.name for column in tables.find(table).columns}


def _path(number, head):
    if not number:
        return ""
    escaped = head.replace("~", "~0").replace("/", "~1")
    return f"/{number - 1}/{escaped}" if head else f"/{number - 1}"


def _said(fault, name):
    code = "look_again" if fault.warning else "cannot_keep"
    return {"code": code, "field": name or None, "sentence": fault.sentence, "found": fault.found}
