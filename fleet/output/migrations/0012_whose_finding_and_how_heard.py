import django.db.models.deletion
from django.db import migrations, models

COMMENT = "how it was heard: where the finding was written down; empty: not known"


class Migration(migrations.Migration):
    dependencies = [("output", "0011_dry_wells"), ("people", "0004_alarms_default")]
    operations = [
        migrations.AddField(
            "findingheard", "organisation",
            models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name="+",
                              to="people.organisation"),
        ),
        migrations.AddField(
            "findingheard", "way",
            models.CharField(blank=True, choices=[("telephone", "on a telephone"), ("desk", "at the desk")],
                             db_comment=COMMENT, max_length=9),
        ),
        migrations.RunSQL(
            "UPDATE output_findingheard f SET organisation_id = p.organisation_id FROM people_person p "
            "WHERE p.id = f.heard_by_id",
            migrations.RunSQL.noop,
        ),
    ]  # fmt: skip
