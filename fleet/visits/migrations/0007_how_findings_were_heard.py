from django.db import migrations

# Whose they are is known by their visits, and by the pieces that telephones sent, where they were written down.
SQL = """
UPDATE output_findingheard f SET organisation_id = v.organisation_id,
       way = CASE WHEN EXISTS (SELECT 1 FROM visits_fieldpiece p WHERE p.key = n.key) THEN 'telephone' ELSE 'desk' END
  FROM visits_finding n JOIN visits_visit v ON v.id = n.visit_id WHERE f.finding_key = n.key::text
"""


class Migration(migrations.Migration):
    dependencies = [("visits", "0006_moved_visits"), ("output", "0012_whose_finding_and_how_heard")]
    operations = [migrations.RunSQL(SQL, migrations.RunSQL.noop)]
