"""The API tried from its own schema: whatever a program sends, the server answers and never falls over."""

from datetime import date

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from deploy.wsgi import application
from fleet.jobs.models import Job
from fleet.people.models import Token
from fleet.people.tokens import make_token
from fleet.readings.models import WeatherPlace
from fleet.readings.services import drop_days, keep_series
from fleet.registry.services import label_of
from fleet.visits import services as visits
from fleet.visits.models import Finding, PartType
from fleet.visits.models.field import FieldDevice
from tests.makers.everything import one_of_each
from tests.makers.judged import a_shortfall
from tests.makers.people import a_person
from tests.makers.readings import a_slip, a_spot_test, later
from tests.makers.registry import an_installation
from tests.makers.visits import a_call, an_assigned_visit

AS_DESCRIBED = [status_code_conformance, content_type_conformance, response_schema_conformance]
READS, WRITES = 4, 6  # tries an address; every other one speaks of a row that is there


@pytest.fixture
def key(amara, organisation):
    """A key of the administrator's, who may do most."""
    _token, key = make_token(person=amara, name="tried from the schema")
    # The end of a request would close the connection in which this test's rows stand.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield {"Authorization": f"Token {key}"}
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def rows(organisation, idris, amara):
    """Something of each kind: first word of an address -> what its parameters may be."""
    visits.set_up(organisation)
    hung = an_installation(organisation)
    well = hung.well
    slip, test = a_slip(), a_spot_test(hung, at=later(hours=2))
    slip.installation, slip.meter_reading.installation = hung, hung
    slip.meter_reading.save()
    slip.save()
    visit = an_assigned_visit(hung, idris)
    upload = one_of_each(organisation, amara, idris, 1)
    selma = a_person(organisation, "technician", username="selma")
    token, _key = make_token(person=selma, name="gateway")
    return {
        "sites": well.site.code, "wells": well.pk, "levels": well.static_levels.first().pk, "units": hung.unit_id,
        "installations": hung.pk, "baselines": hung.pk, "pump-types": hung.unit.pump_type_id, "pipes": hung.pipe_id,
        "module-types": hung.module_type_id, "cables": hung.cable_id, "districts": well.site.district_id,
        "inspection-rules": visit.organisation.inspection_rules.first().pk,
        "telephones": FieldDevice.objects.first().pk,
        "labels": label_of(unit=hung.unit).code, "slips": slip.pk, "meter-readings": slip.meter_reading_id,
        "spot-tests": test.pk, "shortfalls": a_shortfall(hung).pk, "visits": str(visit.key), "trips": visit.trip_id,
        "calls": a_call(well.site).pk, "procedures": visit.procedure_id, "people": selma.pk, "figures": "type",
        "uploads": str(upload.pk), "jobs": str(Job.objects.first().pk), "findings": Finding.objects.first().pk,
        # Not the key by which all this is tried: what comes after its revocation would only be sent away.
        "me": Token.objects.filter(person=amara).last().pk, "token": token.pk, "parts": PartType.objects.first().pk,
        "weather": WeatherPlace.objects.first().pk, "dropped-days": _dropped(hung).pk,
    }  # fmt: skip


def _dropped(installation):
    keep_series(installations=[installation.pk], days=["2024-06-03"], seconds=[36000], columns={"flow_l_min": [12.0]})
    day = date(2024, 6, 3)
    return drop_days(installation=installation, first=day, last=day, why="its clock was wrong", by=None)


def test_nothing_that_is_sent_makes_the_server_fall(key, rows):
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", application)
    tried, reached, fallen, odd = set(), set(), {}, {}

    def tries(operation, name):
        known = rows.get(operation.path.removeprefix("/api/v1/").split("/")[0])
        turns = []
        most = READS if operation.method == "get" else WRITES

        @given(case=operation.as_strategy())
        @settings(max_examples=most, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        def try_it(case):
            cache.clear()  # the throttle counts there
            turns.append(name)
            if case.path_parameters and known is not None and len(turns) % 2:
                case.path_parameters = {name: rows.get(name, known) for name in case.path_parameters}
            answer = case.call(headers=key)
            tried.add(name)
            assert answer.status_code != 401, f"{name}: the key opens no more"
            if answer.status_code != 404:
                reached.add(name)
            if answer.status_code >= 500:
                fallen.setdefault(name, (case.as_curl_command(), answer.text[:300]))
            if 400 <= answer.status_code < 500 and "application/json" in str(answer.headers):
                body = answer.json()
                if not body.get("errors"):
                    odd.setdefault(name, body)
            try:
                case.validate_response(answer, checks=AS_DESCRIBED)
            except FailureGroup as unlike:
                odd.setdefault(name, str(unlike.exceptions[0])[:600])

        return try_it

    for found in schema.get_all_operations():
        operation = found.ok()
        tries(operation, f"{operation.method.upper()} {operation.path}")()
    assert not fallen, fallen
    assert not odd, f"not as the description says: {odd}"
    assert len(tried) >= 135, tried
    assert len(reached) >= 0.9 * len(tried), tried - reached
