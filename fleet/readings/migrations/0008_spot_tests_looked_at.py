from django.db import migrations, models

from fleet.trail.watch import Watch

COMMENT = "slips were asked about where it was typed, or looked for since"


class Migration(migrations.Migration):
    dependencies = [("readings", "0007_why_it_is_in_doubt"), ("registry", "0008_words_without_accents")]

    operations = [
        # What was kept before is taken as looked at: it was judged as it stands.
        migrations.AddField(
            "spottest", "looked", models.BooleanField(db_comment=COMMENT, default=True, editable=False)
        ),
        migrations.AlterField(
            "spottest", "looked", models.BooleanField(db_comment=COMMENT, default=False, editable=False)
        ),
        migrations.AlterField(
            "slip", "facts",
            models.JSONField(blank=True, db_comment="due_l, days; before_l, before_on; usual; right", default=dict),
        ),
        migrations.AddIndex(
            "spottest",
            models.Index(condition=models.Q(("looked", False)), fields=["installation"], name="spot_tests_to_look_at"),
        ),
        Watch("readings_spottest", unseen=("looked",)),
    ]  # fmt: skip
