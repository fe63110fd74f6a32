"""A site's words for searching, kept without slowing bulk work down.

The site's own row gets its words before it is written, and what changes them from outside (installations, a serial
corrected, a district renamed) is worked off once a statement, not once a row.
"""

from django.db import migrations

FUNCTIONS = """
DROP TRIGGER site_words ON registry_installation;
DROP TRIGGER site_words ON registry_site;
DROP FUNCTION registry_site_words_installation();
DROP FUNCTION registry_site_words_self();
DROP FUNCTION registry_site_words(bigint);

CREATE FUNCTION registry_site_own_words() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.search := lower(concat_ws(' ', NEW.code, NEW.name, NEW.village, NEW.caretaker_name, NEW.caretaker_phone,
    (SELECT name FROM registry_district WHERE id = NEW.district_id),
    CASE WHEN TG_OP = 'UPDATE' THEN
      (SELECT string_agg(DISTINCT u.serial, ' ')
         FROM registry_well w JOIN registry_installation i ON i.well_id = w.id JOIN registry_unit u ON u.id = i.unit_id
        WHERE w.site_id = NEW.id)
    END));
  RETURN NEW;
END $$;
CREATE TRIGGER site_words_new BEFORE INSERT ON registry_site
  FOR EACH ROW EXECUTE FUNCTION registry_site_own_words();
CREATE TRIGGER site_words_changed
  BEFORE UPDATE OF code, name, village, caretaker_name, caretaker_phone, district_id, search ON registry_site
  FOR EACH ROW EXECUTE FUNCTION registry_site_own_words();

CREATE FUNCTION registry_site_words_by_installation() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = ''
   WHERE id IN (SELECT w.site_id FROM new_rows n JOIN registry_well w ON w.id = n.well_id);
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_added AFTER INSERT ON registry_installation REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_installation();
CREATE FUNCTION registry_site_words_by_moved() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = ''
   WHERE id IN (SELECT w.site_id FROM new_rows n JOIN old_rows o USING (id)
                  JOIN registry_well w ON w.id IN (n.well_id, o.well_id)
                 WHERE (n.well_id, n.unit_id) IS DISTINCT FROM (o.well_id, o.unit_id));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_moved AFTER UPDATE ON registry_installation
  REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_moved();
CREATE FUNCTION registry_site_words_by_serial() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = ''
   WHERE id IN (SELECT w.site_id FROM new_rows n JOIN old_rows o USING (id)
                  JOIN registry_installation i ON i.unit_id = n.id JOIN registry_well w ON w.id = i.well_id
                 WHERE n.serial <> o.serial);
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_serial AFTER UPDATE ON registry_unit
  REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_serial();
CREATE FUNCTION registry_site_words_by_district() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = '' WHERE district_id = NEW.id;
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_district AFTER UPDATE OF name ON registry_district
  FOR EACH ROW WHEN (OLD.name <> NEW.name) EXECUTE FUNCTION registry_site_words_by_district();
"""


class Migration(migrations.Migration):
    dependencies = [("registry", "0002_trail_and_search")]
    operations = [migrations.RunSQL(FUNCTIONS, migrations.RunSQL.noop)]
