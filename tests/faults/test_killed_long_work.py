"""An import, the manager's figures and the demo killed in the middle and started again."""

import os
import subprocess
import sys
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from deploy.machine import places
from fleet.intake import services as intake
from fleet.intake import tables
from fleet.intake.run import ALL, LOOK
from fleet.jobs import services as jobs
from fleet.jobs.models import Job
from fleet.output import services as output
from fleet.people.models import Organisation
from fleet.reports.models import InstallationMonth
from fleet.reports.services import keep
from fleet.reports.tasks import refresh_everything
from tests.faults.conftest import FIRST
from tests.faults.places import halt, standing, until
from tests.faults.workers import database_url

pytestmark = pytest.mark.django_db(transaction=True)


def rows_of(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


# -- an import -------------------------------------------------------------------------------------------------------


def long_file(units, days=700):
    lines = ["serial,day,volume_l"]
    for unit in units:
        first = unit.period.lower.date() + timedelta(days=1)
        lines += [f"{unit.unit.serial},{first + timedelta(days=n)},{3000 + n % 977}" for n in range(days)]
    return SimpleUploadedFile("days.csv", "\n".join(lines).encode())


def kept_days():
    return rows_of("SELECT installation_id, day, volume_l FROM readings_dayrecord ORDER BY 1, 2")


@pytest.fixture
def upload(few, nadia, monkeypatch):
    """A file of 2,800 days, looked through; what is asked of it next goes to a worker."""
    made = intake.receive(table=tables.find("daily_records"), file=long_file(few), by=nadia)
    intake.carry_out(upload=made, word=LOOK, by=nadia)
    assert made.result["rows"] == 2800 and not made.result["rejected"]
    monkeypatch.setattr(intake, "AT_ONCE_BYTES", 1000)
    return made


def test_an_import_killed_in_the_middle_keeps_nothing_and_then_everything_once(upload, nadia, by_broker, workers):
    before = kept_days()
    intake.carry_out(upload=upload, word=ALL, by=nadia)
    undisturbed = kept_days()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM readings_dayrecord WHERE (installation_id, day) NOT IN "
                       "(SELECT * FROM unnest(%s::bigint[], %s::date[]))",
                       [[row[0] for row in before], [row[1] for row in before]])  # fmt: skip
        cursor.executemany("UPDATE readings_dayrecord SET volume_l = %s WHERE installation_id = %s AND day = %s",
                           [(row[2], row[0], row[1]) for row in before])  # fmt: skip
    assert kept_days() == before
    upload.state = upload.State.LOOKED
    upload.save()

    worker = workers()
    with halt("readings_dayrecord") as go_on:
        intake.ask(upload=upload, word=ALL, by=nadia)
        until(standing, what="the worker is among the rows")
        worker.kill_its_hand()
        go_on()
        until(lambda: "succeeded in" in worker.said(), what="the call given out again finds the job taken")
    assert kept_days() == before, "nothing is kept half done"
    job = Job.objects.get(pk=upload.job_id)
    assert (job.state, job.tries) == ("running", 1)
    assert jobs.sweep(timezone.now() + timedelta(seconds=60)) == 0, "its worker may only be slow"
    assert jobs.sweep(timezone.now() + timedelta(seconds=240)) == 1
    until(lambda: Job.objects.get(pk=job.pk).state == "done", what="the import is done")
    assert kept_days() == undisturbed
    upload.refresh_from_db()
    assert upload.state == "kept" and upload.result["rows"] == 2800
    jobs.wake(job.kind, str(job.pk))  # delivered once more, after all was done
    until(lambda: worker.said().count("succeeded in") == 3, what="the third call has come and gone")
    assert kept_days() == undisturbed and Job.objects.get(pk=job.pk).tries == 2


# -- the manager's figures -------------------------------------------------------------------------------------------


def figures():
    names = [f.attname for f in InstallationMonth._meta.fields if f.name not in {"id", "made_at"}]
    return list(InstallationMonth.objects.order_by("installation_id", "month").values_list(*names))


def test_the_managers_figures_killed_between_two_months_are_the_same_when_made_again(few, by_broker, workers):
    output.judge([unit.pk for unit in few], FIRST + timedelta(days=59))
    keep.refresh_everything()
    undisturbed = figures()
    assert len(undisturbed) > 20
    InstallationMonth.objects.all().delete()
    worker = workers()
    with halt("reports_installationmonth", "NEW.month > DATE '2024-05-15'") as go_on:
        refresh_everything.delay()
        until(standing, what="the worker is at the fourth month")
        worker.kill()
        go_on()
    until(lambda: not rows_of("SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND state <> 'idle' "
                              "AND pid <> pg_backend_pid() AND query LIKE '%reports_installationmonth%'"),
          what="the server has let the dead worker's statement go")  # fmt: skip
    assert 0 < InstallationMonth.objects.count() < len(undisturbed)
    again = workers()
    refresh_everything.delay()
    until(lambda: "succeeded in" in again.said(), what="the figures are made")
    assert figures() == undisturbed


# -- the demo --------------------------------------------------------------------------------------------------------

SMALL_DEMO = """
import django
django.setup()
from datetime import date
from fleet.desk.demo import lives, load, places
places.SITES_PER_DISTRICT[:] = [2, 1, 1, 1]
lives.DAYS = 60
load.load(last_day=date(2026, 3, 31), say=lambda words: None)
"""


def small_demo():
    env = dict(os.environ) | {
        "DATABASE_URL": database_url(), "DJANGO_SETTINGS_MODULE": "deploy.settings", "PYTHONPATH": str(places.ROOT)
    }  # fmt: skip
    return subprocess.Popen([sys.executable, "-W", "ignore", "-c", SMALL_DEMO], env=env, cwd=places.ROOT)


def demo_rows():
    """Everything in it, by words instead of keys: two loads number their rows differently."""
    return {
        "places": rows_of("SELECT code, name, latitude_deg, people_served FROM registry_site ORDER BY code"),
        "judged": rows_of(
            "SELECT s.code, e.day, e.expected_l, e.low_l, e.high_l, e.measured_l, e.idle FROM output_evaluation e "
            "JOIN registry_installation i ON i.id = e.installation_id JOIN registry_well w ON w.id = i.well_id "
            "JOIN registry_site s ON s.id = w.site_id ORDER BY 1, 2"
        ),
        "visits": rows_of(
            "SELECT s.code, v.kind, v.state, v.due_on, v.outcome FROM visits_visit v "
            "JOIN registry_site s ON s.id = v.site_id ORDER BY 1, 2, 3, 4, 5"
        ),
        "calls": rows_of("SELECT words FROM visits_call ORDER BY 1"),
        "people": rows_of("SELECT username, role FROM people_person ORDER BY 1"),
    }


def test_the_demo_killed_while_it_judges_ends_as_one_that_was_not(transactional_db):
    with halt("output_snapshot", "NEW.day > DATE '2026-03-12'") as go_on:
        child = small_demo()
        until(lambda: standing() or child.poll() is not None, 120, "the demo judges")
        assert standing()
        child.kill()
        child.wait()
        go_on()
    assert Organisation.objects.filter(is_demo=True).count() == 1
    assert small_demo().wait(120) == 0
    continued = demo_rows()
    assert continued["judged"] and continued["visits"] and continued["calls"]
    assert max(row[1] for row in continued["judged"]) == date(2026, 3, 31)
    assert small_demo().wait(120) == 0  # once more: it is there already
    assert demo_rows() == continued
    call_command("flush", interactive=False, verbosity=0)
    assert small_demo().wait(120) == 0
    assert demo_rows() == continued
