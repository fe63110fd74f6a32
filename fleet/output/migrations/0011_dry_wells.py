from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("output", "0010_what_a_range_is_made_of")]
    operations = [
        migrations.RunSQL(
            "ALTER TABLE output_evaluation ADD COLUMN dry boolean NOT NULL DEFAULT false",
            "ALTER TABLE output_evaluation DROP COLUMN dry",
            state_operations=[
                migrations.AddField(
                    "evaluation", "dry",
                    models.BooleanField(
                        db_comment="the water stood at the pump or its probe, and less came", default=False
                    ),
                )
            ],
        )
    ]
