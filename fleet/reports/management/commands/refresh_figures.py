"""Makes the kept monthly figures anew from the judged days."""

from django.core.management.base import BaseCommand

from fleet.reports.services.keep import refresh_everything


class Command(BaseCommand):
    help = "Makes the manager's monthly figures anew, all months with judged days."

    def handle(self, *args, **options):
        written = refresh_everything()
        self.stdout.write(f"{written} rows of installation and month.")
