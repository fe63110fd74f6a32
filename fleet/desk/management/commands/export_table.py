"""Take a table or a list out as CSV, a workbook or GeoJSON."""

import sys
from datetime import date
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from fleet.desk import taking_out
from fleet.people.models import Person
from fleet.people.services import organisation_called
from fleet.web.refusals import Refused


def a_day(text):
    return date.fromisoformat(text)


class Command(BaseCommand):
    help = "Write a table (in the form it comes in) or a page's list to a file: .csv, .xlsx, or .geojson for places."

    def add_arguments(self, parser):
        parser.add_argument("table", help="one of: " + ", ".join(taking_out.names()))
        parser.add_argument("--to", type=Path, help="file to write; left out: CSV to standard output")
        parser.add_argument("--organisation", help="name; may be left out where there is only one")
        parser.add_argument("--as", dest="login", help="whose page it is; left out: the administrator's")
        parser.add_argument("--filter", action="append", default=[], metavar="NAME=VALUE",
                            help="of a page's list, as in the page's address; may be given again")  # fmt: skip
        parser.add_argument("--serial", default="", help="the unit, for lists of one unit")
        parser.add_argument("--since", type=a_day, help="first local day, for tables of readings")
        parser.add_argument("--through", type=a_day, help="last local day, for tables of readings")

    def handle(self, *, table, to, organisation, login, filter, serial, since, through, **options):
        kind = "csv" if to is None else taking_out.KINDS.get(to.suffix.lower())
        if kind is None:
            raise CommandError("The file's name must end in .csv, .xlsx or .geojson.")
        try:
            chosen = organisation_called(organisation)
            pieces = taking_out.take_out(
                name=table, kind=kind, organisation=chosen, by=self._person(chosen, login), chosen="&".join(filter),
                serial=serial, since=since, through=through,
            )  # fmt: skip
            size = self._write(pieces, to)
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        if to is not None:
            self.stdout.write(f"{to}: {size:,} bytes")

    def _person(self, organisation, login):
        if not login:
            return None
        found = Person.objects.filter(organisation=organisation, username=login, is_active=True).first()
        if found is None:
            raise CommandError(f"Nobody of {organisation} has an open account {login}.")
        return found

    def _write(self, pieces, to):
        if to is None:
            out = getattr(sys.stdout, "buffer", None)
            for piece in pieces:
                out.write(piece) if out else sys.stdout.write(piece.decode())
            return 0
        half = to.with_name(f".{to.name}.part")
        try:
            with half.open("wb") as handle:
                for piece in pieces:
                    handle.write(piece)
                size = handle.tell()
            half.replace(to)  # a file of that name is whole, or the old one
        finally:
            half.unlink(missing_ok=True)
        return size
