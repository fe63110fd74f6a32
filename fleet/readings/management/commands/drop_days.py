"""Take a logger's samples of some days out of use, or put them back."""

from datetime import date

from django.apps import apps
from django.core.management.base import BaseCommand, CommandError

from fleet.readings import services
from fleet.readings.models import DroppedDays
from fleet.registry.models import Installation
from fleet.trail.watch import acting
from fleet.web.refusals import Refused


class Command(BaseCommand):
    help = "Drop the samples that a unit's logger kept of some days, with a reason; --put-back takes that back."

    def add_arguments(self, parser):
        parser.add_argument("serial")
        parser.add_argument("first", type=date.fromisoformat, help="first day, as 2026-03-01, by the site's calendar")
        parser.add_argument("last", type=date.fromisoformat, help="last day")
        parser.add_argument("--by", required=True, help="user name of who answers for it")
        parser.add_argument("--why", default="", help="the reason; it stays on record")
        parser.add_argument("--put-back", action="store_true", help="put back what was dropped of just these days")

    def handle(self, *, serial, first, last, by, why, put_back, **options):
        person = apps.get_model("people", "Person").objects.filter(username=by).first()
        if person is None:
            raise CommandError(f"There is nobody called {by}.")
        hung = Installation.objects.visible_to(person).filter(unit__serial__iexact=serial).select_related("well__site")
        hung = [one for one in hung if one.period.upper is None or one.period.upper.date() >= first]
        hung = [one for one in hung if one.period.lower.date() <= last]
        if not hung:
            raise CommandError(f"No unit {serial} hung in a well on these days.")
        if len(hung) > 1:
            raise CommandError(f"The unit {serial} hung in more than one well on these days: take them one by one.")
        try:
            with acting(person, "drop_days"):
                if put_back:
                    dropped = services.put_back(dropped=self._dropped(hung[0], first, last), by=person)
                    self.stdout.write(f"{serial}: {dropped.days} days stand again.")
                else:
                    dropped = services.drop_days(installation=hung[0], first=first, last=last, why=why, by=person)
                    span = f"{dropped.first_day} to {dropped.last_day}"
                    self.stdout.write(f"{serial}: {dropped.days} days dropped, {span}.")
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal

    def _dropped(self, installation, first, last):
        out = DroppedDays.objects.of(installation).still_out()
        found = out.filter(first_day__gte=first, last_day__lte=last).first()
        if found is None:
            raise CommandError("Nothing that was dropped of these days is still out.")
        return found
