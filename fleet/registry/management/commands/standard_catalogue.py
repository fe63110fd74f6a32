"""Standard pipes and cables for an organisation's catalogue. A second run adds what is missing, and no more."""

from django.core.management.base import BaseCommand, CommandError

from fleet.people.services import organisation_called
from fleet.registry import services
from fleet.trail.watch import acting
from fleet.web.refusals import Refused


class Command(BaseCommand):
    help = "Add PE pipes (outside diameter and wall by SDR) and flexible drop cables (sections) to the catalogue."

    def add_arguments(self, parser):
        parser.add_argument("--organisation", help="name; may be left out where there is only one")

    def handle(self, *, organisation, **options):
        try:
            chosen = organisation_called(organisation)
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        with acting(None, "standard_catalogue"):
            pipes, cables = services.standard_catalogue(organisation=chosen)
        self.stdout.write(f"{pipes} pipes and {cables} cables were added to the catalogue of {chosen}.")
