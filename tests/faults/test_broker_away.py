"""The broker is away, or takes the line and says nothing: pages answer at once, and the work is found afterwards."""

import socket
import time

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from fleet.intake import services as intake
from fleet.intake import tables
from fleet.jobs import services as jobs
from fleet.jobs import waking
from fleet.jobs.models import Job
from fleet.jobs.querysets import UNHEARD_AFTER
from fleet.visits import services as visits_services
from fleet.visits.models import FieldPiece, StepRecord, Visit
from fleet.visits.tasks import sweep_pieces
from tests.faults.places import halt, standing, until
from tests.faults.workers import calls_through, forget_lines
from tests.makers.field_pieces import a_piece, a_step_piece
from tests.makers.registry import an_installation
from tests.makers.visits import a_visit, an_assigned_visit

pytestmark = pytest.mark.django_db(transaction=True)
NEVER_LONGER_S = 2.0


@pytest.fixture
def deaf_port():
    """A port that takes every line and says nothing, like a server that hangs."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(50)
        yield listening.getsockname()[1]


@pytest.fixture
def closed_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def upload(nadia, monkeypatch):
    monkeypatch.setattr(intake, "AT_ONCE_BYTES", 0)
    lines = ["Name,Outside diameter (mm),Wall (mm),Pressure (bar)"]
    lines += [f"PE {n},{20 + n},3,16" for n in range(50)]
    file = SimpleUploadedFile("pipes.csv", "\n".join(lines).encode())
    return intake.receive(table=tables.find("pipes"), file=file, by=nadia)


def took(call):
    began = time.monotonic()
    answer = call()
    return answer, time.monotonic() - began


def match(client, upload):
    columns = ["name", "outside_mm", "wall_mm", "pressure_bar"]
    chosen = {f"use_{n}": column for n, column in enumerate(columns)}
    return client.post(reverse("intake:match", args=[upload.pk]), chosen)


@pytest.mark.parametrize("scheme", ["redis", "amqp"])
@pytest.mark.parametrize("how", ["closed_port", "deaf_port"])
def test_a_page_that_starts_long_work_answers_at_once_and_shows_it_waiting(
    scheme, how, request, upload, nadia, client_of
):
    port, client = request.getfixturevalue(how), client_of(nadia)
    client.get(reverse("intake:match", args=[upload.pk]))  # what a first page costs is no matter here
    with calls_through(f"{scheme}://127.0.0.1:{port}/"):
        answer, seconds = took(lambda: match(client, upload))
        job = Job.objects.get()
        assert answer.status_code == 302 and answer["Location"] == reverse("jobs:job", args=[job.pk])
        assert job.state == "waiting"
        assert seconds < NEVER_LONGER_S + 1
        page, seconds = took(lambda: client.get(answer["Location"]))
        assert page.status_code == 200 and "waiting" in page.content.decode()
        # For a while nobody even tries: a hundred calls of a sweep cost nothing.
        sent, seconds = took(lambda: [waking.wake("jobs.sweep") for _ in range(100)])
        assert not any(sent) and seconds < NEVER_LONGER_S


def test_what_was_asked_while_the_broker_was_away_is_done_when_it_is_back(
    upload, nadia, idris, client_of, by_broker, workers
):
    by_broker.kill()
    try:
        forget_lines()
        client = client_of(nadia)
        visit = a_visit(an_installation(nadia.organisation))
        day = timezone.localdate()
        address = reverse("visits:assign", args=[visit.key])
        answer, seconds = took(lambda: client.post(address, {"technician": idris.pk, "on": day.isoformat()}))
        assert answer.status_code == 302 and seconds < NEVER_LONGER_S + 1
        assert Visit.objects.get(pk=visit.pk).technician == idris
        answer, seconds = took(lambda: match(client, upload))
        assert answer.status_code == 302 and seconds < NEVER_LONGER_S + 1
        job = Job.objects.get()
        assert job.state == "waiting"
    finally:
        by_broker.start()
    forget_lines()
    workers()
    assert jobs.sweep() == 0, "a moment ago: the call may still be on its way"
    assert jobs.sweep(timezone.now() + UNHEARD_AFTER * 1.1) == 1
    until(lambda: Job.objects.get().state == "done", what="the file is looked through")
    upload.refresh_from_db()
    assert upload.state == "looked" and upload.result["rows"] == 50


@pytest.fixture
def pieces(nadia, idris):
    """The arrival and a step of two visits, as Idris's telephone sends them."""
    visits_services.set_up(nadia.organisation)
    visits = [an_assigned_visit(an_installation(nadia.organisation), idris) for _n in range(2)]
    return [piece for visit in visits for piece in (a_piece(visit, "start"), a_step_piece(visit, "arrive"))]


@pytest.mark.parametrize("how", ["closed_port", "deaf_port"])
def test_what_telephones_send_while_the_broker_is_away_is_kept_at_once_and_put_in_by_the_sweep(
    how, request, pieces, idris
):
    port = request.getfixturevalue(how)
    with calls_through(f"amqp://127.0.0.1:{port}/"):
        outcomes, seconds = took(lambda: visits_services.receive_later(by=idris, device=None, pieces=pieces))
        assert {outcome.state for outcome in outcomes} == {"held"}
        assert seconds < NEVER_LONGER_S + 1, "two visits, and the broker is waited for once"
        again, _seconds = took(lambda: visits_services.receive_later(by=idris, device=None, pieces=pieces))
        assert {outcome.state for outcome in again} == {"held"}
    assert FieldPiece.objects.count() == 4 and not StepRecord.objects.exists()
    assert sweep_pieces() == 4
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}
    assert StepRecord.objects.count() == 2 and Visit.objects.filter(state="under_way").count() == 2
    assert sweep_pieces() == 0


def test_a_worker_killed_while_it_puts_pieces_in_leaves_them_held_and_the_sweep_puts_each_in_once(
    pieces, idris, by_broker, workers
):
    worker = workers()
    with halt("visits_steprecord") as go_on:
        visits_services.receive_later(by=idris, device=None, pieces=pieces)
        until(standing, what="the worker is among the records")
        worker.kill()
        go_on()
    until(lambda: not standing())
    sweep_pieces()
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}
    assert StepRecord.objects.count() == 2
    workers()  # whatever call still waits comes to this one: nothing is put in twice
    assert sweep_pieces() == 0 and StepRecord.objects.count() == 2


def test_a_web_server_whose_line_was_cut_finds_the_broker_that_is_back_by_itself(by_broker):
    assert waking.wake("jobs.sweep")
    by_broker.kill()
    assert not waking.wake("jobs.sweep")
    by_broker.start()
    waking._line.away_until = 0.0  # five seconds later
    assert waking.wake("jobs.sweep")


def test_a_cache_that_is_away_makes_no_page_fail(closed_port, nadia, api_of, settings):
    settings.CACHES = {
        "default": {
            "BACKEND": "fleet.web.cache.ForgivingCache", "LOCATION": f"redis://127.0.0.1:{closed_port}/1",
            "OPTIONS": {"socket_connect_timeout": 1, "socket_timeout": 1},
        }
    }  # fmt: skip
    answer = api_of(nadia).get("/api/v1/jobs/")
    assert answer.status_code == 200
    assert cache.get("x", "other") == "other" and cache.set("x", 1) is None and cache.add("x", 1) is True
    assert cache.get_many(["x"]) == {} and cache.delete("x") is False
