"""How rows of a table become rows of the database: planned for a whole chunk first, written in a few statements.

A table is made of parts (site, well, unit, ...). Each part looks its existing rows up for the whole chunk at once, and
notes for each row of the file which object it is about and what would change. Only when all parts have had their say
are the good rows written, part by part, so that a row with a fault leaves nothing behind.
"""

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
    changed = {}
    for name, value in values.items():
        if isinstance(value, Model):  # by key: asking for the related row itself would cost a query each
            if value.pk is None or getattr(thing, f"{name}_id") != value.pk:
                changed[name] = value
        elif getattr(thing, name) != value:
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
    """Set values; related objects by their descriptor, plain ones past it."""
    own = thing.__dict__
    for name, value in values.items():
        if isinstance(value, Model):
            setattr(thing, name, value)
        else:
            own[name] = value


class Part:
    """One kind of object in a row. `model` is what it makes; `steps` of the row are kept under its name."""

    model = None
    name = ""

    def begin(self, run):
        pass

    def plan(self, rows, run):
        """Add this part's Step to each row it concerns: `row.values["_steps"][self.name] = Step(...)`."""
        raise NotImplementedError

    def step(self, row, thing, values, new):
        """Note it; a new object takes the values at once, an existing one when its row turns out good."""
        if new:
            fill(thing, values)
            found = Step(thing, {}, True)
        else:
            found = Step(thing, differences(thing, values), False)
        row.values.setdefault("_steps", {})[self.name] = found
        return found

    def write(self, rows):
        """Create the new objects and write the changed ones, of good rows only."""
        new, changed, fields = {}, {}, set()
        for row in rows:
            step = row.values.get("_steps", {}).get(self.name)
            if step is None:
                continue
            fill(step.thing, step.changes)
            if step.thing.pk is None:  # made by this row, or by an earlier one of the chunk
                new[id(step.thing)] = step.thing
            elif step.changes:
                changed[step.thing.pk] = step.thing
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
            row.values.pop("_steps", None)
        for part in self.parts:
            part.plan([row for row in rows if not row.bad], run)
        good = [row for row in rows if not row.bad]
        for row in good:
            row.outcome = self._outcome(row.values.get("_steps", {}))
        for part in self.parts:
            part.write(good)

    def _outcome(self, steps):
        primary = steps.get(self.primary)
        if primary is not None and primary.new:
            return "new"
        return "changed" if any(step.new or step.changes for step in steps.values()) else "same"


def thing_of(row, name):
    """The object that a part of this row is about, or None."""
    step = row.values.get("_steps", {}).get(name)
    return step.thing if step else None


def pick(row, names):
    """{field: value} of the columns that this row fills; `names` is {column: field} or a list of equal names."""
    pairs = names.items() if isinstance(names, dict) else ((name, name) for name in names)
    return {field: row.values[column] for column, field in pairs if column in row.values}
