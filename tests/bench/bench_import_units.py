"""Import of 100,000 units from one wide CSV with full checking: rows a second, memory, and a bare COPY beside it.

    python -m tests.bench.bench_import_units [rows]

Makes a database of its own (named in DATABASE_URL with `_bench` behind) and removes it. The whole way is measured, from
the file to the committed rows: a look that keeps nothing, the import, the same file again (nothing changes), and a
bare COPY of the rows that the import made, table by table into the same tables with all their triggers and constraints.
"""

import csv
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.surroundings import bench_database

HEADS = """
serial site_code site_name village district latitude longitude altitude_m caretaker_name caretaker_phone people_served
need_m3_day well_kind inside_diameter_mm well_depth_m specific_capacity_m3_h_m static_level_m measured_on tank_rise_m
pipe_run_m tank_capacity_m3 float_switch pump_type batch tested_on test_head_m test_power_w test_flow_l_min
commissioned_on module_type modules_in_series strings tilt_deg azimuth_deg mounting_height_m fenced pipe_outside_mm
pipe_wall_mm pipe_length_m rope_length_m cable_area_mm2 cable_length_m setting_depth_m instrument_level installer
"""
TABLES = ["district", "pipe", "cable", "site", "well", "staticlevel", "tank", "unit", "unitpoint", "installation"]
WANTED = 2000


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


def backend_cpu(connection):
    """Processor seconds of our database session, where the server runs on this machine; else 0."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (pid,) = cursor.fetchone()
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


def measured(connection, rows, what, work):
    start, own, theirs = time.perf_counter(), time.process_time(), backend_cpu(connection)
    outcome = work()
    took = time.perf_counter() - start
    own, theirs = time.process_time() - own, backend_cpu(connection) - theirs
    print(f"{what}: {took:.1f} s, {rows / took:,.0f} rows a second ({rows / took / WANTED:.2f} of {WANTED:,}); "
          f"processor {own:.1f} s here and {theirs:.1f} s in the database, {rows / (own + theirs):,.0f} rows for each")
    return outcome, took


def bare_copy(connection, folder):
    """Seconds that the stored rows take to go in again by COPY and nothing else."""
    order = [f"registry_{name}" for name in TABLES]
    with connection.cursor() as cursor:
        for table in order:
            source = table
            if table == "registry_site":  # as the import gives it: the serial, and the trigger puts its words before it
                cursor.execute("SELECT column_name FROM information_schema.columns WHERE table_name = %s "
                               "ORDER BY ordinal_position", [table])  # fmt: skip
                names = [f"regexp_replace({n}, '^.* ', '')" if n == "search" else n for (n,) in cursor.fetchall()]
                source = f"(SELECT {', '.join(names)} FROM {table})"  # noqa: S608 - our own columns' names
            with (Path(folder) / table).open("wb") as handle, cursor.copy(f"COPY {source} TO STDOUT") as out:
                for block in out:
                    handle.write(block)
        cursor.execute(f"TRUNCATE {', '.join(order)}, trail_change CASCADE")
        cursor.execute("CHECKPOINT")
    from django.db import transaction

    start = time.perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        for table in order:
            with (Path(folder) / table).open("rb") as handle, cursor.copy(f"COPY {table} FROM STDIN") as copy:
                while block := handle.read(1 << 20):
                    copy.write(block)
    return time.perf_counter() - start


def main(rows=100_000):
    with bench_database() as connection, tempfile.TemporaryDirectory() as folder:
        from fleet.intake import services
        from fleet.registry.models import Installation
        from fleet.trail.models import Change
        from tests.makers.people import an_organisation
        from tests.makers.registry import a_module_type, a_pump_type

        path = Path(folder) / "fleet.csv"
        heads = write_fleet(path, rows)
        print(f"{rows:,} rows of {len(heads)} columns, {path.stat().st_size / 1e6:.1f} MB")
        organisation = an_organisation(name="Bench")
        a_pump_type(organisation, name="Brook 80")
        a_module_type(organisation, name="Plain 150")
        begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        before = Change.objects.count()

        def bring(word):
            return services.bring_in_file(table="fleet", path=path, organisation=organisation, word=word)

        looked, _took = measured(connection, rows, "look, nothing kept", lambda: bring("look"))
        assert (looked.new, looked.kept) == (rows, False), looked.counts
        assert not Installation.objects.exists()
        kept, took = measured(connection, rows, "import", lambda: bring("all"))
        assert (kept.new, kept.kept, kept.rejected) == (rows, True, 0), kept.faults[:3]
        changes = Change.objects.count()
        again, _took = measured(connection, rows, "the same file again", lambda: bring("all"))
        assert again.same == rows and Change.objects.count() == changes, again.counts
        assert Installation.objects.count() == rows
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(f"{changes - before:,} changes on the trail; memory at most {peak / 1024:,.0f} MB, of which "
              f"{(peak - begun) / 1024:,.0f} MB for this")  # fmt: skip
        copied = bare_copy(connection, folder)
        print(f"bare COPY of the same rows into the same tables: {copied:.1f} s, {rows / copied:,.0f} rows a second; "
              f"the import takes {took / copied:.1f} times as long")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
