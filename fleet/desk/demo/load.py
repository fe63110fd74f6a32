"""Loads the demo once, into an organisation of its own."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from fleet.desk.demo import build, lives, past, record
from fleet.output import services as output
from fleet.output.fleet_arrays import fleet_of
from fleet.people.models import Organisation
from fleet.registry.services import standard_catalogue
from fleet.reports.services.keep import refresh_everything
from fleet.trail.watch import acting
from fleet.visits import services as visits
from fleet.web.refusals import Refused

JUDGED_AT_ONCE_DAYS = 30


def load(*, last_day=None, say=print):
    """The whole demo up to `last_day` (yesterday at its sites). Returns the organisation, or None if it is there.

    Refused where a real organisation keeps its fleet. Killed half-way, it leaves nothing: places, people and readings
    stand in one transaction; judging goes on from where it stopped when asked again.
    """
    there = Organisation.objects.filter(is_demo=True).first()
    if there is None and Organisation.objects.exists():
        sentence = "A real organisation keeps its fleet here. The demo wants a data folder of its own."
        raise Refused("real_fleet_here", sentence)
    today = timezone.now().astimezone(ZoneInfo(build.ZONE)).date()
    last_day = last_day or today - timedelta(days=1)
    if there is not None:
        return None
    with transaction.atomic(), acting(None, "demo"):
        say("places, people and units")
        organisation, people = build.organisation_and_people()
        standard_catalogue(organisation=organisation, by=None)
        visits.set_up(organisation)
        installations = build.fleet_rows(organisation, last_day)
        fleet = fleet_of([one.pk for one in installations]).fleet
        say("two years of sun and water")
        life = lives.live(installations, fleet, last_day)
        record.spot_tests(installations, fleet, people["idris"], last_day)
        record.daily(installations, life)
        record.series(installations, life)
        record.meters(installations, life)
        say("a past of visits")
        past.inspections(organisation, installations, people, last_day)
        past.repairs(organisation, installations, fleet, life, people, last_day)
    say("judging two years, as each night would have done")
    output.judge_through(organisation=organisation, through=last_day, say=say)
    with transaction.atomic(), acting(None, "demo"):
        past.tie_to_shortfalls(organisation)
        past.settle_old_slips(organisation, people, last_day)
        past.today(organisation, installations, people, today)
    output.judge_through(organisation=organisation, through=last_day, say=say)
    say("the manager's figures")
    refresh_everything(today=today)
    return organisation
