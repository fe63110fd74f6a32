"""Everything a report shows, gathered once: the page, the PDF, the workbook and the API all read this."""

from django.utils.formats import date_format
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
    """Water by month: what came, what was expected, what people need on the days that were reported."""
    rows = [
        {
            "month": row["month"], "measured": row["delivered_m3"], "expected": row["expected_m3"],
            "need": row["need_reported"] / 1000 if row["need_reported"] else None,
        }
        for row in months
    ]  # fmt: skip
    return charts.bars_by_month(rows, title=_("Water by month"), unit="m³")


def group_chart(rows, name):
    """Output ratio of each group, lowest first; None where nothing was measured."""
    known = [
        {
            "name": row["group"] if row["group"] not in (None, "") else _("not recorded"),
            "value": 100 * row["output_ratio"],
            "note": _("%(n)d units") % {"n": row["units"]} + (_(", few") if row["units"] < FEW_UNITS else ""),
        }
        for row in rows
        if row["output_ratio"] is not None
    ]
    title = _("Measured over expected: %(group)s") % {"group": GROUP_NAMES[name]}
    return charts.ranked_bars(known, title=title, unit="%", mark_below=90) if known else None


def availability_chart(months):
    """Share of reported unit-days by what the units were doing."""
    rows = []
    for row in months:
        known = row["reported"] or 0
        working = known - row["down"] - row["idle"] - row["disabled"]
        for word, days in (
            (_("working"), working), (_("idle, tank full"), row["idle"]), (_("down"), row["down"]),
            (_("no sun or a dry well"), row["disabled"]),
        ):  # fmt: skip
            share = 100 * days / known if known else None
            rows.append({"x": date_format(row["month"], "M Y"), "y": word, "value": share})
    return charts.heat_map(
        rows, title=_("What the units did, share of reported days"), x_title=_("Month"), y_title=_("State"), unit="%"
    )
