"""Bring a table in from a file, with all its faults listed."""

import json
from pathlib import Path

from django.apps import apps
from django.core.management.base import BaseCommand, CommandError

from fleet.intake import services, tables
from fleet.intake.run import ALL, GOOD, LOOK
from fleet.trail.watch import acting
from fleet.web.refusals import Refused


class Command(BaseCommand):
    help = "Bring a table (CSV or XLSX) in. Lists every fault; keeps nothing if there is one, unless --keep-good."

    def add_arguments(self, parser):
        parser.add_argument("table", help="one of: " + ", ".join(t.name for t in tables.all_tables()))
        parser.add_argument("file", type=Path)
        parser.add_argument("--mapping", type=Path, help="JSON: which column of the file is which")
        parser.add_argument("--organisation", help="name; may be left out where there is only one")
        parser.add_argument("--keep-good", action="store_true", help="keep the good rows although others have faults")
        parser.add_argument("--dry-run", action="store_true", help="look only, keep nothing")
        parser.add_argument(
            "--replace", action="store_true",
            help="samples of a logger: what stood of the days that the file covers is dropped, not merged with",
        )  # fmt: skip
        parser.add_argument("--rejects", type=Path, help="write rejected rows with their reason to this CSV")
        parser.add_argument("--most-faults", type=int, default=50, help="how many faults to print (all are counted)")

    def handle(
        self, *, table, file, mapping, organisation, keep_good, dry_run, replace, rejects, most_faults, **options
    ):  # fmt: skip
        if not file.is_file():
            raise CommandError(f"There is no file {file}.")
        mapped = self._mapping(mapping)
        if replace:
            found = tables.find(table)
            if found is not None and not found.replaces:
                raise CommandError(f"The table {table} replaces nothing: its rows take the place of those they name.")
            mapped["replace"] = True
        word = LOOK if dry_run else GOOD if keep_good else ALL
        try:
            with acting(None, f"import_table {table} {file.name}"):
                outcome = services.bring_in_file(
                    table=table, path=file, mapping=mapped, organisation=self._organisation(organisation), word=word,
                    rejects=rejects,
                )  # fmt: skip
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        for fault in outcome.faults[:most_faults]:
            kind = "look at" if fault.warning else "fault"
            found = f" ({fault.found!r})" if fault.found else ""
            self.stdout.write(f"line {fault.line}, {fault.column or 'row'}{found}: {kind}: {fault.sentence}")
        more = len(outcome.faults) + outcome.unlisted - most_faults
        if more > 0:
            self.stdout.write(f"... and {more} more.")
        for note in outcome.notes:
            self.stdout.write(f"note: {note}")
        self.stdout.write(
            f"{outcome.rows} rows: {outcome.new} new, {outcome.changed} changed, {outcome.same} same, "
            f"{outcome.rejected} rejected. " + ("Kept." if outcome.kept else "Nothing kept.")
        )
        if not outcome.kept and not dry_run:
            raise CommandError("Nothing was kept. Mend the faults, or say --keep-good.")

    def _mapping(self, path):
        if path is None:
            return {}
        try:
            return json.loads(path.read_text())
        except (OSError, ValueError) as error:
            raise CommandError(f"The mapping file {path} cannot be read: {error}") from error

    def _organisation(self, name):
        organisations = apps.get_model("people", "Organisation").objects.all()
        if name:
            found = organisations.filter(name=name).first()
            if found is None:
                raise CommandError(f"There is no organisation {name!r}. Make it with make_organisation.")
            return found
        if len(organisations) != 1:
            raise CommandError("Say for which organisation: --organisation NAME.")
        return organisations[0]
