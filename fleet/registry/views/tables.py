"""The lists of units and of sites as tables: rows as plain values, cells made in one go."""

from django.urls import NoReverseMatch
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.registry.models import Installation, Unit, Well
from fleet.web import lists, quantities
from fleet.web.markup import addresses, joined, markup
from fleet.web.templatetags.web import badge

SITE_FACTS = ("id", "code", "name", "village", "caretaker_name", "caretaker_phone", "people_served", "district__name")
TONES = {Unit.Status.INSTALLED: "good", Unit.Status.RETIRED: "idle"}


def life_addresses():
    """A unit's whole life stands in a room above; where that room is missing, its record is the page."""
    try:
        return addresses("desk:unit", 0)
    except NoReverseMatch:
        return addresses("registry:unit", 0)


def of_units(rows):
    """The table of some units, as `UnitQuerySet.as_listed` gives them."""
    life, place = life_addresses(), addresses("registry:site", "CODE")
    status = {state: badge(words, TONES.get(state, "plain")) for state, words in Unit.Status.choices}

    def where(row):
        if row["site_code"] is None:
            return quantities.NONE
        return markup(
            '<a href="{}">{}</a> {}<br><span class="quiet small">{}</span>', place(row["site_code"]),
            row["site_code"], row["site_name"], row["district"] or "",
        )  # fmt: skip

    return lists.Table(
        lists.Column(
            gettext_lazy("Serial"), lambda row: markup('<a href="{}">{}</a>', life(row["id"]), row["serial"]),
            head=True, order="serial", css="nowrap",
        ),
        lists.Column(gettext_lazy("Pump type"), lambda row: row["type"], order="type"),
        lists.Column(gettext_lazy("Status"), lambda row: status[row["status"]]),
        lists.Column(gettext_lazy("Where"), where),
        lists.Column(gettext_lazy("Since"), lambda row: quantities.when(row["since"], row["zone"], with_time=False)),
        lists.Column(
            gettext_lazy("Warranty until"), lambda row: quantities.when(row["warranty_until"]), order="warranty"
        ),
    ).of(rows)  # fmt: skip


def of_sites(rows):
    """The table of some sites, dicts of SITE_FACTS."""
    wells, hanging = {}, {}
    for well, place in (
        Well.objects.filter(site__in=[row["id"] for row in rows]).order_by("name").values_list("id", "site_id")
    ):
        wells.setdefault(place, []).append(well)
    for well, serial, kind in (
        Installation.objects.hanging()
        .filter(well__site__in=list(wells))
        .values_list("well_id", "unit__serial", "unit__pump_type__name")
    ):
        hanging.setdefault(well, []).append(markup('{} <span class="quiet small">{}</span>', serial, kind))
    page = addresses("registry:site", "CODE")

    def name(row):
        village = markup('<span class="quiet small">{}</span>', row["village"]) if row["village"] else ""
        return lists.on_lines([row["name"], village])

    def caretaker(row):
        phone = markup('<a href="tel:{0}">{0}</a>', row["caretaker_phone"]) if row["caretaker_phone"] else ""
        return lists.on_lines([row["caretaker_name"] or quantities.NONE, phone])

    def hangs(row):
        there = [joined(hanging.get(well, [quantities.NONE])) for well in wells.get(row["id"], [])]
        return lists.on_lines(there) if there else _("no well yet")

    return lists.Table(
        lists.Column(
            gettext_lazy("Code"), lambda row: markup('<a href="{}">{}</a>', page(row["code"]), row["code"]),
            head=True, order="code",
        ),
        lists.Column(gettext_lazy("Name"), name, order="name"),
        lists.Column(gettext_lazy("District"), lambda row: row["district__name"] or ""),
        lists.Column(gettext_lazy("Caretaker"), caretaker),
        lists.Column(
            gettext_lazy("People"), lambda row: quantities.number(row["people_served"]), order="people", css="num"
        ),
        lists.Column(gettext_lazy("Hangs there"), hangs),
    ).of(rows)  # fmt: skip
