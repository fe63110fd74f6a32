"""The demo's past repairs teach as closing a visit does, so that the page says on how many findings the odds rest."""

from datetime import date
from types import SimpleNamespace

import pytest

from fleet.desk.demo import lives, past
from fleet.output import services as output
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import CauseCount
from fleet.visits import services as visits
from tests.makers.people import a_person
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db


def test_each_past_repair_teaches_for_the_month_of_its_visit(organisation, nadia, idris):
    visits.set_up(organisation)
    people = {"nadia": nadia, "idris": idris, "selma": a_person(organisation)}
    installations = [an_installation(organisation) for _ in range(3)]
    for one in installations:
        one.demo_health = 1.0
    put_right, stands = lives.Episode("soiling", 90, 30), lives.Episode("pipe_leak", 20, None)
    had = [SimpleNamespace(episode=episode) for episode in (put_right, stands, None)]
    fleet = read_fleet([one.pk for one in installations], 2026).fleet
    past.repairs(organisation, installations, fleet, had, people, date(2026, 3, 31))
    assert output.counts(organisation.pk) == {"dirt": 1}
    assert CauseCount.objects.get().month == 3
