"""Pages by key: the last page costs what the first does, and nothing is counted.

    page = paging.page(request, Site.objects.visible_to(person), ["name"])          # then {% pager page %}
    page = paging.page(request, shortfalls, ["-lost_l_day", "since"], size=50)

The order may name columns, columns of related rows (`unit__serial`) and annotations, each with "-" for falling. The
row's id is added as the last word, so every row has one place. Empty values come last in either direction. A column
that may be empty by its model, but never is in this list, is written with "!" at its end ("-lost_l_day!"): then a
plain index serves the order.
"""

import base64
import binascii
import datetime
import decimal
import json
import uuid
from dataclasses import dataclass

from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db.models import F, Q

SIZE = 50


class UnknownKey(ValueError):
    """A page's key that was not made here, or was made for another order."""


@dataclass(frozen=True)
class Key:
    """One word of the order. `nullable` None: ask the model; annotations count as nullable."""

    path: str
    falling: bool
    nullable: bool
    alias: str

    def order(self, backward):
        falling = self.falling != backward
        # Empty values last going forward means first going backward. Where none can occur the clause is left out:
        # "NULLS LAST" would keep PostgreSQL from using a plain index.
        nulls = {}
        if self.nullable:
            nulls = {"nulls_first": True} if backward else {"nulls_last": True}
        return F(self.path).desc(**nulls) if falling else F(self.path).asc(**nulls)

    def same(self, value):
        return Q(**{f"{self.path}__isnull": True}) if value is None else Q(**{self.path: value})

    def beyond(self, value, backward):
        """Rows strictly after this value in the direction of reading, or None if there can be none."""
        if value is None:
            return Q(**{f"{self.path}__isnull": False}) if backward else None
        sign = "lt" if self.falling != backward else "gt"
        found = Q(**{f"{self.path}__{sign}": value})
        if self.nullable and not backward:
            found |= Q(**{f"{self.path}__isnull": True})
        return found


@dataclass(frozen=True)
class Page:
    """Rows of one page and the keys of its neighbours; empty where there is none."""

    rows: list
    previous: str
    next: str
    size: int

    def __iter__(self):
        return iter(self.rows)

    def __len__(self):
        return len(self.rows)

    @property
    def alone(self):
        return not (self.previous or self.next)


def _nullable(queryset, path):
    model, found = queryset.model, False
    if path in queryset.query.annotations:
        return True
    for name in path.split("__"):
        try:
            field = model._meta.pk if name == "pk" else model._meta.get_field(name)
        except FieldDoesNotExist:
            return True
        found = found or bool(getattr(field, "null", True))
        model = field.related_model or model
    return found


def keys(queryset, order):
    words = [(w.strip("-!"), w.startswith("-"), not w.endswith("!")) for w in order]
    pk, named = queryset.model._meta.pk, {name for name, _falling, _empty in words}
    if not named & {"id", "pk"}:  # every row has one place: what of its own key the order does not name comes last
        parts = getattr(pk, "field_names", (pk.attname,))
        words += [(name, words[-1][1], False) for name in parts if name not in named]
    return [
        Key(path, falling, may_be_empty and _nullable(queryset, path), f"page_key_{i}")
        for i, (path, falling, may_be_empty) in enumerate(words)
    ]


def _plain(value):
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return {"t": type(value).__name__, "v": value.isoformat()}
    if isinstance(value, decimal.Decimal):
        return {"t": "Decimal", "v": str(value)}
    if isinstance(value, uuid.UUID):
        return {"t": "UUID", "v": str(value)}
    return value


_READ = {
    "datetime": datetime.datetime.fromisoformat,
    "date": datetime.date.fromisoformat,
    "time": datetime.time.fromisoformat,
    "Decimal": decimal.Decimal,
    "UUID": uuid.UUID,
}


def write_key(values):
    text = json.dumps([_plain(v) for v in values], separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_key(text, length):
    """The values of a key, or None for one that is not ours: an old address then shows the first page."""
    try:
        values = json.loads(base64.urlsafe_b64decode(text.encode() + b"=" * (-len(text) % 4)))
        if not isinstance(values, list) or len(values) != length:
            return None
        read = [_READ[v["t"]](v["v"]) if isinstance(v, dict) else v for v in values]
    except (ValueError, KeyError, TypeError, binascii.Error, UnicodeError, decimal.InvalidOperation):
        return None
    return None if any(map(_strange, read)) else read


def _strange(value):
    """What our own keys never hold and the database would stumble over."""
    if isinstance(value, str):
        return "\x00" in value
    if isinstance(value, datetime.datetime):
        return value.tzinfo is None
    return isinstance(value, list | dict) or value != value


def _after(words, values, backward):
    """Equal in the first words and beyond in the next, for each length of beginning."""
    found = Q(pk__in=[])
    same = Q()
    for word, value in zip(words, values, strict=True):
        beyond = word.beyond(value, backward)
        if beyond is not None:
            found |= same & beyond
        same &= word.same(value)
    first, value = words[0], values[0]
    if not first.nullable and len(words) > 1:  # lets PostgreSQL start its index at the key instead of reading up to it
        sign = "lte" if first.falling != backward else "gte"
        found &= Q(**{f"{first.path}__{sign}": value})
    return found


def page(request, queryset, order, size=SIZE):
    """The page that the request's `after` or `before` asks for.

    Refuses nothing: a key that cannot be read, or that the database cannot compare, shows the first page.
    """
    try:
        return read(queryset, order, size, after=request.GET.get("after"), before=request.GET.get("before"))
    except UnknownKey:
        return read(queryset, order, size)


def read(queryset, order, size=SIZE, after=None, before=None):
    """The page after or before a key, else the first. Error: UnknownKey for a key that is not one of this order."""
    words = keys(queryset, order)
    queryset = queryset.annotate(**{w.alias: F(w.path) for w in words})
    for text, backward in ((before, True), (after, False)):
        if not text:
            continue
        values = read_key(text, len(words))
        if values is None:
            raise UnknownKey(text)
        try:
            rows = _fetch(queryset, words, values, backward, size)
        except (ValueError, TypeError, ValidationError):
            raise UnknownKey(text) from None
        if backward and len(rows) < size:
            break  # nearly at the start: show the first page whole
        return _page(rows, words, size, came_from="before" if backward else "after")
    return _page(_fetch(queryset, words, None, False, size), words, size, came_from="")


def _fetch(queryset, words, values, backward, size):
    if values is not None:
        queryset = queryset.filter(_after(words, values, backward))
    return list(queryset.order_by(*[w.order(backward) for w in words])[: size + 1])


def _key_of(row, words):
    get = row.get if isinstance(row, dict) else lambda name: getattr(row, name)
    return write_key([get(w.alias) for w in words])


def _page(rows, words, size, came_from):
    more = len(rows) > size
    rows = rows[:size]
    if came_from == "before":
        rows.reverse()
        has_previous, has_next = more, True
    else:
        has_previous, has_next = came_from == "after", more
    if not rows:
        return Page([], "", "", size)
    return Page(
        rows,
        _key_of(rows[0], words) if has_previous else "",
        _key_of(rows[-1], words) if has_next else "",
        size,
    )


def chosen_order(request, orders, default):
    """The order picked by `?sort=`: a name of `orders` (name -> list of words). Returns (name, words)."""
    name = request.GET.get("sort", default)
    if name not in orders:
        name = default
    return name, orders[name]
