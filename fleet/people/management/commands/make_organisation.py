"""Open an organisation and its first administrator, who then looks after everybody else by the pages."""

from django.core.management.base import BaseCommand, CommandError

from fleet.people import services
from fleet.trail.watch import acting
from fleet.web.refusals import Refused


class Command(BaseCommand):
    help = "Make an organisation with its first administrator, whose first password is printed once."

    def add_arguments(self, parser):
        parser.add_argument("name", help="the organisation's name")
        parser.add_argument("--country", default="", help="two letters, like KE")
        parser.add_argument("--administrator", required=True, metavar="USERNAME", help="log-in name of the first one")
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")

    def handle(self, *, name, country, administrator, first_name, last_name, **options):
        try:
            with acting(None, "make_organisation"):
                person, password = services.open_organisation(
                    name=name, country=country, username=administrator, first_name=first_name, last_name=last_name
                )
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{person.organisation} is open. Its administrator: {person.username}, password: {password}")
        self.stdout.write("It is not shown again. Log in with it, then choose another on the page of your own account.")
