"""Tables as files: the same rows as CSV and as a workbook, and one sound row of the wide table to spoil."""

import csv
import io

import xlsxwriter

SOUND = {
    "serial": "RM-1", "site_code": "NK-1", "site_name": "Nakwara school", "village": "Nakwara",
    "district": "Upper Nakwara", "latitude_deg": "3.1204", "longitude_deg": "35.6071", "people_served": "250",
    "need_m3_day": "5", "inside_diameter_mm": "150", "well_depth_m": "60", "static_level_m": "22.4",
    "measured_on": "2024-02-20", "tank_rise_m": "5", "pump_type": "Brook 80", "test_head_m": "45",
    "test_power_w": "300", "test_flow_l_min": "12.5", "commissioned_on": "2024-03-01", "module_type": "Plain 150",
    "modules_in_series": "3", "pipe_outside_mm": "32", "pipe_wall_mm": "3.0", "pipe_length_m": "41",
    "rope_length_m": "43", "cable_area_mm2": "4", "cable_length_m": "48", "setting_depth_m": "40",
}  # fmt: skip


def sound(number=1, **changes):
    """A good row of the wide table; each number is another unit at another site."""
    own = {"serial": f"RM-{number}", "site_code": f"NK-{number}", "latitude_deg": f"{3.12 + number / 1000:.4f}"}
    return SOUND | own | changes


def as_csv(rows, delimiter=","):
    out = io.StringIO()
    heads = list(dict.fromkeys(head for row in rows for head in row))
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(heads)
    writer.writerows([row.get(head, "") for head in heads] for row in rows)
    return out.getvalue().encode()


def as_xlsx(rows):
    """A workbook in which everything stands as it was typed: figures of a plain kind as figures, the rest as text."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    sheet = book.add_worksheet("Fleet")
    heads = list(dict.fromkeys(head for row in rows for head in row))
    for column, head in enumerate(heads):
        sheet.write_string(0, column, head)
        for line, row in enumerate(rows, 1):
            cell = row.get(head, "")
            if cell == "":
                continue
            try:
                sheet.write_number(line, column, float(cell))
            except ValueError:
                sheet.write_string(line, column, cell)
    book.close()
    return out.getvalue()


KINDS = {"csv": as_csv, "xlsx": as_xlsx}
