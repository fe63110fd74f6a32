"""One table read: every row checked, every fault listed, and kept or taken back as the user said.

The dry run does all that the real one does, inside a transaction that is then taken back, so what it promises is what
happens. Rows go in chunks, each in a savepoint; a chunk that the database refuses is halved until the bad row is alone.
"""

import csv
import gc
from collections import deque
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, fields
from pathlib import Path

from django.apps import apps
from django.db import DataError, IntegrityError, OperationalError, connection, transaction
from django.utils.translation import gettext as _

from fleet.intake import ahead, numbers
from fleet.intake import columns as heads_of
from fleet.intake.errors import Unreadable, WrongFile
from fleet.intake.reading import MOST_STRANGE, ColumnReader, read_rows
from fleet.web.refusals import Refused

MOST_LISTED = 100_000
MOST_LETTERS = 8_000_000  # in one chunk of rows
LOOKED_AHEAD = 2000  # rows from which it is found out how the file writes figures
LOOK, ALL, GOOD = "look", "all", "good"  # keep nothing; keep if all rows are good; keep the good rows


@dataclass
class Hints:
    """What is known about the whole file before its rows are read."""

    decimal_comma: bool | None = None
    date_order: str | None = None
    zone: str | None = None


@dataclass
class Fault:
    line: int
    column: str
    found: str
    sentence: str
    warning: bool = False


NOT_COUNTED = {"faults", "notes", "questions", "words"}


@dataclass
class Outcome:
    """What came of it. `kept` says whether anything was written for good."""

    rows: int = 0
    new: int = 0
    changed: int = 0
    same: int = 0
    rejected: int = 0
    warned: int = 0
    kept: bool = False
    notes: list = field(default_factory=list)
    questions: list = field(default_factory=list)  # columns whose days could be read two ways
    words: list = field(default_factory=list)  # columns of choices with words of their own
    faults: list = field(default_factory=list)
    unlisted: int = 0

    @property
    def counts(self):
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in NOT_COUNTED}


class Run:
    """What a table may know while it takes rows: for whom, by whom, which columns are filled, whether what stood is to
    be replaced; a memory of its own, which is emptied when rows are taken back, and one that lasts."""

    def __init__(self, table, organisation, by, hints):
        self.table, self.organisation, self.by, self.hints = table, organisation, by, hints
        self.columns, self.memory, self.lasting = set(), {}, {}
        self.replace = False
        self.notes = []  # what the table wants to say of the whole, beside the file's own notes


class _TakenBack(Exception):
    """Ends the transaction of a dry run."""


def bring_in(*, table, source, mapping, organisation, by=None, word=LOOK, rejects=None, progress=None):
    """Read `source` into `table`. Returns an Outcome.

    `mapping`: {"columns": {head: name or {"to", "unit", "values"}}, "set": {name: text with {head}}, "only": {head:
    [cells]}, "replace": bool (`Table.replaces`), "date_order": "dmy" or "mdy", "date_orders": {head: the same},
    "decimal_comma": bool, "zone": name}, all optional.
    `rejects`: path of a CSV that rejected rows are written to, with the reason. `progress(done, total, step)`.
    Raises WrongFile where the file cannot be read to its end, Refused where others hold the same rows.
    """
    reading = _Reading(table, source, mapping or {}, organisation, by, progress)
    with ExitStack() as stack:
        if rejects is not None:
            handle = stack.enter_context(Path(rejects).open("w", encoding="utf-8-sig", newline=""))
            reading.write_rejects(handle)
        try:
            with transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute("SET LOCAL lock_timeout = '15s'")
                reading.all_rows()
                if word == LOOK or (reading.outcome.rejected and word == ALL) or reading.unusable:
                    raise _TakenBack
                reading.outcome.kept = True
        except _TakenBack:
            pass
        except OperationalError as error:
            if "lock timeout" not in str(error):
                raise
            raise Refused(
                "rows_held", _("Somebody is changing the same rows just now. Wait a minute and try again.")
            ) from error
    return reading.outcome


