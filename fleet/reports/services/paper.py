"""The report on paper: the same figures and charts as the page."""

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.reports.services import page
from fleet.web import paper, quantities


def report(found):
    """The report's PDF bytes, from what `page.gather` gave with its words added."""
    row = found["summary"]
    tiles = [
        (_("water delivered"), f"{row['delivered_words']} m³", ""),
        (_("of what was expected"), row["output_words"], _("days with a full tank left out")),
        (_("of what people need"), row["need_words"], ""),
        (_("availability"), row["availability_words"], _("days up over days up and down")),
        (_("units reporting"), quantities.number(row["units"]), _("%s of all days hung") % row["reported_words"]),
        (_("inspections on time"), row["inspection_words"], row["inspection_note"]),
    ]
    charts = {}
    if found["months"]:
        charts = {"months": page.month_chart(found["months"]), "days": page.availability_chart(found["months"])}
    head = [_("Units"), _("Measured over expected"), _("Availability"), _("Delivered, m³")]
    tables = [
        {
            "title": str(title),
            "head": [str(title), *head],
            "rows": [
                [
                    str(line["group"] if line["group"] is not None else "–"), quantities.number(line["units"]),
                    quantities.percent(line["output_ratio"]), quantities.percent(line["availability"], 1),
                    quantities.number(line["delivered_m3"]),
                ]
                for line in found["groups"][name]
            ],
        }
        for name, title in page.GROUP_NAMES.items()
        if found["groups"][name]
    ]  # fmt: skip
    work = found["restoration"]
    if work["cases"]:
        tables.append({
            "title": _("How fast it is put right"), "head": [_("Middle case"), _("days")],
            "rows": [
                [_("until it was noticed"), quantities.number(work["detection_days"])],
                [_("until somebody came"), quantities.number(work["waiting_days"])],
                [_("from failure to water again"), quantities.number(work["total_days"])],
            ],
        })  # fmt: skip
    months = " – ".join(date_format(found[end], "F Y") for end in ("first", "last"))
    data = {
        "title": _("How the fleet does"),
        "lead": " · ".join([months, *map(str, found["filters"].values())]),
        "organisation": found["organisation"],
        "tiles": [list(map(str, tile)) for tile in tiles],
        "charts": list(charts),
        "tables": tables,
        "notes_title": _("How these figures are made"),
        "notes": [
            _("Expected water is worked out for the weather and water level each unit had."),
            _("Every share is a sum over a sum, so that groups add up to the fleet."),
            _("Idle because the tank is full, without sun or water in the well, and down are counted apart."),
        ],
    }
    return paper.pdf("reports/report.typ", data, charts=charts)
