"""Ask the weather service in the settings for the days that are missing, as the night does, or for past years."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet.output import services
from fleet.people.models import Organisation
from fleet.trail.watch import acting


class Command(BaseCommand):
    help = "Ask the service that WEATHER_SERVICE names for the days that are missing over the fleet, or for past years."

    def add_arguments(self, parser):
        parser.add_argument("--years", nargs=2, type=int, metavar=("FIRST", "LAST"), help="whole years, for the past")

    def handle(self, *, years=None, **options):
        if not settings.WEATHER_SERVICE:
            raise CommandError("No service is set. Set WEATHER_SERVICE to power or pvgis.")
        if years is None and not services.nightly_service():
            raise CommandError(
                f"{settings.WEATHER_SERVICE} has past years only. Say which ones, as in --years 2019 2020, or set "
                "WEATHER_SERVICE to power."
            )
        if years is not None and not 1980 <= years[0] <= years[1] <= 2999:
            raise CommandError("Give the first year and the last one, as in --years 2019 2020.")
        with acting(None, "fetch_weather"):
            for organisation in Organisation.objects.order_by("id"):
                if years is None:
                    services.fetch_due(organisation, say=self.stdout.write)
                else:
                    services.fetch_years(
                        organisation, first_year=years[0], last_year=years[1], say=self.stdout.write
                    )
