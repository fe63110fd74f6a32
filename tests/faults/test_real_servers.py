"""The same on servers of the machine's own: PostgreSQL 15 or newer, RabbitMQ. Skipped with a reason where none are."""

import csv
import gzip
import json
import os
import subprocess
import sys
from datetime import timedelta

import psycopg
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from deploy.machine import places
from fleet.intake import services as intake
from fleet.intake import tables
from fleet.jobs.models import Job
from fleet.output import services as output
from fleet.output import tasks
from fleet.output.models import Judgement
from tests.faults.conftest import FIRST
from tests.faults.places import halt, standing, until
from tests.faults.servers import RabbitMQ, a_database, postgresql
from tests.faults.test_killed_judging import as_before_the_first_night, everything, judged
from tests.faults.workers import calls_through
from tests.makers.sample_fleet import FOLDER

MAPPINGS = FOLDER.parent / "sample_fleet_mapping"

# -- PostgreSQL ------------------------------------------------------------------------------------------------------

WHOLE_JOB = """
import sys
import django
django.setup()
from pathlib import Path
from django.core.management import call_command
folder, mappings = Path(sys.argv[1]), Path(sys.argv[2])
call_command("migrate", verbosity=0)
call_command("make_organisation", "Dry Hills Water", "--administrator", "amara")
for table, name in [("module_types", "module_types"), ("pump_types", "pump_type_info"), ("pump_points", "pump_types"),
                    ("fleet", "units"), ("readings", "readings")]:
    call_command("import_table", table, str(folder / f"{name}.csv"), "--mapping", str(mappings / f"{name}.json"))
call_command("judge", "--through", sys.argv[3])
"""


def first_units(target, how_many=6):
    """The tables of the sample fleet, cut to a few units of one place."""
    serials = set()
    for name in ("module_types", "pump_type_info", "pump_types", "units", "readings"):
        with gzip.open(FOLDER / f"{name}.csv.gz", "rt") as source, (target / f"{name}.csv").open("w") as out:
            rows = csv.DictReader(source)
            writer = csv.DictWriter(out, rows.fieldnames)
            writer.writeheader()
            for row in rows:
                if name == "units" and len(serials) < how_many:
                    serials.add(row["serial"])
                if name in {"units", "readings"} and row["serial"] not in serials:
                    continue
                writer.writerow(row)
    return serials


@pytest.fixture(scope="module")
def fleet_on_a_server(tmp_path_factory):
    """A connection to a database of PostgreSQL 15 or newer in which the whole job was done by the commands."""
    server = postgresql()
    folder = tmp_path_factory.mktemp("tables")
    first_units(folder)
    with a_database(server) as url:
        env = dict(os.environ) | {
            "DATABASE_URL": url, "TASKS_AT_ONCE": "yes", "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "PYTHONPATH": str(places.ROOT),
        }  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", WHOLE_JOB, str(folder), str(MAPPINGS), "2023-07-31"],
            env=env, cwd=places.ROOT, capture_output=True, text=True, check=False, timeout=400,
        )  # fmt: skip
        assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]
        with psycopg.connect(url, autocommit=True) as line:
            yield line, folder


def test_the_whole_job_by_the_commands_on_a_server(fleet_on_a_server):
    line, folder = fleet_on_a_server
    assert line.info.server_version >= 150000
    counted = dict(line.execute(
        "SELECT 'units', count(*) FROM registry_installation UNION ALL "
        "SELECT 'days', count(*) FROM readings_dayrecord UNION ALL "
        "SELECT 'meters', count(*) FROM readings_meterreading UNION ALL "
        "SELECT 'judged', count(*) FROM output_evaluation UNION ALL "
        "SELECT 'behind', count(*) FROM output_judgement WHERE through IS DISTINCT FROM '2023-07-31'"
    ).fetchall())  # fmt: skip
    with (folder / "readings.csv").open() as file:
        kinds = [row["kind"] for row in csv.DictReader(file)]
    assert counted["units"] == 6 and counted["behind"] == 0
    assert counted["meters"] == kinds.count("meter")
    assert counted["days"] > 0 and counted["judged"] > 200


