"""Calls, visits, shortfalls and records for tests: each maker gives a sound row of its own."""

from datetime import timedelta

from django.utils import timezone

from fleet.output.models import Shortfall
from fleet.visits import services
from fleet.visits.models import Call, Trip, Visit
from tests.makers.people import a_person
from tests.makers.registry import an_installation


def a_shortfall(installation=None, **changes):
    """900 litres a day missing for three weeks, a worn pump or a leaking main being the likeliest."""
    installation = installation or an_installation()
    today = timezone.localdate()
    known = {
        "installation": installation,
        "flagged_on": today - timedelta(days=5),
        "since": today - timedelta(days=21),
        "lost_l_day": 900.0,
        "lost_fraction": 0.2,
        "probability": 0.95,
        "causes": [{"cause": "pump_worn", "odds": 0.5}, {"cause": "main_leaks", "odds": 0.3}],
        "people_served": 250,
        "weight": 225000.0,
    }
    return Shortfall.objects.create(**known | changes)


def a_call(site=None, **changes):
    site = site or an_installation().well.site
    known = {"organisation": site.organisation, "site": site, "at": timezone.now(), "words": "Less water since Monday"}
    return Call.objects.create(**known | changes)


def a_visit(installation=None, kind="inspection", **changes):
    """A proposed visit to a hanging unit, with the built-in procedure."""
    installation = installation or an_installation()
    site = installation.well.site
    known = {
        "organisation": site.organisation,
        "site": site,
        "installation": installation,
        "kind": kind,
        "why": "looked over twice a year",
        "due_on": timezone.localdate() + timedelta(days=3),
        "procedure": services.procedure_for(site.organisation, kind),
    }
    return Visit.objects.create(**known | changes)


def an_assigned_visit(installation=None, technician=None, kind="inspection", on=None, **changes):
    """Today's visit of a technician."""
    visit = a_visit(installation, kind, **changes)
    technician = technician or a_person(visit.organisation, "technician")
    on = on or timezone.localdate()
    trip, _new = Trip.objects.get_or_create(
        technician=technician, day=on, defaults={"organisation": visit.organisation}
    )
    visit.technician, visit.planned_on, visit.state, visit.trip = technician, on, "assigned", trip
    visit.trip_order = trip.visits.count() + 1
    visit.save()
    return visit


def a_visit_under_way(installation=None, technician=None, kind="inspection", **changes):
    """The technician arrived an hour ago."""
    visit = an_assigned_visit(installation, technician, kind, **changes)
    return services.start(visit=visit, by=visit.technician, at=timezone.now() - timedelta(hours=1))


SPOT_READINGS = {
    "sun_by": "reference_cell",
    "irradiance_w_m2": 820,
    "array_voltage_v": 52.0,
    "array_current_a": 6.1,
    "static_level_m": 22.4,
    "repeats": [{"litres": 20, "seconds": 78}, {"litres": 20, "seconds": 80}, {"litres": 20, "seconds": 79}],
}


def values_for(step, installation=None):
    """Sound values for every capture of a step."""
    from fleet.visits.procedures.reading import how_many

    found = {}
    for capture in step["captures"]:
        kind, code = capture["kind"], capture["code"]
        if kind == "number":
            low = capture["low"] if capture["low"] is not None else 0
            high = capture["high"] if capture["high"] is not None else low + 100
            number = min(max(40.0, low), high)
            n = how_many(capture, installation)
            found[code] = number if n == 1 else [number] * n
        elif kind == "buckets":
            found[code] = [{"litres": 20, "seconds": 60}] * 3
        elif kind == "yes_no":
            found[code] = not any(r["kind"] == "no" and r["of"] == code for r in step["rules"])
        elif kind == "choice":
            allowed = [r["values"][0] for r in step["rules"] if r["kind"] == "one_of" and r["of"] == code]
            found[code] = (allowed or [capture["options"][0]["code"]])[0]
        elif kind == "note":
            found[code] = "as it should be"
        elif kind == "serial":
            n = how_many(capture, installation)
            found[code] = "RM-1" if n == 1 else [f"M-{i}" for i in range(n)]
        elif kind == "clock":
            found[code] = "10:15"
        elif kind == "spot":
            found[code] = dict(SPOT_READINGS)
    return found


def record_all(visit, skip=()):
    """Record every step of a visit under way as its technician would."""
    for step in visit.procedure.steps:
        if step["code"] not in skip:
            services.record_step(
                visit=visit, step=step["code"], by=visit.technician, cautions_seen=step["cautions"],
                values=values_for(step, visit.installation),
            )  # fmt: skip
    return visit
