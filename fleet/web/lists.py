"""A list's table, each column told once: its title, what stands in a cell, whether the list can be ordered by it.

    table = lists.Table(
        lists.Column(_("Serial"), lambda row: markup('<a href="{}">{}</a>', page(row["id"]), row["serial"]),
                     head=True, order="serial"),
        lists.Column(_("People"), lambda row: quantities.number(row["people"]), css="num"),
    )
    context["table"] = table.of(page.rows)                                   # then {% listing table %}

A cell's function gives words, which are escaped, or markup. Rows are best plain dicts (`queryset.values(…)`).
"""

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.safestring import SafeString

from fleet.web.markup import text


@dataclass(frozen=True)
class Column:
    """One column. `head`: its cell names the row. `label`: said before the cell on a phone, where no head is seen."""

    title: object
    cell: Callable
    head: bool = False
    order: str = ""
    css: str = ""
    label: bool = True

    def opening(self):
        if self.head:
            return f'<th scope="row" class="{text(self.css)}">' if self.css else '<th scope="row">'
        css = f' class="{text(self.css)}"' if self.css else ""
        label = f' data-label="{text(self.title)}"' if self.label else ""
        return f"<td{css}{label}>"


@dataclass(frozen=True)
class Shown:
    """A table with its rows."""

    columns: tuple
    body: SafeString


class Table:
    def __init__(self, *columns):
        self.columns = columns

    def of(self, rows):
        """The table with these rows, ready to be put on the page."""
        parts = [(f"<tr>{column.opening()}" if n == 0 else column.opening(), column.cell,
                  "</th>" if column.head else "</td>") for n, column in enumerate(self.columns)]  # fmt: skip
        made = []
        for row in rows:
            for before, cell, after in parts:
                made += before, text(cell(row)), after
            made.append("</tr>\n")
        return Shown(self.columns, SafeString("".join(made)))


def on_lines(parts):
    """Those parts that are not empty, each on a line of its own."""
    return SafeString("<br>".join([text(part) for part in parts if part]))
