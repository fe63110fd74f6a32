"""How rows of a table become rows of the database: planned for a whole chunk first, written in a few statements.

A table is made of parts (site, well, unit, ...). Each part looks its existing rows up for the whole chunk at once, and
notes for each row of the file which object it is about and what would change. Only when all parts have had their say
are the good rows written, part by part, so that a row with a fault leaves nothing behind.
"""

from abc import ABC, abstractmethod

from django.db import connection
from django.db.models import Model
from django.db.models.base import ModelState

from fleet.intake.tables import Table
from fleet.registry.tables.copying import copy_in


class Step:
    """One object that one row of the file is about, and what the row changes in it."""

    __slots__ = ("changes", "new", "thing")

    def __init__(self, thing, changes, new):
        self.thing, self.changes, self.new = thing, changes, new


def differences(thing, values):
    """What `values` would change in it. An empty cell is no value: it leaves what is there."""
    changed, own = {}, thing.__dict__
    for name, value in values.items():
        if isinstance(value, Model):  # by key: asking for the related row itself would cost a query each
            if value.id is None or own[f"{name}_id"] != value.id:
                changed[name] = value
        elif own[name] != value:
            changed[name] = value
    return changed


_blank = {}


def fresh(model, **values):
    """A new object with its defaults, as `model(**values)` makes it, in a tenth of the time: rows are many."""
    if model not in _blank:
        plain = model()
        made = [(f.attname, f.default) for f in model._meta.concrete_fields
                if f.has_default() and callable(f.default)]  # fmt: skip
        _blank[model] = {k: v for k, v in plain.__dict__.items() if k != "_state"}, made
    defaults, made = _blank[model]
    thing = model.__new__(model)
    thing.__dict__.update(defaults)
    thing._state = ModelState()
    for attname, default in made:
        thing.__dict__[attname] = default()
    fill(thing, values)
    return thing


def fill(thing, values):
    """Set values past the descriptors: a related object with its key, as far as it has one."""
    own = thing.__dict__
    for name, value in values.items():
        if isinstance(value, Model):
            own[f"{name}_id"] = value.id
            thing._state.fields_cache[name] = value
        else:
            own[name] = value


def stored(model, field, keys, organisation=None, beside="true"):
    """Stored rows whose `field` (SQL over this one table) is one of `keys`, as objects, as the mapper gives them.

    Within the organisation, if one is given, and where `beside` holds. The keys go as one array, and as a table to be
    joined: a query with thousands of parameters takes longer to write than to answer, and for a list of thousands the
    planner may turn to the index for searching words, which takes seconds.
    """
    if not keys:
        return []
    fields = model._meta.concrete_fields
    names = [f.attname for f in fields]
    read = [(f.attname, f.from_db_value, f) for f in fields if hasattr(f, "from_db_value")]
    quote, found, alias = connection.ops.quote_name, [], connection.alias
    columns = ", ".join(f"t.{quote(f.column)}" for f in fields)
    kind = "text" if isinstance(next(iter(keys)), str) else "bigint"
    own = "" if organisation is None else "AND t.organisation_id = %s"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {columns} FROM unnest(%s::{kind}[]) AS wanted(key) "  # noqa: S608 - our own columns' names
            f"JOIN {quote(model._meta.db_table)} t ON {field} = wanted.key {own} WHERE {beside}",
            [list(keys), *([] if organisation is None else [organisation.pk])],
        )
        for row in cursor.fetchall():
            thing = model.__new__(model)
            thing.__dict__.update(zip(names, row, strict=True))
            for attname, from_db_value, field in read:
                value = from_db_value(thing.__dict__[attname], field.cached_col, connection)
                thing.__dict__[attname] = value
            thing._state = state = ModelState()
            state.adding, state.db = False, alias
            found.append(thing)
    return found


def relate(things, name, by_key):
    """Give stored objects their related ones where these are at hand; the others would be fetched when asked for."""
    attname = f"{name}_id"
    for thing in things:
        related = by_key.get(thing.__dict__[attname])
        if related is not None:
            thing._state.fields_cache[name] = related


class Part(ABC):
    """One kind of object in a row. `model` is what it makes; `steps` of the row are kept under its name."""

    model = None
    name = ""

    def begin(self, run):  # noqa: B027 - most need none
        pass

    @abstractmethod
    def plan(self, rows, run):
        """Add this part's Step to each row it concerns: `row.steps[self.name] = Step(...)`."""

    def step(self, row, thing, values, new):
        """Note it; a new object takes the values at once, an existing one when its row turns out good."""
        if new:
            fill(thing, values)
            found = Step(thing, {}, True)
        else:
            found = Step(thing, differences(thing, values), False)
        row.steps[self.name] = found
        return found

    def write(self, rows):
        """Create the new objects and write the changed ones, of good rows only."""
        new, changed, fields = {}, {}, set()
        for row in rows:
            step = row.steps.get(self.name)
            if step is None:
                continue
            thing = step.thing
            if step.changes:
                fill(thing, step.changes)
            if thing._state.adding:  # made by this row, or by an earlier one of the chunk
                new[id(thing)] = thing
            elif step.changes:
                changed[thing.id] = thing
                fields |= step.changes.keys()
        if new:
            self.create(list(new.values()))
        if changed:
            self.model.objects.bulk_update(list(changed.values()), sorted(fields), batch_size=1000)

    def create(self, things):
        copy_in(things)


class Composed(Table):
    """A table made of parts. `primary`: the part whose being new makes the row new; else it has changed."""

    parts = ()
    primary = ""

    def begin(self, run):
        for part in self.parts:
            part.begin(run)

    def take(self, rows, run):
        for row in rows:
            row.steps = {}
        for part in self.parts:
            part.plan([row for row in rows if not row.bad], run)
        good = [row for row in rows if not row.bad]
        for row in good:
            row.outcome = self._outcome(row.steps)
        for part in self.parts:
            part.write(good)

    def _outcome(self, steps):
        primary = steps.get(self.primary)
        if primary is not None and primary.new:
            return "new"
        return "changed" if any(step.new or step.changes for step in steps.values()) else "same"


def thing_of(row, name):
    """The object that a part of this row is about, or None."""
    step = row.steps.get(name)
    return step.thing if step else None


def filled(run, names):
    """(column, field) of those that this file has at all; `names` is {column: field} or a list of equal names."""
    pairs = names.items() if isinstance(names, dict) else ((name, name) for name in names)
    return [(column, field) for column, field in pairs if column in run.columns]


def pick(row, pairs):
    """{field: value} of the columns that this row fills; `pairs` as `filled` gives them."""
    values = row.values
    return {field: values[column] for column, field in pairs if column in values}
