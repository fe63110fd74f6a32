"""Columns that read, and how the heads of somebody's table are matched with them."""

import difflib
import re
import unicodedata
from dataclasses import dataclass, field

from fleet.intake import numbers


@dataclass(frozen=True)
class Column:
    """One column of a table: `read(cell, hints)` gives its value or raises Unreadable.

    `unit` is what the value is kept in; a head that names another unit of the same kind is converted. `aliases` are
    other words people head this column with. `required` columns may not be empty in any row.
    """

    name: str
    title: str
    read: object
    unit: str = ""
    example: str = ""
    aliases: tuple = ()
    required: bool = False
    note: str = ""

    @property
    def wanted_unit(self):
        return self.unit or getattr(self.read, "unit", "")

    @property
    def shown_example(self):
        return self.example or getattr(self.read, "example", "")


def plain(head):
    """A head in plain lower-case words: no accents, no signs."""
    text = unicodedata.normalize("NFKD", str(head)).encode("ascii", "ignore").decode().lower()
    return " ".join(re.findall(r"[a-z0-9]+", text))


UNIT_ENDINGS = [
    # as words of a plain head, longest first
    ("m3 h m", "m3/h/m"), ("l s m", "l/s/m"), ("m3 day", "m3/d"), ("m3 d", "m3/d"), ("m3 h", "m3/h"),
    ("l min", "l/min"), ("l s", "l/s"), ("l h", "l/h"), ("kwh m2", "kwh/m2"), ("wh m2", "wh/m2"),
    ("mj m2", "mj/m2"), ("kw m2", "kw/m2"), ("w m2", "w/m2"), ("mm2", "mm2"), ("m3", "m3"), ("mm", "mm"),
    ("cm", "cm"), ("km", "km"), ("ft", "ft"), ("feet", "ft"), ("in", "in"), ("inches", "in"), ("kw", "kw"),
    ("mv", "mv"), ("ma", "ma"), ("metres", "m"), ("meters", "m"), ("litres", "l"), ("liters", "l"),
    ("kpa", "kpa"), ("bar", "bar"), ("min", "min"), ("mohm", "mohm"), ("kohm", "kohm"),
    ("m", "m"), ("l", "l"), ("w", "w"), ("v", "v"), ("a", "a"), ("s", "s"), ("h", "h"), ("kg", "kg"),
]  # fmt: skip


def split_unit(head):
    """("well diameter", "m") of "Well diameter (m)" or well_diameter_m; the unit is None where none is named."""
    words = plain(head)
    for ending, unit in UNIT_ENDINGS:
        if words.endswith(" " + ending):
            return words[: -len(ending) - 1], unit
    return words, None


@dataclass
class Use:
    """What one column of the file is used for."""

    column: str
    unit: str = ""  # the unit the file writes it in, where it is not the column's own
    values: dict = field(default_factory=dict)  # what a cell says -> what is read instead
    sure: bool = True  # matched by name; else guessed by likeness, for the user to confirm


def match(heads, columns, mapping=None):
    """Which head stands for which column: {index of head: Use}.

    `mapping` is the user's word, {head: column name or {"to", "unit", "values"} or ""}; what it leaves out is matched
    by name, title or alias, with or without a unit at the end; what is left after that is guessed by likeness.
    """
    given = {plain(head): use for head, use in (mapping or {}).items()}
    by_name, by_stem = _names(columns)
    known = {c.name: c for c in columns}
    found, taken = {}, set()
    for index, head in enumerate(heads):
        if plain(head) in given:
            use = given[plain(head)]
            use = use if isinstance(use, dict) else {"to": use}
            if use.get("to") in known:
                found[index] = Use(use["to"], use.get("unit", ""), use.get("values", {}))
                taken.add(use["to"])
    for index, head in enumerate(heads):
        if index in found or plain(head) in given or not plain(head):
            continue
        use = _by_name(head, by_name, by_stem, known)
        if use and use.column not in taken:
            found[index] = use
            taken.add(use.column)
    likely = [name for name, column in by_name.items() if column not in taken]
    for index, head in enumerate(heads):
        if index in found or plain(head) in given or len(plain(head)) < 5:
            continue
        near = difflib.get_close_matches(plain(head), likely, n=1, cutoff=0.87)
        if near and by_name[near[0]] not in taken:
            found[index] = Use(by_name[near[0]], sure=False)
            taken.add(by_name[near[0]])
    return found


def _names(columns):
    by_name, by_stem = {}, {}
    for column in columns:
        for name in (column.name, str(column.title), *column.aliases):
            by_name.setdefault(plain(name), column.name)
            stem, unit = split_unit(name)
            by_stem.setdefault(stem if unit else plain(name), column.name)
    return by_name, by_stem


def _by_name(head, by_name, by_stem, known):
    words = plain(head)
    stem, unit = split_unit(head)
    if words in by_name:
        name = by_name[words]
        scale = numbers.factor(unit, known[name].wanted_unit) if unit else None
        return Use(name, unit if scale not in (None, 1.0) else "")
    name = by_stem.get(stem) if unit else by_stem.get(words)
    if name is None:
        return None
    if not unit:
        return Use(name)
    scale = numbers.factor(unit, known[name].wanted_unit)
    return Use(name, unit if scale != 1.0 else "") if scale is not None else None
