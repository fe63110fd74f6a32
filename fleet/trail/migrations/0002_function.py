from django.db import migrations

from fleet.trail.watch import FUNCTION


class Migration(migrations.Migration):
    dependencies = [("trail", "0001_initial")]
    operations = [migrations.RunSQL(FUNCTION, "DROP FUNCTION IF EXISTS trail_keep() CASCADE")]
