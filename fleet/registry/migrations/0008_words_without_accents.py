"""Words for searching lose their accents: who types Therese finds Thérèse."""

from django.contrib.postgres.operations import UnaccentExtension
from django.db import migrations

FUNCTIONS = """
CREATE OR REPLACE FUNCTION registry_site_new_words() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.search := lower(unaccent(concat_ws(' ', NEW.code, NEW.name, NEW.village, NEW.caretaker_name, NEW.caretaker_phone,
    (SELECT name FROM registry_district WHERE id = NEW.district_id), nullif(NEW.search, ''))));
  RETURN NEW;
END $$;

CREATE OR REPLACE FUNCTION registry_site_find_words(sites bigint[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
  IF sites IS NULL THEN RETURN; END IF;
  EXECUTE $q$
    UPDATE registry_site s SET search = f.words
      FROM (SELECT s.id, lower(unaccent(concat_ws(' ', s.code, s.name, s.village, s.caretaker_name, s.caretaker_phone,
                                                  d.name, x.serials))) AS words
              FROM registry_site s JOIN registry_district d ON d.id = s.district_id
              LEFT JOIN (SELECT w.site_id, string_agg(DISTINCT u.serial, ' ') AS serials
                           FROM registry_well w JOIN registry_installation i ON i.well_id = w.id
                           JOIN registry_unit u ON u.id = i.unit_id WHERE w.site_id = ANY ($1) GROUP BY w.site_id) x
                ON x.site_id = s.id
             WHERE s.id = ANY ($1)) f
     WHERE s.id = f.id AND s.search IS DISTINCT FROM f.words
  $q$ USING sites;
END $$;
"""
ALL_ANEW = "SELECT registry_site_find_words((SELECT array_agg(id) FROM registry_site))"


class Migration(migrations.Migration):
    dependencies = [("registry", "0007_weather_days")]
    operations = [
        UnaccentExtension(),
        migrations.RunSQL(FUNCTIONS, migrations.RunSQL.noop),
        migrations.RunSQL(ALL_ANEW, migrations.RunSQL.noop),
    ]
