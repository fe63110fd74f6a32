"""Work out what every installation should give, where its inputs changed."""

from django.core.management.base import BaseCommand

from fleet.output import services
from fleet.output.models import Baseline
from fleet.trail.watch import acting


class Command(BaseCommand):
    help = "Bring all baselines up to date; those whose inputs did not change are left alone."

    def add_arguments(self, parser):
        parser.add_argument(
            "--year", type=int, help="the arrays are as old as in the middle of it; left out: this year"
        )

    def handle(self, *, year, **options):
        with acting(None, "baselines"):
            counted = services.baselines(services.all_ids(), year=year)
        self.stdout.write(
            f"{counted.computed} computed, {counted.same} unchanged, {counted.in_trouble} cannot be computed."
        )
        for row in Baseline.objects.in_trouble().select_related("installation__unit")[:50]:
            self.stdout.write(f"{row.installation.unit.serial}: {row.trouble}")
