"""The API tried from its own schema: whatever a program sends, the server answers and never falls over."""

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, given, settings

from deploy.wsgi import application
from fleet.people.tokens import make_token
from tests.makers.registry import an_installation

EXAMPLES = 10


@pytest.fixture
def key(amara, organisation):
    """A key of the administrator's, who may do most, and a unit that hangs somewhere."""
    an_installation(organisation)
    _token, key = make_token(person=amara, name="tried from the schema")
    # The end of a request would close the connection in which this test's rows stand.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield {"Authorization": f"Token {key}"}
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def test_nothing_that_is_sent_makes_the_server_fall(key):
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", application)
    tried, fallen, odd = set(), {}, {}

    def tries(operation, name):
        @given(case=operation.as_strategy())
        @settings(max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        def try_it(case):
            cache.clear()  # the throttle counts there
            answer = case.call(headers=key)
            tried.add(name)
            if answer.status_code >= 500:
                fallen.setdefault(name, (case.as_curl_command(), answer.text[:300]))
            if answer.status_code in (400, 404, 409) and "application/json" in str(answer.headers):
                body = answer.json()
                if not body.get("errors"):
                    odd.setdefault(name, body)

        return try_it

    for found in schema.get_all_operations():
        operation = found.ok()
        tries(operation, f"{operation.method.upper()} {operation.path}")()
    assert not fallen, fallen
    assert not odd, f"failures without code and sentence: {odd}"
    assert len(tried) >= 40, tried
