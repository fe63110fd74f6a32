from django.db import migrations

from fleet.trail.watch import Watch

WATCHED = [
    "procedure", "inspectionrule", "call", "trip", "visit", "steprecord", "visitspottest", "finding", "parttype",
    "partuse", "photo", "base",
]  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("visits", "0001_initial"), ("trail", "0002_function")]
    operations = [
        *[Watch(f"visits_{table}") for table in WATCHED],
        Watch("visits_fielddevice", unseen=("last_seen_at", "packed_at", "waiting", "app_version")),
        Watch("visits_fieldpiece", unseen=("payload",)),
    ]
