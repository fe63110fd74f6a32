"""/health/ answers whoever watches the server."""

from unittest import mock

import pytest
from django.db import OperationalError, connection
from django.test import Client


@pytest.mark.django_db
def test_a_server_that_reaches_its_database_says_so_to_anyone():
    answer = Client().get("/health/")
    assert (answer.status_code, answer.json()) == (200, {"database": "ok"})


@pytest.mark.django_db
def test_a_server_whose_database_is_away_says_so():
    with mock.patch.object(connection, "cursor", side_effect=OperationalError("gone")):
        answer = Client().get("/health/")
    assert (answer.status_code, answer.json()) == (503, {"database": "away"})


@pytest.mark.django_db
def test_who_watches_may_ask_by_number_while_pages_answer_to_their_own_name_only(settings):
    settings.ALLOWED_HOSTS = ["pumps.example.org"]
    by_number = Client(headers={"host": "10.0.0.7:8000"})
    assert by_number.get("/health/").status_code == 200
    assert by_number.get("/people/log-in/").status_code == 400
