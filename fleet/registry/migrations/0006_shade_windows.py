"""Windows of shade at a site; the database holds these and the skyline to figures that can be."""

from django.db import migrations, models

import fleet.registry.models.places


class Migration(migrations.Migration):

    dependencies = [
        ('people', '0004_alarms_default'),
        ('registry', '0005_words_once'),
    ]

    operations = [
        migrations.AddField(
            model_name='site',
            name='shade_windows',
            field=models.JSONField(blank=True, db_comment='[from_h, to_h, share_lost] rows: hours of sun time, share of the direct light lost, 0 to 1', default=list, verbose_name='windows of shade'),
        ),
        migrations.AddConstraint(
            model_name='site',
            constraint=models.CheckConstraint(condition=fleet.registry.models.places.Holds('skyline', models.Value('strict $[*] ? (@.type() != "array" || @.size() != 2 || @[0].type() != "number" || @[1].type() != "number" || !(0 <= @[0] && @[0] <= 360 && 0 <= @[1] && @[1] <= 90))')), name='skyline_of_pairs'),
        ),
        migrations.AddConstraint(
            model_name='site',
            constraint=models.CheckConstraint(condition=fleet.registry.models.places.Holds('shade_windows', models.Value('strict $[*] ? (@.type() != "array" || @.size() != 3 || @[0].type() != "number" || @[1].type() != "number" || @[2].type() != "number" || !(0 <= @[0] && @[0] < @[1] && @[1] <= 24 && 0 < @[2] && @[2] <= 1))')), name='shade_windows_of_hours'),
        ),
    ]
