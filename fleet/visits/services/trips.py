"""A technician's day: in which order, how far, what to take."""

import math

import numpy as np
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.output import advice
from fleet.people.access import may, require
from fleet.visits.codes import CAUSES, PARTS
from fleet.visits.models import Base, Trip, Visit
from fleet.web.refusals import Refused

# Roads wind: road length over great-circle distance, common practice for rural tracks, no source.
ROAD_FACTOR = 1.4
KM_H = 30  # over such tracks, common practice, no source
MOST_CAUSES = 3
EARTH_KM = 6371.0  # mean radius, IUGG


def distance_km(a, b):
    """Great-circle distance between two (latitude, longitude) in degrees."""
    lat1, lon1, lat2, lon2 = map(math.radians, (*a, *b))
    h = math.sin((lat2 - lat1) / 2) ** 2 + math.cos(lat1) * math.cos(lat2) * math.sin((lon2 - lon1) / 2) ** 2
    return 2 * EARTH_KM * math.asin(min(1.0, math.sqrt(h)))


def road_km(a, b):
    return ROAD_FACTOR * distance_km(a, b)


def best_order(places, start=None, end=None):
    """Order of `places` [(lat, lon)] for the shortest way from `start` to `end`, either of which may be anywhere.

    Returns (indices, km). The first two places of the matrix stand for start and end; where one is None it is nowhere,
    at no distance from everything.
    """
    if not places:
        return [], 0.0
    points = [start or places[0], end or places[0], *places]
    metres = np.array([[1000 * road_km(a, b) for b in points] for a in points])
    for place, given in enumerate((start, end)):
        if given is None:
            metres[place, :] = metres[:, place] = 0
    if len(places) == 1:
        order = [0]
    else:
        import vroom  # pulls in a table library: only where it is needed

        problem = vroom.Input()
        problem.set_durations_matrix(profile="car", matrix_input=np.round(metres).astype(np.uint32))
        problem.add_vehicle(vroom.Vehicle(1, start=0, end=1))
        problem.add_job([vroom.Job(i + 1, location=i + 2) for i in range(len(places))])
        steps = problem.solve(exploration_level=5, nb_threads=1).routes
        order = [int(i) - 2 for i, kind in zip(steps["location_index"], steps["type"], strict=True) if kind == "job"]
    stops = [0, *[i + 2 for i in order], 1]
    km = sum(metres[a, b] for a, b in zip(stops, stops[1:], strict=False)) / 1000
    return order, round(float(km), 1)


def _place(visit):
    return visit.site.latitude_deg, visit.site.longitude_deg


@transaction.atomic
def plan_order(*, trip, by):
    """Put the day's visits in the shortest order; danger first, and what was begun keeps its place at the head."""
    require(by, "assign")
    if by is not None and trip.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This trip belongs to another organisation."))
    visits = list(
        trip.visits.select_related("site", "shortfall", "call").select_for_update(of=("self",)).order_by("trip_order")
    )
    if not visits:
        raise Refused("empty_trip", _("No visit is planned for this day."))
    done = [v for v in visits if v.state not in {Visit.State.PROPOSED, Visit.State.ASSIGNED}]
    urgent = [v for v in visits if v not in done and v.shortfall and v.shortfall.danger >= 2]
    others = [v for v in visits if v not in done and v not in urgent]
    base = (trip.base.latitude_deg, trip.base.longitude_deg) if trip.base else None
    start = _place((urgent or done)[-1]) if (urgent or done) else base
    order, _km = best_order([_place(v) for v in others], start, base)
    ordered = done + urgent + [others[i] for i in order]
    stops = ([base] if base else []) + [_place(v) for v in ordered] + ([base] if base else [])
    for place, visit in enumerate(ordered, 1):
        visit.trip_order = place
    Visit.objects.bulk_update(ordered, ["trip_order"])
    trip.planned_km = round(sum(road_km(a, b) for a, b in zip(stops, stops[1:], strict=False)), 1)
    trip.save(update_fields=["planned_km"])
    return ordered


@transaction.atomic
def move_in_trip(*, visit, up, by):
    """One place up or down in the day's order."""
    require(by, "assign")
    if by is not None and visit.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This visit belongs to another organisation."))
    if visit.trip is None:
        raise Refused("no_trip", _("This visit is on no trip."))
    ordered = list(visit.trip.visits.select_for_update().order_by("trip_order", "id"))
    place = [v.pk for v in ordered].index(visit.pk)
    other = place + (-1 if up else 1)
    if 0 <= other < len(ordered):
        ordered[place], ordered[other] = ordered[other], ordered[place]
    for n, one in enumerate(ordered, 1):
        one.trip_order = n
    Visit.objects.bulk_update(ordered, ["trip_order"])
    return ordered


def likely_causes(visit):
    """[(cause, odds)] that sent this visit on its way, best first: three at most, none that is next to impossible."""
    if visit.shortfall is None:
        return []
    causes = advice.named([c for c in visit.shortfall.causes if c.get("cause")], MOST_CAUSES)
    return [(c["cause"], c.get("odds", 0.0)) for c in causes]


def parts_for(visit):
    """[(code, name, why)] to take along: for the likely causes, and what the answers by telephone point to."""
    causes = [cause for cause, _odds in likely_causes(visit)]
    answers = visit.call.answers if visit.call else {}
    if answers.get("storm") in {True, "yes"}:
        causes.append("lightning")
    if answers.get("theft") in {True, "yes"}:
        causes.append("theft")
    if not causes and visit.kind == Visit.Kind.REPAIR:
        causes = ["stands_still", "string_open", "poor_joint"]  # the commonest (field practice), when nothing is known

    found = []
    for code, (name, for_causes) in PARTS.items():
        why = [cause for cause in causes if cause in for_causes]
        if why:
            found.append((code, str(name), ", ".join(str(CAUSES[c]) for c in why)))
    return found


def nearby(visit, candidates, within_km=60, most=8):
    """[(visit, km)] of candidates near a visit by road, nearest first: what could be done on the same trip."""
    here = _place(visit)
    found = [(other, road_km(here, _place(other))) for other in candidates if other.pk != visit.pk]
    found = sorted(((v, km) for v, km in found if km <= within_km), key=lambda pair: pair[1])
    return found[:most]


def drive_minutes(km):
    return round(60 * km / KM_H)


@transaction.atomic
def note_trip(*, trip, by, km=None, notes=""):
    """Kilometres driven and a note, by the technician or whoever assigns."""
    require(by, "log")
    if by is not None and (
        trip.organisation_id != by.organisation_id or (trip.technician_id != by.pk and not may(by, "assign"))
    ):
        raise Refused("not_your_trip", _("Only the technician and the coordinator write this down."))
    if km is not None and not 0 <= km <= 5000:
        raise Refused("out_of_range", _("Kilometres between 0 and 5,000, please."), field="km")
    trip.km, trip.notes = km, notes.strip()
    trip.save(update_fields=["km", "notes"])
    return trip


@transaction.atomic
def add_base(*, by, name, latitude_deg, longitude_deg):
    """Where trips start; those still to come and without a base start there too."""
    require(by, "assign")
    base = Base(organisation=by.organisation, name=name.strip(), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    base.full_clean()
    base.save()
    Trip.objects.filter(organisation=by.organisation, base=None, day__gte=timezone.localdate()).update(base=base)
    return base
