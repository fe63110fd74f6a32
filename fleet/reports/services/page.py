"""Everything a report shows, gathered once: the page, the PDF, the workbook and the API all read this."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.reports.services.read import by_group, by_month, inspections, restoration, summary
from fleet.web import charts

GROUP_NAMES = {
    "type": gettext_lazy("Pump type"),
    "district": gettext_lazy("District"),
    "installer": gettext_lazy("Installed by"),
    "batch": gettext_lazy("Maker's batch"),
    "age": gettext_lazy("Years since commissioning"),
}
FEW_UNITS = 3  # a group of fewer units says little about the group; it is marked


def gather(scope):
    """The report as plain values: summary, months, groups, inspections, restoration."""
    return {
        "organisation": scope.organisation.name,
        "first": scope.first, "last": scope.last,
        "filters": {name: value for name, value in scope.filters.items() if value},
        "summary": summary(scope),
        "months": by_month(scope),
        "groups": {name: by_group(scope, name) for name in GROUP_NAMES},
        "inspections": inspections(scope),
        "restoration": restoration(scope),
    }  # fmt: skip


def month_chart(months):
    """Water by month: what came, what was expected, what people need."""
    return charts.months(
        [row["month"] for row in months],
        {
            _("delivered"): [row["delivered_m3"] for row in months],
            _("expected"): [row["expected_m3"] for row in months],
            _("needed"): [row["need_reported"] / 1000 if row["need_reported"] else None for row in months],
        },
        unit="m³", title=_("Water by month"),
    )  # fmt: skip


def group_chart(rows, name):
    """Output ratio of each group, lowest first."""
    known = [row for row in rows if row["output_ratio"] is not None]
    return charts.ranked(
        [str(row["group"] or _("not recorded")) for row in known],
        [100 * row["output_ratio"] for row in known],
        unit="%", title=_("Measured over expected, by %(group)s") % {"group": str(GROUP_NAMES[name]).lower()}, mark=100,
    )  # fmt: skip


def availability_chart(months):
    """Share of reported days by what the units were: working, idle, down, without sun."""
    return charts.shares(
        [row["month"] for row in months],
        {
            _("working"): [(row["reported"] - row["down"] - row["idle"] - row["disabled"]) for row in months],
            _("idle, tank full"): [row["idle"] for row in months],
            _("down"): [row["down"] for row in months],
            _("no sun"): [row["disabled"] for row in months],
        },
        title=_("What the units did, by month"),
    )
