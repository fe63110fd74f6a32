"""Visits in a real browser: the coordinator's list and assignment, the technician's log, at both sizes."""

import pytest

from fleet.visits import services
from tests.browser.checks import no_accessibility_faults, shot, targets_are_large
from tests.makers.registry import an_installation
from tests.makers.visits import (
    SPOT_READINGS,
    a_call,
    a_shortfall,
    a_visit,
    a_visit_under_way,
    an_assigned_visit,
    record_all,
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def work(organisation, idris, nadia):
    """A few visits in each state."""
    services.set_up(organisation)
    shortfall = a_shortfall(an_installation(organisation))
    repair = a_visit(shortfall.installation, "repair", shortfall=shortfall, why="900 litres a day missing")
    first = an_assigned_visit(an_installation(organisation), idris)
    second = an_assigned_visit(an_installation(organisation), idris, "commissioning")
    under_way = a_visit_under_way(an_installation(organisation), idris)
    a_call(first.site, caller="Ekal", answers={"storm": "yes", "tank_full": "no"})
    return {"repair": repair, "first": first, "second": second, "under_way": under_way}


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_page_of_visits_is_accessible(size, dark, page_of, server, nadia, work):
    page = page_of(nadia, size, dark=dark)
    record_all(work["under_way"], skip={"goodbye"})
    trip = work["first"].trip_id
    procedure = work["first"].procedure_id
    for name, place in {
        "list": "/visits/", "repair": f"/visits/{work['repair'].key}/", "done": f"/visits/{work['under_way'].key}/",
        "assign": f"/visits/{work['repair'].key}/assign/", "calls": "/visits/calls/", "take": "/visits/calls/take/",
        "trips": "/visits/trips/", "trip": f"/visits/trips/{trip}/", "procedures": "/visits/procedures/",
        "procedure": f"/visits/procedures/{procedure}/", "rules": "/visits/rules/",
        "step": f"/visits/{work['under_way'].key}/log/goodbye/",
        "spot": f"/visits/{work['under_way'].key}/log/spot_test/",
        "insulation": f"/visits/{work['under_way'].key}/log/strings_isolated/?kept=1",
        "paper": f"/visits/{work['second'].key}/paper/", "leave": f"/visits/{work['under_way'].key}/leave/",
        "close": f"/visits/{work['under_way'].key}/close/",
    }.items():  # fmt: skip
        page.goto(server + place)
        no_accessibility_faults(page)
        targets_are_large(page)
        shot(page, f"visits-{name}-{size}{'-dark' if dark else ''}")


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_visit_s_page_draws_where_the_water_is_lost(size, page_of, server, nadia, work):
    low = {**SPOT_READINGS, "repeats": [{"litres": 20, "seconds": 200}] * 3, "flow_l_min": 4}
    services.record_step(
        visit=work["under_way"], step="spot_test", by=nadia, cautions_seen=["DC"], values={"spot": low}
    )
    page = page_of(nadia, size)
    page.goto(f"{server}/visits/{work['under_way'].key}/")
    page.locator(".chart-place svg, .chart-place canvas").first.wait_for()
    assert page.get_by_text("read at the meter while the bucket filled").count()
    no_accessibility_faults(page)
    shot(page, f"visits-fall-{size}")
