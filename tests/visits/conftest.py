"""A visit of Idris's and his telephone; a file of tests may have a visit of its own."""

import uuid

import pytest

from fleet.visits import services
from tests.makers.field_pieces import PIECES
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit


@pytest.fixture
def installation(organisation):
    services.set_up(organisation)
    return an_installation(organisation)


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


@pytest.fixture
def send(api_of, idris):
    """`send(pieces)` as Idris's telephone does; gives the outcomes' states."""
    device = str(uuid.uuid4())

    def sent(pieces, by=idris, waiting=None):
        body = {"device": device, "name": "Idris's phone", "pieces": pieces, "waiting": waiting}
        answer = api_of(by).post(PIECES, body, format="json")
        assert answer.status_code == 200, answer.content
        return answer.json()["outcomes"]

    sent.device = device
    return sent
