"""The report's figures as a workbook: one sheet each for summary, months, groups. No formulas, numbers as numbers."""

from io import BytesIO

import xlsxwriter
from django.utils.translation import gettext as _

from fleet.reports.services.page import GROUP_NAMES

MONTH_COLUMNS = [
    ("month", "month", None), ("units", "units", None), ("delivered_m3", "delivered, m³", 1),
    ("expected_m3", "expected, m³", 1), ("low_m3", "expected low, m³", 1), ("high_m3", "expected high, m³", 1),
    ("need_m3", "needed, m³", 1), ("output_ratio", "measured over expected", 4),
    ("need_ratio", "measured over need", 4), ("availability", "availability", 4), ("hung", "unit-days hung", None),
    ("reported", "unit-days reported", None), ("down", "unit-days down", None),
    ("idle", "unit-days idle, tank full", None), ("disabled", "unit-days without sun or with a dry well", None),
]  # fmt: skip


def _plain(value, digits):
    if value is None:
        return ""
    if digits is not None and isinstance(value, int | float):
        return round(value, digits)
    return value


def _sheet(book, name, first, rows, bold, day):
    sheet = book.add_worksheet(name[:31])
    titles = [first, *[title for key, title, _ in MONTH_COLUMNS if key != "month"]]
    for column, title in enumerate(titles):
        sheet.write_string(0, column, str(title), bold)
    for line, (head, row) in enumerate(rows, 1):
        if hasattr(head, "isoformat"):
            sheet.write_datetime(line, 0, head, day)
        elif isinstance(head, int | float):
            sheet.write_number(line, 0, head)
        else:
            sheet.write_string(line, 0, str(head or "–"))
        for column, (key, _title, digits) in enumerate(MONTH_COLUMNS[1:], 1):
            value = _plain(row.get(key), digits)
            if value == "":
                sheet.write_blank(line, column, None)
            else:
                sheet.write_number(line, column, value)
    sheet.freeze_panes(1, 1)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, len(titles), 15)


def workbook(report):
    """The workbook's bytes."""
    out = BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    bold, day = book.add_format({"bold": True, "text_wrap": True, "valign": "top"}), book.add_format(
        {"num_format": "yyyy-mm"}
    )
    whole = f"{report['first']:%Y-%m} – {report['last']:%Y-%m}"
    _sheet(book, _("Whole"), _("months"), [(whole, report["summary"])], bold, day)
    _sheet(book, _("By month"), _("month"), [(row["month"], row) for row in report["months"]], bold, day)
    for name, title in GROUP_NAMES.items():
        _sheet(book, str(title), title, [(row["group"], row) for row in report["groups"][name]], bold, day)
    sheet = book.add_worksheet(_("Work")[:31])
    lines = [
        (_("inspections due"), report["inspections"]["due"]),
        (_("made by their day"), report["inspections"]["on_time"]),
        (_("made late"), report["inspections"]["late"]), (_("not made"), report["inspections"]["open"]),
        (_("failures put right"), report["restoration"]["cases"]),
        (_("days until noticed, middle case"), report["restoration"]["detection_days"]),
        (_("days until somebody came, middle case"), report["restoration"]["waiting_days"]),
        (_("days from failure to water, middle case"), report["restoration"]["total_days"]),
    ]  # fmt: skip
    for line, (title, value) in enumerate(lines):
        sheet.write_string(line, 0, title)
        if value is not None:
            sheet.write_number(line, 1, value)
    sheet.set_column(0, 0, 44)
    book.close()
    return out.getvalue()
