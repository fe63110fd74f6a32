"""Bring in what the sky did: a file of one of the open weather services."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from fleet.output import services
from fleet.people.models import Organisation
from fleet.trail.watch import acting
from fleet.web.refusals import Refused
from sizing import climate


class Command(BaseCommand):
    help = "Bring in the daily weather of a place from an hourly file of an open service, and use it in judging."

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path)
        parser.add_argument("--kind", required=True, choices=climate.RECORD_KINDS)
        parser.add_argument("--name", help="of the place; left out: the file's name")
        parser.add_argument("--organisation", help="name; left out where there is only one")

    def handle(self, *, file, kind, name, organisation, **options):
        found = Organisation.objects.filter(name=organisation) if organisation else Organisation.objects.all()[:2]
        if len(found) != 1:
            raise CommandError("Say which organisation: --organisation NAME.")
        try:
            content = file.read_bytes()
        except OSError as trouble:
            raise CommandError(f"{file} cannot be read: {trouble.strerror}.") from None
        try:
            with acting(None, "import_weather"):
                days, kept = services.import_weather(
                    organisation=found[0], content=content, kind=kind, name=name or file.stem
                )
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(
            f"{name or file.stem} at {days.latitude_deg:.3f}, {days.longitude_deg:.3f}: {days.date[0]} to "
            f"{days.date[-1]}, {kept.new} new days, {kept.changed} changed, {kept.same} as before, "
            f"{days.left_out} left out."
        )
