from django.db import migrations

from fleet.trail.watch import Watch

# Partitioned by month of the local day; fleet.readings.partitions makes the months as records arrive.
TABLES = """
CREATE TABLE readings_dayrecord (
  installation_id bigint NOT NULL REFERENCES registry_installation (id),
  day date NOT NULL,
  volume_l double precision CHECK (volume_l >= 0),
  irradiation_kwh_m2 double precision CHECK (irradiation_kwh_m2 >= 0),
  noon_irradiance_w_m2 double precision,
  noon_voltage_v double precision,
  noon_current_a double precision,
  noon_level_m double precision,
  tank_full_seen boolean,
  standing smallint NOT NULL DEFAULT 0,
  noon_standing smallint NOT NULL DEFAULT 0,
  PRIMARY KEY (installation_id, day)
) PARTITION BY RANGE (day);
CREATE TABLE readings_dayseries (
  installation_id bigint NOT NULL REFERENCES registry_installation (id),
  day date NOT NULL,
  second integer[] NOT NULL,
  flow_l_min double precision[],
  irradiance_w_m2 double precision[],
  voltage_v double precision[],
  current_a double precision[],
  level_m double precision[],
  PRIMARY KEY (installation_id, day)
) PARTITION BY RANGE (day);
"""
UNDO = "DROP TABLE readings_dayseries; DROP TABLE readings_dayrecord;"


class Migration(migrations.Migration):
    dependencies = [("readings", "0001_initial"), ("trail", "0002_function")]
    operations = [
        migrations.RunSQL(TABLES, UNDO),
        Watch("readings_spottest"),
        Watch("readings_meterreading"),
        Watch("readings_slip"),
    ]
