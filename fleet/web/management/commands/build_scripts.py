from django.conf import settings
from django.core.management.base import BaseCommand

from fleet.web import scripts


class Command(BaseCommand):
    help = "Makes the scripts that draw charts in the browser. Run it before collectstatic; a second run does nothing."

    def handle(self, **options):
        written = scripts.build(settings.BUILD_DIR / "scripts")
        for path in written:
            self.stdout.write(f"Made {path.name}, {path.stat().st_size:,} bytes.")
        if not written:
            self.stdout.write("Nothing to do.")
