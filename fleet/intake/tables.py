"""Tables register themselves here: a room says what its table holds and how its rows are kept.

    class Pipes(Table):
        name, title, group = "pipes", _("Pipes"), "catalogue"
        columns = (Column("name", _("Pipe"), text(60), required=True), ...)
        key = ("name",)

        def take(self, rows, run): ...

    tables.register(Pipes())
"""

from abc import ABC, abstractmethod


class Table(ABC):
    """One kind of table. What takes no rows cannot be made, so that it is missed at the start and not at an import.

    `key`: column names that tell two rows of a file apart; the second row with the same key is rejected with the line
    of the first. Empty: the table looks after that itself.
    `chunk`: rows taken at once. `deed`: what a role must cover to bring this table in.
    """

    name = ""
    title = ""
    about = ""
    group = "registry"
    columns = ()
    key = ()
    chunk = 4000
    deed = "import"
    order = 100
    replaces = ""  # what an import may replace instead of being merged with it, in the user's words; empty: nothing
    dated = False  # its rows stand in time; they are taken out for a stretch of days

    def begin(self, run):  # noqa: B027 - most need none
        """Before the first row; `run.memory` is a dict for what the table wants to remember until the end."""

    @abstractmethod
    def take(self, rows, run):
        """Keep these rows. Each row gets `outcome` "new", "changed" or "same", or faults by `row.fault(column, why)`.

        Called inside a savepoint: raise nothing for a bad row, mark it. A row with a fault must leave nothing behind.
        """

    def finish(self, run):  # noqa: B027
        """After the last row, inside the same transaction."""

    def rows(self, organisation):
        """All kept rows as dicts by column name, to take the table out in the form it comes in. None: not offered.

        A table with `dated` takes `since` and `through`, local days, as well.
        """
        return

    def column(self, name):
        return next(c for c in self.columns if c.name == name)


_tables: dict[str, Table] = {}
_may = [lambda person, deed: False]


def register(table):
    names = [c.name for c in table.columns]
    if len(set(names)) != len(names):
        raise ValueError(f"Table {table.name}: a column is named twice.")
    _tables[table.name] = table
    return table


def rules(may):
    """The room that knows people says who may do what: a function of (person, deed)."""
    _may[0] = may


def find(name):
    return _tables.get(name)


def allowed(person, table):
    return _may[0](person, table.deed)


def for_person(person):
    """The tables this person may bring in, in order."""
    return [t for t in all_tables() if allowed(person, t)]


def all_tables():
    return sorted(_tables.values(), key=lambda t: (t.order, t.name))
