import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("output", "0003_partitioned"),
        ("registry", "0002_trail_and_search"),
    ]

    operations = [
        migrations.AddField(
            model_name="baseline",
            name="assumed",
            field=models.JSONField(db_comment="names of the values nobody wrote down, taken as usual", default=list),
        ),
        migrations.AddField(
            model_name="baseline",
            name="table",
            field=models.BinaryField(
                db_comment="water by month and clearness, for the nightly judgement; float32", null=True
            ),
        ),
        migrations.AddField(
            model_name="judgement",
            name="case",
            field=models.JSONField(db_comment="the open case as it was last put forward", default=dict),
        ),
        migrations.AddField(
            model_name="judgement",
            name="trouble",
            field=models.CharField(blank=True, db_comment="why it cannot be judged", max_length=300),
        ),
        migrations.RemoveField(model_name="judgement", name="state"),
        migrations.AddField(
            model_name="judgement",
            name="state",
            field=models.BinaryField(db_comment="the running evidence as the engineering package keeps it", null=True),
        ),
        migrations.CreateModel(
            name="Snapshot",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "installation_id", "day", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("day", models.DateField()),
                ("state", models.BinaryField()),
                ("case", models.JSONField(default=dict)),
                (
                    "installation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="registry.installation"
                    ),
                ),
            ],
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(
                    "ALTER TABLE output_evaluation ADD COLUMN span_days smallint NOT NULL DEFAULT 1, "
                    "ADD COLUMN observation bytea; "
                    # The numbers do not compress and are always read whole.
                    'ALTER TABLE output_baseline ALTER COLUMN "table" SET STORAGE EXTERNAL; '
                    "ALTER TABLE output_judgement ALTER COLUMN state SET STORAGE PLAIN;",
                    "ALTER TABLE output_evaluation DROP COLUMN span_days, DROP COLUMN observation;",
                )
            ]
        ),
    ]
