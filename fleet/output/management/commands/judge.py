"""Judge the fleet up to a day, as the nightly tasks do."""

from datetime import date

from django.core.management.base import BaseCommand, CommandError

from fleet.output import services
from fleet.people.models import Organisation
from fleet.trail.watch import acting


class Command(BaseCommand):
    help = "Judge every installation up to a local day. Days that are judged already are not judged again."

    def add_arguments(self, parser):
        parser.add_argument("--through", required=True, type=self._day, help="last local day, as 2025-04-03")
        parser.add_argument("--organisation", help="name; left out: all of them")
        parser.add_argument(
            "--day-by-day", action="store_true", help="one transaction a day, as the nights would have done"
        )
        parser.add_argument("--anew", action="store_true", help="forget what was judged and begin at the first reading")

    @staticmethod
    def _day(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CommandError(f"{text} is no day. Write it as 2025-04-03.") from None

    def handle(self, *, through, organisation, day_by_day, anew, **options):
        organisations = Organisation.objects.order_by("id")
        if organisation:
            organisations = organisations.filter(name=organisation)
            if not organisations:
                raise CommandError(f"There is no organisation {organisation!r}.")
        with acting(None, "judge"):
            for one in organisations:
                if anew:
                    services.judge_again(installations=services.all_ids(one))
                done = services.judge_through(
                    organisation=one, through=through, say=self.stdout.write, day_by_day=day_by_day
                )
                self.stdout.write(
                    f"{one}: {done.installations} installations, {done.days} days judged, "
                    f"{done.in_trouble} without a baseline."
                )
