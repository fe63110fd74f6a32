"""Long work: asked once, done once, seen while it runs, found again when its worker is gone."""

import threading
from datetime import timedelta

import pytest
from celery import current_app, shared_task
from django.utils import timezone

from fleet.jobs import services, waking, work
from fleet.jobs.models import Job
from fleet.jobs.work import long_task, running
from fleet.web.refusals import Refused

pytestmark = pytest.mark.django_db
done_with = []


@long_task("tests.count_up")
def count_up(work, up_to=3):
    """Counts, and shows how far it is."""
    for n in range(up_to):
        work.progress(n, up_to, f"number {n}")
    done_with.append(up_to)
    return {"counted": up_to}


@long_task("tests.refuse")
def refuse(work):
    raise Refused("no_such_file", "The file has gone. Send it again.")


@long_task("tests.break")
def break_down(work):
    raise ZeroDivisionError


@shared_task(name="tests.nothing")
def nothing(job_id):
    """A worker that dies at once."""


@pytest.fixture(autouse=True)
def _fresh():
    done_with.clear()


def ask(kind, by, captured, **arguments):
    with captured(execute=True):
        job = services.start(kind=kind, title="Counting", arguments=arguments, by=by)
        assert job.state == Job.State.WAITING
        assert done_with == []  # not before the row is committed
    job.refresh_from_db()
    return job


def test_work_is_done_after_commit_and_keeps_its_result(nadia, django_capture_on_commit_callbacks):
    job = ask("tests.count_up", nadia, django_capture_on_commit_callbacks, up_to=4)
    assert (job.state, job.result, job.total, job.tries) == (Job.State.DONE, {"counted": 4}, 4, 1)
    assert job.organisation == nadia.organisation
    assert job.ended_at is not None


def test_the_same_call_twice_does_the_work_once(nadia, django_capture_on_commit_callbacks):
    job = ask("tests.count_up", nadia, django_capture_on_commit_callbacks)
    count_up(str(job.pk))
    assert done_with == [3]


def test_a_refusal_becomes_the_sentence_shown(nadia, django_capture_on_commit_callbacks):
    job = ask("tests.refuse", nadia, django_capture_on_commit_callbacks)
    assert (job.state, job.trouble) == (Job.State.FAILED, "The file has gone. Send it again.")


def test_a_fault_of_ours_is_said_calmly_and_logged(nadia, django_capture_on_commit_callbacks, caplog):
    job = ask("tests.break", nadia, django_capture_on_commit_callbacks)
    assert job.state == Job.State.FAILED
    assert "Nothing was kept half done" in job.trouble
    assert "ZeroDivisionError" in caplog.text


def test_work_left_behind_is_taken_up_again_three_times_and_then_given_up(nadia, django_capture_on_commit_callbacks):
    job = ask("tests.nothing", nadia, django_capture_on_commit_callbacks)
    for tries in (1, 2, 3):
        assert services.claim(job.pk).tries == tries
        assert services.sweep() == 0  # its worker was heard of a moment ago
        later = timezone.now() + timedelta(seconds=121)
        services.sweep(now=later)
        job.refresh_from_db()
    assert job.state == Job.State.FAILED
    assert "ended 3 times" in job.trouble


def test_the_sweep_wakes_what_no_worker_heard_of(nadia):
    job = services.start(kind="tests.count_up", title="Counting", by=nadia)  # its after-commit call never goes out
    assert services.sweep() == 0
    assert services.sweep(now=timezone.now() + timedelta(seconds=61)) == 1
    job.refresh_from_db()
    assert job.state == Job.State.DONE


@pytest.fixture
def by_broker(monkeypatch):
    """Calls go out through the broker, as in production, and not at once in this process."""
    monkeypatch.setattr(waking, "_line", waking._Line())
    before = current_app.conf.task_always_eager
    current_app.conf.task_always_eager = False
    yield
    current_app.conf.task_always_eager = before


@pytest.mark.usefixtures("by_broker")
def test_a_broker_that_is_away_loses_nothing(nadia, monkeypatch, django_capture_on_commit_callbacks, caplog):
    def away(*args, **options):
        raise ConnectionRefusedError

    monkeypatch.setattr("celery.canvas.Signature.delay", away)
    job = ask("tests.count_up", nadia, django_capture_on_commit_callbacks)
    assert job.state == Job.State.WAITING
    assert "waits for the next sweep" in caplog.text


@pytest.mark.usefixtures("by_broker")
def test_a_broker_that_says_nothing_is_not_waited_for_and_not_asked_again_at_once(monkeypatch):
    asked, answers = [], threading.Event()

    def silent(*args, **options):
        asked.append(1)
        answers.wait(20)

    monkeypatch.setattr(waking, "PATIENCE_S", 0.05)
    monkeypatch.setattr("celery.canvas.Signature.delay", silent)
    assert [waking.wake("tests.nothing", "x") for _ in range(50)] == [False] * 50
    assert asked == [1]
    monkeypatch.setattr(waking._line, "away_until", 0.0)
    assert not waking.wake("tests.nothing", "x") and asked == [1]  # the first call still hangs on the line
    answers.set()
    waking._line.waiting.join(20)
    assert waking.wake("tests.nothing", "x") and asked == [1, 1]


def test_stopped_work_ends_at_its_next_step(nadia, monkeypatch):
    monkeypatch.setattr(work, "SHOW_S", 0)
    job = services.start(kind="tests.count_up", title="Counting", by=nadia)
    with running(job.pk) as run:
        run.progress(1, 10, "one")
        services.stop(job=job, by=nadia)
        run.progress(2, 10, "two")
        pytest.fail("went on")
    job.refresh_from_db()
    assert (job.state, job.done) == (Job.State.STOPPED, 1)
    with pytest.raises(Refused, match="ended already"):
        services.stop(job=job, by=nadia)


def test_a_slow_worker_gives_way_to_the_one_that_took_its_job_up(nadia, monkeypatch):
    monkeypatch.setattr(work, "SHOW_S", 0)
    job = services.start(kind="tests.nothing", title="Counting", by=nadia)
    with running(job.pk) as slow:
        services.sweep(now=timezone.now() + timedelta(seconds=121))
        services.claim(job.pk)
        slow.progress(1, 2, "still here")
        pytest.fail("went on")
    job.refresh_from_db()
    assert (job.state, job.tries) == (Job.State.RUNNING, 2)


@pytest.mark.django_db(transaction=True)
def test_progress_is_seen_from_outside_while_a_transaction_is_open(nadia, monkeypatch):
    from django.db import connection, connections, transaction

    monkeypatch.setattr(work, "SHOW_S", 0)
    job = services.start(kind="tests.nothing", title="Counting", by=nadia)
    outside = connection.copy("outside")
    connections["outside"] = outside
    try:
        with running(job.pk) as run, transaction.atomic():
            run.progress(7, 10, "seven")
            assert Job.objects.using("outside").get(pk=job.pk).done == 7
    finally:
        outside.close()
        del connections["outside"]


def test_one_sees_ones_own_work_and_the_administrator_the_organisations(nadia, idris, amara, otto):
    job = services.start(kind="tests.nothing", title="Counting", by=nadia)
    seen = {p.username: Job.objects.visible_to(p).filter(pk=job.pk).exists() for p in (nadia, idris, amara, otto)}
    assert seen == {"nadia": True, "idris": False, "amara": True, "otto": False}
    with pytest.raises(Refused):
        services.stop(job=job, by=otto)
