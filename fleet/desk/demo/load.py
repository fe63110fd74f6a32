"""Loads the demo once, into an organisation of its own."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.core.management import call_command
from django.db import transaction
from django.utils import timezone

from fleet.desk.demo import build, lives, past, quarters, record
from fleet.output import services as output
from fleet.output.fleet_arrays import read_fleet
from fleet.people.models import Organisation
from fleet.registry.models import Installation
from fleet.registry.services import standard_catalogue
from fleet.trail.watch import acting
from fleet.visits import services as visits
from fleet.visits.models import Call
from fleet.web.refusals import Refused


def load(*, last_day=None, say=print):
    """The whole demo up to `last_day` (yesterday at its sites). Returns whether there was anything left to do.

    Refused where a real organisation keeps its fleet. Killed half-way it goes on when asked again: places, people and
    readings stand in one transaction, the judging remembers how far it came, and the last step leaves the calls.
    """
    there = Organisation.objects.filter(is_demo=True).first()
    if there is None and Organisation.objects.exists():
        sentence = "A real organisation keeps its fleet here. The demo wants a data folder of its own."
        raise Refused("real_fleet_here", sentence)
    if there is not None and Call.objects.filter(organisation=there).exists():
        return False
    today = timezone.now().astimezone(ZoneInfo(build.ZONE)).date()
    last_day = last_day or today - timedelta(days=1)
    organisation = there or _places_and_readings(last_day, say)
    say("judging two years, as each night would have done")
    output.judge_through(organisation=organisation, through=last_day, say=say)
    people = {person.username: person for person in organisation.people.all()}
    with transaction.atomic(), acting(None, "demo"):
        installations = list(
            Installation.objects.filter(organisation=organisation).select_related("well__site").order_by("pk")
        )
        past.tie_to_shortfalls(organisation)
        past.settle_old_slips(organisation, people, last_day)
        past.today(organisation, installations, people, today)
    output.judge_through(organisation=organisation, through=last_day, say=say)
    say("the manager's figures")
    call_command("refresh_figures", verbosity=0)
    return True


@transaction.atomic
def _places_and_readings(last_day, say):
    with acting(None, "demo"):
        say("places, people and units")
        organisation, people = build.organisation_and_people()
        standard_catalogue(organisation=organisation, by=None)
        visits.set_up(organisation)
        installations = build.fleet_rows(organisation, last_day)
        installations.sort(key=lambda one: one.pk)
        fleet = read_fleet([one.pk for one in installations], last_day.year).fleet
        say("two years of sun and water")
        life = lives.live(installations, fleet, last_day)
        record.spot_tests(installations, fleet, people["idris"], last_day)
        record.daily(installations, life)
        quarters.keep(installations, fleet, life)
        record.meters(installations, life)
        say("a past of visits")
        past.inspections(organisation, installations, people, last_day)
        past.repairs(organisation, installations, fleet, life, people, last_day)
    return organisation
