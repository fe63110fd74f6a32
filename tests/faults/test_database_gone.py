"""The line to PostgreSQL is cut under the web server, as a restart does: a sentence, no half transaction, then on."""

import threading
import urllib.request

import pytest
from django.db import connection, connections
from django.urls import reverse
from django.utils import timezone

from fleet.trail.models import Change
from fleet.visits.models import Trip, Visit
from tests.faults.places import halt, standing, until
from tests.makers.registry import an_installation
from tests.makers.visits import a_visit

pytestmark = pytest.mark.django_db(transaction=True)


def cut_all_lines():
    """What a restart of the server does to everybody but us."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        return cursor.fetchone()[0]


def get(address):
    with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - our own server
        return answer.status


def test_the_next_request_after_a_restart_works(live_server):
    for _ in range(3):
        assert get(live_server.url + "/people/log-in/") == 200
        assert get(live_server.url + "/health/") == 200
        cut_all_lines()
        assert get(live_server.url + "/people/log-in/") == 200


def test_a_request_cut_in_the_middle_is_told_and_leaves_nothing_half_done(nadia, idris, client_of):
    visit = a_visit(an_installation(nadia.organisation))
    client, answers = client_of(nadia), []
    client.raise_request_exception = False
    address = reverse("visits:assign", args=[visit.key])
    wanted = {"technician": idris.pk, "on": timezone.localdate().isoformat()}
    trail = Change.objects.count()

    def post():
        answers.append(client.post(address, wanted))
        connections.close_all()

    with halt("visits_visit"):
        asking = threading.Thread(target=post)
        asking.start()
        until(standing, what="the request is in the middle of its transaction")
        assert cut_all_lines() >= 1
        asking.join(30)
    answer = answers[0]
    assert answer.status_code == 503 and "The database does not answer" in answer.content.decode()
    assert answer["Retry-After"] == "30"
    visit.refresh_from_db()
    assert visit.technician is None and not Trip.objects.exists() and Change.objects.count() == trail
    assert client.post(address, wanted).status_code == 302  # sent again: done, without another log-in
    assert Visit.objects.get(pk=visit.pk).technician == idris