class _Reading:
    def __init__(self, table, source, mapping, organisation, by, progress):
        self.table, self.source, self.mapping, self.progress = table, source, mapping, progress
        self.outcome = Outcome(notes=list(source.notes))
        self.hints = Hints(mapping.get("decimal_comma"), mapping.get("date_order"), mapping.get("zone"))
        self.run = Run(table, organisation, by, self.hints)
        self.run.replace = bool(table.replaces and mapping.get("replace"))
        self.uses = heads_of.match(source.heads, table.columns, mapping.get("columns"))
        self.heads = {use.column: source.heads[index] for index, use in self.uses.items()}
        self.titles = {c.name: str(c.title) for c in table.columns}
        self.seen = {}
        self.unusable = False
        self.rejects = None
        self._plan()

    def write_rejects(self, handle):
        self.rejects = csv.writer(handle)
        self.rejects.writerow([*self.source.heads, _("line"), _("reason")])

    def _plan(self):
        known = {c.name: c for c in self.table.columns}
        self.readers = []
        for index, use in sorted(self.uses.items()):
            column = known[use.column]
            read = _converted(column, use.unit) if use.unit else column.read
            values = {str(k).strip().lower(): v for k, v in use.values.items()}
            self.readers.append(ColumnReader(index, column.name, read, values, column.required))
        self.places = {reader.name: reader.index for reader in self.readers}
        place = {head: index for index, head in enumerate(self.source.heads)}
        self.set = []
        for name, words in (self.mapping.get("set") or {}).items():
            if name in known and name not in self.heads:
                self.set.append((known[name], str(words)))
        self.only = [
            (place[head], {str(v).strip().lower() for v in wanted})
            for head, wanted in (self.mapping.get("only") or {}).items()
            if head in place
        ]
        set_names = {column.name for column, _words in self.set}
        self.run.columns = set_names | set(self.heads)
        for column in self.table.columns:
            if column.required and column.name not in self.heads and column.name not in set_names:
                self.unusable = True
                self._list(self.source.head_line, column.title, "", _(
                    "This column is needed and no head was matched with it. Add it, or match it with one of yours."
                ), False)  # fmt: skip

    # -- reading ---------------------------------------------------------------------------------------------------

    def all_rows(self):
        if self.unusable:
            return
        self.table.begin(self.run)
        try:
            with self.source.rows() as rows:
                rows = self._look_ahead(rows)
                while chunk := _portion(rows, self.table.chunk):
                    with _no_collecting():
                        self._chunk(chunk)
                    if self.progress:
                        self.progress(chunk[-1][0], max(chunk[-1][0], self.source.lines), _("reading rows"))
        except UnicodeDecodeError as error:
            raise WrongFile("letters", _("The letters of this file cannot be read. Save it as UTF-8.")) from error
        if self.progress:
            self.progress(self.source.lines, self.source.lines, _("finishing"))
        self.table.finish(self.run)
        self.outcome.notes += self.run.notes
        self.outcome.words = [
            {"head": self.heads[reader.name], "cells": list(reader.strange),
             "choices": [[value, str(title)] for value, title in reader.read.choices.items()]}
            for reader in self.readers if 0 < len(reader.strange) <= MOST_STRANGE
        ]  # fmt: skip

    def _look_ahead(self, rows):
        """Find out from the first rows how this file writes figures and days, before any is read."""
        first = _portion(rows, LOOKED_AHEAD)
        ahead.figures(first, self.readers, self.table, self.source, self.hints)
        ahead.days_of(first, self.readers, self.table, self.source, self.mapping, self.hints, self.outcome)
        waiting = deque(first)
        while waiting:
            yield waiting.popleft()
        yield from rows

    def _chunk(self, chunk):
        good = []
        width = len(self.source.heads)
        if self.only:
            chunk = [(line, cells) for line, cells in chunk if all(
                i < len(cells) and str(cells[i]).strip().lower() in wanted for i, wanted in self.only)]  # fmt: skip
        rows = read_rows(chunk, self.readers, self.hints, width)
        for row in rows:
            self._finish(row, width)
            if not row.bad and not self._twice(row):
                good.append(row)
        if good:
            self._take(good)
        for row in rows:
            self._account(row)

    def _finish(self, row, width):
        """What is not said by a column of its own."""
        if self.set:
            self._set(row)
        if len(row.cells) > width and any(str(cell).strip() for cell in row.cells[width:]):
            row.fault("", _("This row has more cells than the heads. Words or figures that hold a “%(sign)s” must "
                            "stand in quotation marks.") % {"sign": self.source.delimiter})  # fmt: skip

    def _set(self, row):
        cells = {head: row.cells[i] if i < len(row.cells) else "" for i, head in enumerate(self.source.heads)}
        for column, words in self.set:
            for head, cell in cells.items():
                if "{" + head + "}" in words:
                    words = words.replace("{" + head + "}", str(cell).strip())
            try:
                row.values[column.name] = column.read(words, self.hints)
            except Unreadable as fault:
                row.fault(column.name, fault)

    def _twice(self, row):
        if not self.table.key:
            return False
        key = tuple(v.lower() if isinstance(v := row[name], str) else v for name in self.table.key)
        first = self.seen.setdefault(key, row.line)
        if first != row.line:
            row.fault(self.table.key[-1], _("Line %(line)s of this file says the same one already. Keep one of them.")
                      % {"line": first})  # fmt: skip
            return True
        return False

    # -- keeping ---------------------------------------------------------------------------------------------------

    def _take(self, rows):
        try:
            with transaction.atomic():
                self.table.take(rows, self.run)
        except (IntegrityError, DataError) as error:
            # What the table remembers may speak of rows that have just been taken back.
            self.run.memory.clear()
            self.table.begin(self.run)
            if len(rows) == 1:
                rows[0].outcome = ""
                rows[0].fault("", _why_refused(error))
                return
            for row in rows:
                row.outcome, row.faults = "", None
            half = len(rows) // 2
            self._take(rows[:half])
            self._take(rows[half:])

    def _account(self, row):
        outcome = self.outcome
        outcome.rows += 1
        if row.bad:
            outcome.rejected += 1
            if self.rejects:
                why = " ".join(f"{self.heads.get(c) or self.titles.get(c, c)}: {s}" if c else s
                               for c, s, warning in row.faults if not warning)  # fmt: skip
                width = len(self.source.heads)
                cells = [_cell_out(cell) for cell in row.cells[:width]]
                self.rejects.writerow([*cells, *[""] * (width - len(cells)), row.line, why])
        elif row.outcome == "new":
            outcome.new += 1
        elif row.outcome == "changed":
            outcome.changed += 1
        else:
            outcome.same += 1
        if row.faults:
            outcome.warned += any(warning for _c, _s, warning in row.faults)
            for column, sentence, warning in row.faults:
                found = self._cell(row, column)
                self._list(row.line, self.heads.get(column) or self.titles.get(column, ""), found, sentence, warning)

    def _cell(self, row, column):
        index = self.places.get(column)
        return "" if index is None or index >= len(row.cells) else str(row.cells[index])

    def _list(self, line, column, found, sentence, warning):
        if len(self.outcome.faults) >= MOST_LISTED:
            self.outcome.unlisted += 1
            return
        self.outcome.faults.append(Fault(line, str(column)[:80], found[:120], str(sentence), warning))


