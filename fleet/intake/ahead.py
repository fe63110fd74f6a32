"""What the first rows show about a whole file: how it writes figures, and in which order each column writes days."""

from dataclasses import replace

from django.utils.translation import gettext as _

from fleet.intake import columns as heads_of
from fleet.intake import days, numbers


def figures(first, readers, table, source, hints):
    """Whether this file writes decimal commas, unless somebody said so already."""
    if hints.decimal_comma is not None or source.kind != "csv":
        return
    columns = {reader.index: table.column(reader.name) for reader in readers}
    numeric = [index for index, column in columns.items() if column.wanted_unit or _is_figure(column)]
    hints.decimal_comma = _decimal_comma(first, numeric)


def _is_figure(column):
    return getattr(column.read, "__module__", "") == numbers.__name__


def _decimal_comma(first, indexes):
    """True where figures of this file carry decimal commas, False where points, None where neither or both do."""
    commas = points = False
    for _line, cells in first:
        for index in indexes:
            cell = cells[index] if index < len(cells) else ""
            if cell.count(",") == 1 and "." not in cell:
                after = cell.strip().rsplit(",", 1)[1]
                commas = commas or (after.isdigit() and len(after) != 3)
            elif cell.count(".") == 1 and "," not in cell:
                after = cell.strip().rsplit(".", 1)[1]
                points = points or (after.isdigit() and len(after) != 3)
            elif "," in cell and "." in cell:
                comma_last = cell.rfind(",") > cell.rfind(".")
                commas, points = commas or comma_last, points or not comma_last
    return None if commas == points else commas


def days_of(first, readers, table, source, mapping, hints, outcome):
    """Each column's own order of day and month: as somebody said, else as the column shows, else asked."""
    said = {heads_of.plain(head): order for head, order in (mapping.get("date_orders") or {}).items()}
    open_yet = []
    for reader in readers:
        if days.reads_days(table.column(reader.name)):
            reader.date_order = said.get(heads_of.plain(source.heads[reader.index])) or hints.date_order
            if not reader.date_order:
                open_yet.append(reader)
    seen = days.look_through(first, lambda: replace(source).rows(), [reader.index for reader in open_yet])
    for reader in open_yet:
        _one_order(reader, source.heads[reader.index], seen[reader.index], outcome)


def _one_order(reader, head, seen, outcome):
    if seen.either is None:
        return
    reader.date_order = seen.order
    if seen.mixed:
        outcome.notes.append(_(
            "“%(head)s” writes some days day first (%(one)s, line %(one_line)s) and some month first (%(other)s, "
            "line %(other_line)s). Those that could be either are rejected: write them as 2025-04-03."
        ) % {"head": head, "one": seen.day_first[1], "one_line": seen.day_first[0], "other": seen.month_first[1],
             "other_line": seen.month_first[0]})  # fmt: skip
    elif seen.order == days.DAY_FIRST:
        outcome.notes.append(_("“%(head)s” writes the day first, as %(cell)s in line %(line)s shows.") % {
            "head": head, "line": seen.day_first[0], "cell": seen.day_first[1]})  # fmt: skip
    elif seen.order == days.MONTH_FIRST:
        outcome.notes.append(_("“%(head)s” writes the month first, as %(cell)s in line %(line)s shows.") % {
            "head": head, "line": seen.month_first[0], "cell": seen.month_first[1]})  # fmt: skip
    else:
        outcome.questions.append({"head": head, "line": seen.either[0], "cell": seen.either[1]})
