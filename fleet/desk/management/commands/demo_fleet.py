"""Loads the demo fleet once; asked again, it says that it is there."""

from datetime import date

from django.core.management.base import BaseCommand, CommandError

from fleet.desk.demo.build import PASSWORD
from fleet.desk.demo.load import load
from fleet.desk.demo.places import PEOPLE
from fleet.web.refusals import Refused


class Command(BaseCommand):
    help = "Loads an invented organisation with some sixty units, two years of readings and a past of visits."

    def add_arguments(self, parser):
        parser.add_argument("--last-day", type=date.fromisoformat, help="last day with readings, as 2026-03-31")

    def handle(self, *args, last_day=None, **options):
        try:
            new = load(last_day=last_day, say=lambda words: self.stdout.write(f"  {words}"))
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        if not new:
            self.stdout.write("The demo fleet is loaded already.")
        self.stdout.write(f"Log in as {', '.join(name for name, *_ in PEOPLE)}; password: {PASSWORD}")
