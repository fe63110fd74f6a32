"""A site stored with what hangs there gets its words at once; words that are right are not written again.

Who stores a site may name the serials in `search`; the words of its own are put before them. The statement that stores
the installations still works the words out, but touches only sites whose words differ: in a table of a hundred thousand
sites the second writing of each site, with all its indexes, cost more than everything else.
"""

from django.db import migrations

FUNCTIONS = """
CREATE OR REPLACE FUNCTION registry_site_new_words() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.search := lower(concat_ws(' ', NEW.code, NEW.name, NEW.village, NEW.caretaker_name, NEW.caretaker_phone,
    (SELECT name FROM registry_district WHERE id = NEW.district_id), nullif(NEW.search, '')));
  RETURN NEW;
END $$;

CREATE OR REPLACE FUNCTION registry_site_find_words(sites bigint[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
  IF sites IS NULL THEN RETURN; END IF;
  EXECUTE $q$
    UPDATE registry_site s SET search = f.words
      FROM (SELECT s.id, lower(concat_ws(' ', s.code, s.name, s.village, s.caretaker_name, s.caretaker_phone, d.name,
                                         x.serials)) AS words
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


class Migration(migrations.Migration):
    dependencies = [("registry", "0004_units_found")]
    operations = [migrations.RunSQL(FUNCTIONS, migrations.RunSQL.noop)]