@contextmanager
def _no_collecting():
    """A chunk makes many objects that live to its end, in no circles: looking for circles took 40 % of the time."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _portion(rows, most):
    """The next rows: `most`, or fewer where they are long, so that no chunk is large however long the cells are."""
    found, letters = [], 0
    for line, cells in rows:
        found.append((line, cells))
        letters += sum([len(cell) for cell in cells if cell.__class__ is str])
        if len(found) == most or letters > MOST_LETTERS:
            break
    return found


def _cell_out(cell):
    if cell.__class__ is float and cell == int(cell):
        return int(cell)
    text = str(cell)
    # Kept from becoming a formula where somebody opens the rejects in a spreadsheet.
    if text[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        try:
            float(text.replace(",", "."))
        except ValueError:
            return "'" + text
    return text


def _converted(column, unit):
    scale = numbers.factor(unit, column.wanted_unit)
    if scale is None:
        raise Refused(
            "units_differ",
            _("“%(title)s” is kept in %(wanted)s; %(unit)s measures something else.")
            % {"title": column.title, "wanted": column.wanted_unit, "unit": unit},
        )
    read = column.read

    def converted(cell, hints):
        value = numbers.plain_number(cell, hints, unit)
        return None if value is None else read(float(f"{value * scale:.12g}"), hints)

    return converted


def _why_refused(error):
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) or ""
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if constraint.name == name:
                custom = getattr(constraint, "violation_error_code", None)
                if custom:
                    return constraint.get_violation_error_message()
                return _("These values do not go together: %(rule)s.") % {"rule": name.replace("_", " ")}
    return _("The database refused this row: %(why)s") % {"why": str(error).splitlines()[0]}
