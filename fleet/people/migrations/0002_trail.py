from django.db import migrations

from fleet.trail.watch import Watch


class Migration(migrations.Migration):
    dependencies = [("people", "0001_initial"), ("trail", "0002_function")]
    operations = [
        Watch("people_organisation"),
        Watch("people_person", unseen=["password", "last_login"]),
        Watch("people_token", unseen=["hash", "last_used_at"]),
    ]
