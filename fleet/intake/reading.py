"""Cells of the file read column by column, for a chunk of rows at once.

Most columns say little that is new from row to row (a type, a day, yes or no), so what a cell was read as is
remembered for the next one that says the same. A reader looks at the cell and the hints only: nothing but the time
changes.
"""

from dataclasses import replace

from django.utils.translation import gettext as _

from fleet.intake.errors import Unreadable

MOST_REMEMBERED = 5000  # cells a column; beyond this it seldom says the same twice
MOST_STRANGE = 12  # words of a column that are asked about; where there are more it is the wrong column


class Row:
    """One row of the file: its values by column name, and what is said about it.

    `steps` belongs to the table that takes the row: what it wants to do with it.
    """

    __slots__ = ("cells", "faults", "line", "outcome", "steps", "values")

    def __init__(self, line, cells, values):
        self.line, self.cells, self.values = line, cells, values
        self.faults, self.outcome, self.steps = None, "", None

    def __getitem__(self, name):
        return self.values.get(name)

    @property
    def bad(self):
        return self.faults is not None and any(not warning for _c, _s, warning in self.faults)

    def fault(self, column, sentence):
        """This row cannot be kept."""
        self.faults = [*(self.faults or ()), (column, str(sentence), False)]

    def warn(self, column, sentence):
        """This row is kept, but somebody should look."""
        self.faults = [*(self.faults or ()), (column, str(sentence), True)]


class _Unread:
    """What stands in place of a value that could not be read."""

    __slots__ = ("sentence",)

    def __init__(self, sentence):
        self.sentence = sentence


class ColumnReader:
    """One column of the file. `translated` says what a cell means instead, in lower case."""

    def __init__(self, index, name, read, translated=None, required=False):
        self.index, self.name, self.read, self.required = index, name, read, required
        self.translated = translated or {}
        self.known, self.any_unread = {}, False
        self.strange = {}  # words of a column of choices that it does not know, in the order they came
        self.date_order = None  # of this column, where it shows or somebody said it

    def column(self, cells, hints):
        """The values of these cells, and the places of those that could not be read."""
        known = self.known
        if self.date_order:
            hints = replace(hints, date_order=self.date_order)
        try:
            new = set(cells).difference(known)
        except TypeError:  # a kind of cell that cannot be remembered
            values = [self._one(cell, hints) for cell in cells]
        else:
            if all(cell.__class__ is str for cell in new):
                for cell in new:
                    known[cell] = self._one(cell, hints)
                values = [known[cell] for cell in cells]
            else:  # workbooks: 1, 1.0 and yes are the same key, but not the same cell
                values = [self._one(cell, hints) for cell in cells]
        if len(known) > MOST_REMEMBERED:
            known.clear()
        if not self.any_unread:
            return values, ()
        return values, [n for n, value in enumerate(values) if value.__class__ is _Unread]

    def _one(self, cell, hints):
        if self.translated:
            cell = self.translated.get(str(cell).strip().lower(), cell)
        try:
            value = None if cell == "" else self.read(cell, hints)
        except Unreadable as fault:
            self.any_unread = True
            if hasattr(self.read, "choices") and len(self.strange) <= MOST_STRANGE:
                self.strange[str(cell).strip()[:40]] = True
            return _Unread(str(fault))
        if value is None and self.required:
            self.any_unread = True
            return _Unread(_("Needed, and nothing stands here."))
        return value


def read_rows(chunk, readers, hints, width):
    """Rows of the chunk's (line, cells), read by `readers`; `width` is the number of heads."""
    if not chunk:
        return []
    even = [
        cells if len(cells) == width
        else [*cells, *[""] * (width - len(cells))] if len(cells) < width else cells[:width]
        for _line, cells in chunk
    ]  # fmt: skip
    columns = list(zip(*even, strict=True))
    names, values, unread = [], [], {}
    for reader in readers:
        found, places = reader.column(columns[reader.index], hints)
        for n in places:
            unread.setdefault(n, []).append((reader.name, found[n].sentence))
            found[n] = None
        names.append(reader.name)
        values.append(found)
    rows = [
        Row(line, cells, {name: value for name, value in zip(names, of_row, strict=True) if value is not None})
        for (line, cells), of_row in zip(chunk, zip(*values, strict=True) if values else [()] * len(chunk), strict=True)
    ]
    for n, faults in unread.items():
        for name, sentence in faults:
            rows[n].fault(name, sentence)
    return rows
