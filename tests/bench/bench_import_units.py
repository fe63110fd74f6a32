"""Import of 100,000 units from one wide CSV with full checking: rows a second, and the parts of the time.

    python -m tests.bench.bench_import_units [rows]

Needs DATABASE_URL of an empty, migrated database; everything is taken back at the end.
"""

import csv
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")


HEADS = """
serial site_code site_name village district latitude longitude altitude_m caretaker_name caretaker_phone people_served
need_m3_day well_kind inside_diameter_mm well_depth_m specific_capacity_m3_h_m static_level_m measured_on tank_rise_m
pipe_run_m tank_capacity_m3 float_switch pump_type batch tested_on test_head_m test_power_w test_flow_l_min
commissioned_on module_type modules_in_series strings tilt_deg azimuth_deg mounting_height_m fenced pipe_outside_mm
pipe_wall_mm pipe_length_m rope_length_m cable_area_mm2 cable_length_m setting_depth_m instrument_level installer
"""


def write_fleet(path, rows):
    """A made-up fleet as an organisation keeps it: 45 columns, 40 districts, one well a site."""
    heads = HEADS.split()
    with Path(path).open("w", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(heads)
        for n in range(rows):
            level = 12 + n % 30
            writer.writerow([
                f"RM{n:07}", f"S{n:07}", f"Lokesheni {n}", f"Nakwara {n % 3000}", f"District {n % 40}",
                f"{1 + (n % 400) * 0.01:.4f}", f"{35 + (n // 400 % 400) * 0.01:.4f}", 600 + n % 300, f"Ekal {n % 999}",
                f"+25470{n:07}", 250, "5.5", "drilled", 150, 70, "0.6", level, "2024-02-20", 5, 20, 10, "yes",
                "Brook 80", f"B{n % 50}", "2023-11-02", 45, 300, f"{12 + n % 9 * 0.1:.2f}", "2024-03-01", "Plain 150",
                3, 1, 15, 180, 3, "no", 32, "3.0", level + 19, level + 21, 4, level + 26, level + 18, "meter", "North",
            ])  # fmt: skip
    return heads


def backend_cpu():
    """Processor seconds of our database session, where the server runs on this machine; else 0."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (pid,) = cursor.fetchone()
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


def main(rows):
    import django

    django.setup()
    from django.db import transaction

    from fleet.intake import services
    from fleet.registry.models import Installation
    from fleet.trail.models import Change
    from tests.makers.people import an_organisation
    from tests.makers.registry import a_module_type, a_pump_type

    with tempfile.TemporaryDirectory() as folder, transaction.atomic():
        path = Path(folder) / "fleet.csv"
        heads = write_fleet(path, rows)
        organisation = an_organisation(name=f"Bench {time.time()}")
        a_pump_type(organisation, name="Brook 80")
        a_module_type(organisation, name="Plain 150")
        before = Change.objects.count()
        found = {}
        for name in ("first time", "same file again"):
            start, own, theirs = time.perf_counter(), time.process_time(), backend_cpu()
            outcome = services.bring_in_file(table="fleet", path=path, organisation=organisation, word="all")
            took = time.perf_counter() - start
            found[name] = took, time.process_time() - own, backend_cpu() - theirs
            print(f"{name}: {outcome.counts}")
            assert outcome.kept, outcome.faults[:3]
            if name == "first time":
                assert outcome.new == rows, outcome.counts
            else:
                assert outcome.same == rows, outcome.counts
        assert Installation.objects.filter(organisation=organisation).count() == rows
        print(f"{rows} rows of {len(heads)} columns, {path.stat().st_size / 1e6:.1f} MB")
        for name, (took, own, theirs) in found.items():
            print(f"{name}: {took:.1f} s, {rows / took:,.0f} rows a second ({rows / took / 2000:.2f} of 2,000)")
            print(f"    of processor time: {own:.1f} s here, {theirs:.1f} s in the database; "
                  f"{rows / (own + theirs):,.0f} rows a second where nobody else works on the machine")
        print(f"{Change.objects.count() - before:,} changes on the trail")
        transaction.set_rollback(True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
