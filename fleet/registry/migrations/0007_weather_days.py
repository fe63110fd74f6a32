"""A weather file's own kinds of day beside its twelve months."""

from django.db import migrations, models

import fleet.registry.models.places


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0006_shade_windows'),
    ]

    operations = [
        migrations.AddField(
            model_name='monthlyclimate',
            name='day_irradiation_kwh_m2',
            field=models.JSONField(blank=True, db_comment="from a weather file's own days: by month the means of nine equal groups of days, dullest first; empty where only the months are known", default=list, verbose_name='kinds of day by month, kWh/m²'),
        ),
        migrations.AddConstraint(
            model_name='monthlyclimate',
            constraint=models.CheckConstraint(condition=fleet.registry.models.places.Holds('day_irradiation_kwh_m2', models.Value('strict $[*] ? (@.type() != "array" || @.size() != 9 || @[0].type() != "number" || @[1].type() != "number" || @[2].type() != "number" || @[3].type() != "number" || @[4].type() != "number" || @[5].type() != "number" || @[6].type() != "number" || @[7].type() != "number" || @[8].type() != "number" || !(!(@[*] < 0) && !(@[*] > 15)))')), name='kinds_of_day_by_nine'),
        ),
    ]
