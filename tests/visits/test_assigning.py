"""Proposing, assigning, moving and calling off visits; calls; trips."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import Base, Trip, Visit
from fleet.web.refusals import Refused
from tests.makers.people import a_person
from tests.makers.registry import a_site, a_well, an_installation
from tests.makers.visits import a_call, a_shortfall, a_visit, a_visit_under_way, an_assigned_visit

TODAY = timezone.localdate()


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def test_a_coordinator_gives_a_visit_to_a_technician_for_a_day(nadia, idris, installation):
    visit = a_visit(installation)
    services.assign(visit=visit, technician=idris, on=TODAY, by=nadia)
    visit.refresh_from_db()
    assert (visit.state, visit.technician, visit.planned_on, visit.trip_order) == ("assigned", idris, TODAY, 1)
    assert visit.trip.technician == idris
    assert visit.version == 2


@pytest.mark.parametrize("who", ["idris", "wanja"])
def test_only_who_assigns_may_assign(who, request, idris, installation):
    visit = a_visit(installation)
    with pytest.raises(Refused) as refusal:
        services.assign(visit=visit, technician=idris, on=TODAY, by=request.getfixturevalue(who))
    assert refusal.value.code == "not_allowed"


def test_otto_cannot_assign_ours_nor_be_given_it(otto, nadia, idris, installation):
    visit = a_visit(installation)
    with pytest.raises(Refused, match="another organisation"):
        services.assign(visit=visit, technician=idris, on=TODAY, by=otto)
    with pytest.raises(Refused, match="another organisation"):
        services.assign(visit=visit, technician=a_person(otto.organisation), on=TODAY, by=nadia)


REFUSED = [  # what is wrong, days from today, code
    ("yesterday but one", -2, "day_gone"),
    ("a year and more ahead", 500, "day_too_far"),
]


@pytest.mark.parametrize(("what", "days", "code"), REFUSED)
def test_days_that_cannot_be_are_refused(what, days, code, nadia, idris, installation):
    with pytest.raises(Refused) as refusal:
        services.assign(visit=a_visit(installation), technician=idris, on=TODAY + timedelta(days=days), by=nadia)
    assert (refusal.value.code, refusal.value.field) == (code, "on")


def test_a_manager_is_not_sent_to_a_well(nadia, wanja, installation):
    with pytest.raises(Refused, match="Choose a technician"):
        services.assign(visit=a_visit(installation), technician=wanja, on=TODAY, by=nadia)


def test_moving_a_visit_moves_it_between_trips(nadia, idris, installation):
    visit = an_assigned_visit(installation, idris)
    other = a_person(idris.organisation, "technician")
    services.assign(visit=visit, technician=other, on=TODAY + timedelta(days=1), by=nadia)
    visit.refresh_from_db()
    assert visit.trip.technician == other
    assert Trip.objects.get(technician=idris).visits.count() == 0


def test_nobody_takes_a_visit_from_someone_who_is_there(nadia, idris, installation):
    visit = a_visit_under_way(installation, idris)
    other = a_person(idris.organisation, "technician")
    with pytest.raises(Refused, match="Idris Kombe is at this visit"):
        services.assign(visit=visit, technician=other, on=TODAY, by=nadia)


def test_two_coordinators_at_once_do_not_overwrite_each_other(nadia, idris, installation):
    visit = a_visit(installation)
    services.assign(visit=visit, technician=idris, on=TODAY, by=nadia, expected_version=1)
    with pytest.raises(Refused, match="changed this visit while you looked"):
        services.assign(visit=visit, technician=idris, on=TODAY + timedelta(days=1), by=nadia, expected_version=1)


def test_a_visit_taken_back_stands_with_nobody(nadia, idris, installation):
    visit = an_assigned_visit(installation, idris)
    services.take_back(visit=visit, by=nadia)
    visit.refresh_from_db()
    assert (visit.state, visit.technician, visit.trip) == ("proposed", None, None)


def test_calling_off_needs_a_reason(nadia, installation):
    visit = a_visit(installation)
    with pytest.raises(Refused, match="Say why"):
        services.cancel(visit=visit, why=" ", by=nadia)
    services.cancel(visit=visit, why="the road is under water", by=nadia)
    visit.refresh_from_db()
    assert (visit.state, visit.cancelled_why) == ("cancelled", "the road is under water")
    with pytest.raises(Refused, match="already"):
        services.cancel(visit=visit, why="again", by=nadia)


def test_a_shortfall_has_one_open_visit_at_most(nadia, installation):
    shortfall = a_shortfall(installation)
    first = services.propose_for_shortfall(shortfall=shortfall, by=nadia)
    assert services.propose_for_shortfall(shortfall=shortfall, by=nadia) == first
    assert "900 litres a day" in first.why
    with pytest.raises(IntegrityError), transaction.atomic():
        a_visit(installation, shortfall=shortfall)


def test_danger_is_due_today(nadia, installation):
    visit = services.propose_for_shortfall(shortfall=a_shortfall(installation, danger=2), by=nadia)
    assert visit.due_on == TODAY


def test_an_assigned_visit_without_a_technician_cannot_be_kept(installation):
    with pytest.raises(IntegrityError), transaction.atomic():
        a_visit(installation, state="assigned")


def test_a_call_is_asked_about_first(idris, organisation):
    site = a_site(organisation)
    call = services.take_call(site=site, words="no water", by=idris, answers={"tank_full": True, "dirty": "yes"})
    hints = services.advice(call.answers)
    assert len(hints) == 2
    assert "full tank" in hints[0]
    services.solve_by_phone(call=call, by=idris)
    call.refresh_from_db()
    assert call.state == "by_phone"
    assert call.call_back_on == TODAY + timedelta(days=3)


def test_a_tingle_is_not_settled_by_telephone(nadia, organisation):
    installation = an_installation(organisation)
    call = a_call(installation.well.site, answers={"tingle": "yes"})
    with pytest.raises(Refused, match="Send someone"):
        services.solve_by_phone(call=call, by=nadia)
    visit = services.visit_for_call(call=call, by=nadia)
    assert (visit.kind, visit.due_on, visit.installation) == ("repair", TODAY, installation)
    with pytest.raises(Refused, match="settled already"):
        services.close_call(call=call, by=nadia)


def test_a_call_of_another_organisation_is_not_ours(otto, wanja, organisation):
    site = a_site(organisation)
    for person in (otto, wanja):
        with pytest.raises(Refused):
            services.take_call(site=site, words="no water", by=person)
    with pytest.raises(Refused):
        services.visit_for_call(call=a_call(site), by=otto)


# Great circles: one degree of a meridian is 111.19 km on a sphere of 6371 km (pi/180 x 6371); a quarter of the equator.
DISTANCES = [((0, 0), (1, 0), 111.19), ((0, 0), (0, 90), 10007.5), ((3.1, 35.6), (3.1, 35.6), 0.0)]


@pytest.mark.parametrize(("a", "b", "km"), DISTANCES)
def test_great_circle_distances(a, b, km):
    assert services.distance_km(a, b) == pytest.approx(km, rel=1e-4, abs=1e-6)


def test_the_best_order_is_the_shortest_of_all_orders():
    from itertools import permutations

    places = [(3.0, 35.0), (3.4, 35.1), (3.1, 35.5), (3.3, 34.8), (3.05, 35.2)]
    base = (3.2, 35.0)

    def length(order):
        stops = [base, *[places[i] for i in order], base]
        return sum(services.road_km(a, b) for a, b in zip(stops, stops[1:], strict=False))

    order, km = services.best_order(places, base, base)
    assert sorted(order) == [0, 1, 2, 3, 4]
    assert km == pytest.approx(min(length(p) for p in permutations(range(5))), abs=0.1)


def test_without_a_base_the_way_through_is_the_shortest():
    places = [(3.0, 35.0), (3.0, 35.2), (3.0, 35.1)]
    order, km = services.best_order(places)
    assert order in ([0, 2, 1], [1, 2, 0])
    assert km == pytest.approx(services.road_km(places[0], places[1]), abs=0.1)


def test_danger_comes_first_whatever_the_road(nadia, idris, organisation):
    Base.objects.create(organisation=organisation, name="Workshop", latitude_deg=3.0, longitude_deg=35.0)
    lats = [3.01, 3.02, 3.5]
    visits = []
    for lat in lats:
        site = a_site(organisation, latitude_deg=lat, longitude_deg=35.0)
        installation = an_installation(organisation, well=a_well(site))
        visits.append(a_visit(installation, "repair"))
    visits[2].shortfall = a_shortfall(visits[2].installation, danger=2)
    visits[2].save()
    services.assign_many(visits=visits, technician=idris, on=TODAY, by=nadia)
    trip = Trip.objects.get(technician=idris)
    ordered = services.plan_order(trip=trip, by=nadia)
    assert ordered[0] == visits[2]
    trip.refresh_from_db()
    assert trip.planned_km == pytest.approx(1.4 * 2 * 0.5 * 111.19, abs=0.5)
    with pytest.raises(Refused):
        services.plan_order(trip=trip, by=idris)


def test_a_visit_moves_one_place_up(nadia, idris, organisation):
    visits = [an_assigned_visit(an_installation(organisation), idris) for _ in range(3)]
    services.move_in_trip(visit=visits[2], up=True, by=nadia)
    assert list(visits[0].trip.visits.order_by("trip_order")) == [visits[0], visits[2], visits[1]]


def test_parts_follow_the_likely_causes(installation):
    visit = a_visit(installation, "repair", shortfall=a_shortfall(installation))
    codes = {code for code, _name, _why in services.parts_for(visit)}
    assert {"pump", "fittings", "tripod", "chlorine"} <= codes
    assert "meter" not in codes


def test_nothing_is_taken_along_for_a_cause_that_is_next_to_impossible(installation):
    causes = [{"cause": "string_open", "odds": 0.97}, {"cause": "stands_still", "odds": 0.01}]
    visit = a_visit(installation, "repair", shortfall=a_shortfall(installation, causes=causes))
    assert services.likely_causes(visit) == [("string_open", 0.97)]
    assert "pump" not in {code for code, _name, _why in services.parts_for(visit)}


def test_visits_are_seen_by_their_own_organisation_only(nadia, otto, idris, installation):
    visit = an_assigned_visit(installation, idris)
    assert visit in Visit.objects.visible_to(nadia)
    assert not Visit.objects.visible_to(otto).exists()
    other = a_person(idris.organisation, "technician")
    assert visit in Visit.objects.loggable_by(idris)
    assert visit not in Visit.objects.loggable_by(other)
