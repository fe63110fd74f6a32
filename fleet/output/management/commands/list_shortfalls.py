"""Write the shortfalls, or every flag with its causes as they stood then, as CSV."""

import csv
import sys
from contextlib import nullcontext
from pathlib import Path

from django.core.management.base import BaseCommand

from fleet.output.models import Flag, Shortfall


class Command(BaseCommand):
    help = "Write shortfalls as CSV: the rows as they stand, or (--form flags) each time one was put forward."

    def add_arguments(self, parser):
        parser.add_argument("--form", choices=["shortfalls", "flags"], default="shortfalls")
        parser.add_argument("--organisation", help="name; left out: all of them")
        parser.add_argument("--state", choices=["open", "noted", "closed", "all"], default="all")
        parser.add_argument("--to", type=Path, help="file to write; left out: standard output")

    def handle(self, *, form, organisation, state, to, **options):
        # Written straight to the stream: the command's own output would break lines of its own.
        place = nullcontext(sys.stdout) if to is None else to.open("w", newline="", encoding="utf-8")
        with place as stream:
            writer = csv.writer(stream)
            rows = self._flags(organisation) if form == "flags" else self._shortfalls(organisation, state)
            for row in rows:
                writer.writerow(row)

    def _flags(self, organisation):
        yield "serial", "flagged_on", "causes"
        rows = Flag.objects.select_related("installation__unit").order_by("installation__unit__serial", "flagged_on")
        if organisation:
            rows = rows.filter(installation__organisation__name=organisation)
        for flag in rows.iterator(2000):
            causes = "|".join(c["cause"] for c in flag.causes)
            yield flag.installation.unit.serial, flag.flagged_on.isoformat(), causes

    def _shortfalls(self, organisation, state):
        yield ("serial", "state", "since", "flagged_on", "closed_on", "lost_l_day", "probability", "people_served",
               "causes", "odds")  # fmt: skip
        rows = Shortfall.objects.select_related("installation__unit").order_by("-weight", "id")
        if organisation:
            rows = rows.filter(installation__organisation__name=organisation)
        if state != "all":
            rows = rows.filter(state=state)
        for one in rows.iterator(2000):
            yield (
                one.installation.unit.serial, one.state, one.since, one.flagged_on, one.closed_on or "",
                round(one.lost_l_day), one.probability, one.people_served, "|".join(c["cause"] for c in one.causes),
                "|".join(f"{c['odds']:.2f}" for c in one.causes),
            )  # fmt: skip
