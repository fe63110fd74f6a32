from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0007_how_findings_were_heard")]

    operations = [
        migrations.AddField(
            model_name="fieldcard",
            name="odds",
            field=models.JSONField(
                db_comment="what a spot test that falls short is weighed with on the telephone", null=True
            ),
        ),
        migrations.AddField(
            model_name="fieldcard",
            name="odds_hash",
            field=models.CharField(blank=True, db_comment="of all that odds rest on", db_default="", max_length=64),
        ),
    ]
