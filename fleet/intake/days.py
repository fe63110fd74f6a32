"""In which order a column of a file writes days and months: found out from the column, or asked.

3/4/2025 alone says nothing. 13/4/2025 in the same column says that the day comes first, in all of its rows. Where a
column shows both orders it is not trusted, and where it shows neither the user is asked.
"""

import re
from dataclasses import dataclass
from datetime import date

FIGURES = re.compile(r"^\s*(\d{1,2})[-/. ](\d{1,2})[-/. ]\d{4}(?!\d)")
DAY_FIRST, MONTH_FIRST = "dmy", "mdy"


@dataclass
class Seen:
    """What one column shows: a cell that proves each order, and the first one that could be either."""

    day_first: tuple | None = None
    month_first: tuple | None = None
    either: tuple | None = None

    def look(self, line, cell):
        found = FIGURES.match(cell) if cell.__class__ is str else None
        if found is None:
            return
        first, second = int(found[1]), int(found[2])
        if first > 12 >= second:
            self.day_first = self.day_first or (line, cell.strip())
        elif second > 12 >= first:
            self.month_first = self.month_first or (line, cell.strip())
        elif first != second and first <= 12:
            self.either = self.either or (line, cell.strip())

    @property
    def settled(self):
        return self.day_first is not None or self.month_first is not None

    @property
    def mixed(self):
        return self.day_first is not None and self.month_first is not None

    @property
    def order(self):
        if self.mixed or not self.settled:
            return None
        return DAY_FIRST if self.day_first else MONTH_FIRST


def look_through(first_rows, all_rows, columns):
    """{index: Seen} of these columns. `all_rows` gives the whole file, where the first rows leave it open."""
    seen = {index: Seen() for index in columns}
    _look(first_rows, seen)
    open_still = {index: one for index, one in seen.items() if one.either and not one.settled}
    if open_still:
        with all_rows() as rows:
            _look(rows, open_still, until_settled=True)
    return seen


def _look(rows, seen, until_settled=False):
    for line, cells in rows:
        for index, one in seen.items():
            if index < len(cells):
                one.look(line, cells[index])
        if until_settled and all(one.settled for one in seen.values()):
            return


def reads_days(column):
    """Whether a column of a table is read as a day or a moment: its reader says so."""
    return getattr(column.read, "days", False)


def readings_of(cell):
    """The two days that such a cell could be, day first and month first."""
    found = FIGURES.match(cell)
    year = int(re.search(r"\d{4}", cell)[0])
    return date(year, int(found[2]), int(found[1])), date(year, int(found[1]), int(found[2]))
