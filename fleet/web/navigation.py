"""The menu. Each room adds its own entries; the look shows those whose page exists and whose deed the person may do.

A room calls `entry` from its AppConfig.ready:

    navigation.entry(_("Attention"), "desk:attention", deed="assign", order=10, icon="bell-ring",
                     first_for=("coordinator",))

`first_for` names the roles whose first page this is: it heads their menu and `/` leads there. The look knows no room,
so the room that knows people says who may do what, once, with `rules(may)`.
"""

import functools
from dataclasses import dataclass

from django.urls import NoReverseMatch, get_script_prefix, get_urlconf, reverse
from django.utils.translation import get_language


@dataclass(frozen=True)
class Entry:
    title: str
    url_name: str
    deed: str | None
    order: int
    icon: str
    first_for: tuple
    group: str


@dataclass(frozen=True)
class Link:
    """An entry as one person sees it on one page."""

    title: str
    address: str
    icon: str
    group: str
    current: bool


_entries: dict[str, Entry] = {}
_search: list = []
_may = [lambda person, deed: False]
_kept: dict = {}  # menus as markup: there are as many as roles, languages and pages that stand in the menu
KEPT_AT_MOST = 2000

GROUPS = ("work", "fleet", "house")  # the day's work; what stands where; people, settings, catalogue


def entry(title, url_name, *, deed=None, order=100, icon="circle", first_for=(), group="work"):
    """Add a menu entry, or replace the one of the same url name. `deed` None shows it to everyone signed in."""
    if group not in GROUPS:
        raise ValueError(f"Menu group {group!r}: give one of {', '.join(GROUPS)}.")
    _kept.clear()
    _entries[url_name] = Entry(title, url_name, deed, order, icon, tuple(first_for), group)


def search_page(url_name, deed="read_fleet"):
    """The page that answers the search box in the page head; it reads `q`."""
    _search[:] = [(url_name, deed)]


def rules(may):
    """Who may do what: a function of (person, deed)."""
    _may[0] = may


def _address(url_name):
    return _address_in(url_name, get_urlconf(), get_script_prefix())


@functools.lru_cache(maxsize=512)
def _address_in(url_name, urlconf, prefix):
    """Looked up once: each page shows the whole menu."""
    try:
        return reverse(url_name)
    except NoReverseMatch:
        return None  # a room without that page yet


def links(person, path=""):
    """The person's menu in order: their own first page, then by `order`."""
    if not getattr(person, "is_authenticated", False):
        return []
    role = getattr(person, "role", "")
    mine = [e for e in _entries.values() if e.deed is None or _may[0](person, e.deed)]
    mine.sort(key=lambda e: (role not in e.first_for, GROUPS.index(e.group), e.order))
    found = [(e, _address(e.url_name)) for e in mine]
    here = _here([address for _, address in found if address], path)
    return [Link(e.title, address, e.icon, e.group, address == here) for e, address in found if address]


def _here(addresses, path):
    """The entry under which this page lies: the longest address that begins it."""
    fitting = [a for a in addresses if path == a or (a != "/" and path.startswith(a))]
    return max(fitting, key=len, default=None)


def kept(template, menu, render):
    """A part of the page that shows the menu and nothing else, made once for each menu and language."""
    key = (template, get_language(), tuple([(link.address, link.current) for link in menu]))
    if key not in _kept:
        if len(_kept) >= KEPT_AT_MOST:
            _kept.clear()
        _kept[key] = render()
    return _kept[key]


def first_address(person):
    """Where `/` leads this person, or None while no room offers them a page."""
    found = links(person)
    return found[0].address if found else None


def search_address(person):
    for url_name, deed in _search:
        if getattr(person, "is_authenticated", False) and _may[0](person, deed):
            return _address(url_name)
    return None