def test_the_server_keeps_two_units_out_of_one_well(fleet_on_a_server):
    line, _ = fleet_on_a_server
    columns = [row[0] for row in line.execute(
        "SELECT column_name FROM information_schema.columns WHERE table_name = 'registry_installation' "
        "AND is_identity = 'NO' AND is_generated = 'NEVER'"
    ).fetchall()]  # fmt: skip
    listed = ", ".join(f'"{name}"' for name in columns)
    with pytest.raises(psycopg.errors.ExclusionViolation):
        line.execute(
            f"INSERT INTO registry_installation ({listed}) SELECT {listed} "  # noqa: S608 - names out of the catalogue
            "FROM registry_installation LIMIT 1"
        )


def test_the_server_keeps_the_trail_of_plain_statements_too(fleet_on_a_server):
    line, _ = fleet_on_a_server
    pk, before = line.execute("SELECT id, people_served FROM registry_site ORDER BY id LIMIT 1").fetchone()
    line.execute("UPDATE registry_site SET people_served = people_served + 7 WHERE id = %s", [pk])
    found = line.execute(
        'SELECT before, after FROM trail_change WHERE "table" = %s AND row_id = %s ORDER BY id DESC LIMIT 1',
        ["registry_site", str(pk)],
    ).fetchone()
    old, new = (json.loads(part) if isinstance(part, str) else part for part in found)
    assert (old["people_served"], new["people_served"]) == (before, before + 7)


# -- RabbitMQ --------------------------------------------------------------------------------------------------------


@pytest.fixture
def rabbit(transactional_db):
    made = RabbitMQ().ready()
    with calls_through(made.url, made.queue):
        yield made
    made.gone()


def test_a_worker_killed_in_the_middle_gives_its_call_back_and_the_next_one_ends_it(few, rabbit, workers):
    ids = [unit.pk for unit in few]
    last = FIRST + timedelta(days=59)
    output.judge(ids, last)
    undisturbed = everything()
    as_before_the_first_night()
    worker = workers(at=rabbit)
    with halt("output_snapshot", f"NEW.day > DATE '{FIRST + timedelta(days=35)}'") as go_on:
        tasks.judge_batch.delay(ids, last.isoformat())
        until(standing, what="the worker is in the middle of the second stretch")
        assert rabbit.waiting() == 0
        worker.kill()
        go_on()
    until(lambda: rabbit.waiting() == 1, what="RabbitMQ has the call back")
    assert Judgement.objects.filter(claimed_until__isnull=False).exists(), "the dead worker's claim still stands"
    workers(at=rabbit)
    until(judged, what="all are judged, without any sweep")
    until(lambda: rabbit.waiting() == 0)
    assert everything() == undisturbed


def test_a_page_starts_work_that_a_worker_behind_rabbitmq_does(rabbit, workers, nadia, client_of, monkeypatch):
    monkeypatch.setattr(intake, "AT_ONCE_BYTES", 0)
    file = SimpleUploadedFile("pipes.csv", b"Name,Outside diameter (mm),Wall (mm),Pressure (bar)\nPE 32,32,3,16\n")
    upload = intake.receive(table=tables.find("pipes"), file=file, by=nadia)
    worker = workers(at=rabbit)
    wanted = {"use_0": "name", "use_1": "outside_mm", "use_2": "wall_mm", "use_3": "pressure_bar"}
    assert client_of(nadia).post(reverse("intake:match", args=[upload.pk]), wanted).status_code == 302
    until(lambda: Job.objects.get().state == "done", what="the file is looked through")
    upload.refresh_from_db()
    assert upload.state == "looked" and upload.result["rows"] == 1
    assert "reconnect" not in worker.said().lower() and "lost" not in worker.said().lower()
