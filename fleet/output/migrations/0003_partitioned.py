from django.db import migrations

from fleet.trail.watch import Watch

TABLES = """
CREATE TABLE output_evaluation (
  installation_id bigint NOT NULL REFERENCES registry_installation (id),
  day date NOT NULL,
  expected_l double precision,
  low_l double precision,
  high_l double precision,
  measured_l double precision,
  idle boolean NOT NULL DEFAULT false,
  sun_by varchar(10) NOT NULL DEFAULT '',
  baseline_hash varchar(16) NOT NULL DEFAULT '',
  PRIMARY KEY (installation_id, day)
) PARTITION BY RANGE (day);
"""


class Migration(migrations.Migration):
    dependencies = [("output", "0002_initial"), ("trail", "0002_function")]
    operations = [
        migrations.RunSQL(TABLES, "DROP TABLE output_evaluation"),
        Watch("output_shortfall", unseen=["updated_at", "evidence", "weight"]),
        Watch("output_causecount"),
    ]
