"""Every list out of the house without a browser: tables in the form they come in, and the lists that pages export.

A page's list is asked of the page itself, as one person would see it, so that the columns, the filters and what may be
seen stay in one place.
"""

from contextlib import closing
from io import BytesIO

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, QueryDict
from django.urls import resolve, reverse
from django.utils import translation
from django.utils.translation import gettext as _

from fleet.intake import tables
from fleet.people.models import Person
from fleet.registry.models import Installation
from fleet.web import export
from fleet.web.refusals import Refused

# name -> (address, what it shows when nothing is said)
PAGES = {
    "attention": ("desk:attention", ""),
    "silent": ("desk:silent", ""),
    "shortfalls": ("output:shortfalls", ""),
    "site_list": ("registry:sites", ""),
    "unit_list": ("registry:units", ""),
    "visits": ("visits:list", ""),
    "findings": ("visits:findings", ""),
    "calls": ("visits:calls", "show=all"),
    "figures_in_doubt": ("readings:slips", ""),
    "people": ("people:list", ""),
    "changes": ("people:changes", ""),
    "trips": ("visits:trips", ""),
    "trips_past": ("visits:trips", "show=past"),
    "bases": ("visits:bases", ""),
    "procedures": ("visits:procedures", ""),
    "inspection_rules": ("visits:rules", ""),
    "not_computed": ("output:troubles", ""),
    "long_work": ("jobs:list", ""),
}
OF_ONE_UNIT = {"unit_meter": "meter", "unit_days": "days", "unit_spot_tests": "spot"}  # name -> kind of the page
KINDS = {".csv": "csv", ".xlsx": "xlsx", ".geojson": "geojson"}


def names():
    """All that can be taken out: tables first, then lists of pages."""
    return [t.name for t in tables.all_tables() if _offers(t)] + [*PAGES, *OF_ONE_UNIT]


def _offers(table):
    return type(table).rows is not tables.Table.rows


def take_out(*, name, kind, organisation, by=None, chosen="", serial="", since=None, through=None):
    """The list as pieces of a file (bytes) of that kind. Refuses, with a sentence, what there is not.

    `by`: the person whose page it is; none: the house itself for tables, the first administrator for pages. `chosen`:
    a page's filters as its address has them. `serial`: the unit, for lists of one unit. `since`, `through`: local days,
    for tables of readings.
    """
    table = tables.find(name)
    if table is not None and _offers(table):
        return _table_out(table, kind, organisation, by, since, through)
    if since or through:
        raise Refused("no_days", _("Days can be chosen for tables of readings only."))
    if name in PAGES:
        address, shown = PAGES[name]
        return _page_out(reverse(address), chosen or shown, kind, organisation, by)
    if name in OF_ONE_UNIT:
        address = reverse("readings:of", args=[_hanging(organisation, serial).pk])
        return _page_out(address, f"kind={OF_ONE_UNIT[name]}", kind, organisation, by)
    raise Refused("no_such_list", _("There is no list %(name)s. There are: %(known)s.") % {
        "name": name, "known": ", ".join(names())})  # fmt: skip


def _table_out(table, kind, organisation, by, since, through):
    if by is not None and not tables.allowed(by, table):
        raise Refused("not_allowed", _("Your role does not allow this. Ask a coordinator or an administrator."))
    if (since or through) and not table.dated:
        raise Refused("no_days", _("Days can be chosen for tables of readings only."))
    columns = [export.Column(column.name, column.name) for column in table.columns]
    placed = {"latitude_deg", "longitude_deg"} <= {column.name for column in table.columns}
    rows = table.rows(organisation, since, through) if table.dated else table.rows(organisation)
    request = _request("", kind, by)
    return _pieces(export.answer, request, table.name, columns, rows, _place if placed else None)


def _place(row):
    return row.get("latitude_deg"), row.get("longitude_deg")


def _page_out(address, chosen, kind, organisation, by):
    person = by or Person.objects.filter(
        organisation=organisation, role=Person.Role.ADMINISTRATOR, is_active=True
    ).order_by("pk").first()  # fmt: skip
    if person is None:
        raise Refused("nobody_to_ask", _("This organisation has no administrator with an open account. Say for whom: "
                                         "--as LOGIN."))  # fmt: skip
    view, args, kwargs = resolve(address)
    request = _request(chosen, kind, person)
    request.path = request.path_info = address
    return _pieces(view, request, *args, **kwargs)


def _request(chosen, kind, person):
    request = HttpRequest()
    request.method, request.user = "GET", person
    request.GET = QueryDict(chosen, mutable=True)
    request.GET["format"] = kind
    return request


def _pieces(view, request, *args, **kwargs):
    with translation.override(getattr(request.user, "language", "") or translation.get_language()):
        try:
            answer = view(request, *args, **kwargs)
        except Http404:
            raise Refused("no_place", _("This list has no places: take it out as CSV or XLSX.")) from None
        except PermissionDenied as denied:
            raise Refused("not_allowed", str(denied)) from None
        with closing(getattr(answer, "file_to_stream", None) or BytesIO()):
            yield from answer.streaming_content


def _hanging(organisation, serial):
    if not serial:
        raise Refused("which_unit", _("Say of which unit: --serial SERIAL."))
    found = Installation.objects.filter(organisation=organisation, unit__serial__iexact=serial.strip())
    last = found.order_by("-period").first()
    if last is None:
        raise Refused("no_such_unit", _("No unit of serial %(serial)s hangs or hung anywhere.") % {"serial": serial})
    return last
