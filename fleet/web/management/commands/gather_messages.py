from django.conf import settings
from django.core.management.base import BaseCommand

from fleet.web import messages


class Command(BaseCommand):
    help = "Brings the message catalogues up to date with the texts in code and templates, and lists what they lack."

    def add_arguments(self, parser):
        parser.add_argument("--check", action="store_true", help="change nothing; fail if texts are missing")
        parser.add_argument("--list", action="store_true", help="print each text that is missing")

    def handle(self, *, check, list, **options):  # noqa: A002 - named as its option
        import polib

        gathered = messages.gather(settings.BASE_DIR)
        lacking = 0
        for path in sorted((settings.BASE_DIR / "fleet/web/locale").glob("*/LC_MESSAGES/django.po")):
            catalogue = polib.pofile(str(path), wrapwidth=120)
            if not check:
                new, gone = messages.merge(catalogue, gathered)
                catalogue.save()
                self.stdout.write(f"{path.parts[-3]}: {len(new)} new, {len(gone)} gone, of {len(gathered)}.")
            found = messages.faults(catalogue, gathered)
            lacking += len(found)
            self.stdout.write(f"{path.parts[-3]}: {len(found)} to translate or mend.")
            if list:
                for (_context, text, _plural), why in found:
                    self.stdout.write(f"  {why}: {text!r}")
        if check and lacking:
            raise SystemExit(1)
