"""Ask the weather service in the settings for the days that are missing, as the night does."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet.output import services
from fleet.people.models import Organisation
from fleet.trail.watch import acting


class Command(BaseCommand):
    help = "Ask the service that WEATHER_SERVICE names for the days that are missing over the fleet."

    def handle(self, **options):
        if not settings.WEATHER_SERVICE:
            raise CommandError("No service is set. Set WEATHER_SERVICE to power or pvgis.")
        with acting(None, "fetch_weather"):
            for organisation in Organisation.objects.order_by("id"):
                services.fetch_due(organisation, say=self.stdout.write)
