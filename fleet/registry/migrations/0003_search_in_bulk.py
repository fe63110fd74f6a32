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

CREATE FUNCTION registry_site_new_words() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.search := lower(concat_ws(' ', NEW.code, NEW.name, NEW.village, NEW.caretaker_name, NEW.caretaker_phone,
    (SELECT name FROM registry_district WHERE id = NEW.district_id)));
  RETURN NEW;
END $$;
CREATE TRIGGER site_words_new BEFORE INSERT ON registry_site
  FOR EACH ROW EXECUTE FUNCTION registry_site_new_words();

-- All words of some sites in one statement. Dynamic, so that it is planned for the tables as they are now: a plan
-- kept from when they were empty reads them whole for each site.
CREATE FUNCTION registry_site_find_words(sites bigint[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
  IF sites IS NULL THEN RETURN; END IF;
  EXECUTE $q$
    UPDATE registry_site s SET search = lower(concat_ws(' ', s.code, s.name, s.village, s.caretaker_name,
        s.caretaker_phone, d.name, x.serials))
      FROM registry_district d, unnest($1) AS wanted(id)
      LEFT JOIN (SELECT w.site_id, string_agg(DISTINCT u.serial, ' ') AS serials
                   FROM registry_well w JOIN registry_installation i ON i.well_id = w.id
                   JOIN registry_unit u ON u.id = i.unit_id WHERE w.site_id = ANY ($1) GROUP BY w.site_id) x
        ON x.site_id = wanted.id
     WHERE s.id = wanted.id AND d.id = s.district_id
  $q$ USING sites;
END $$;

CREATE FUNCTION registry_site_words_of_own() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM registry_site_find_words((SELECT array_agg(n.id) FROM new_rows n JOIN old_rows o USING (id)
    WHERE (n.code, n.name, n.village, n.caretaker_name, n.caretaker_phone, n.district_id) IS DISTINCT FROM
          (o.code, o.name, o.village, o.caretaker_name, o.caretaker_phone, o.district_id)));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_changed AFTER UPDATE ON registry_site
  REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_of_own();

CREATE FUNCTION registry_site_words_by_installation() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM registry_site_find_words((SELECT array_agg(DISTINCT w.site_id)
    FROM new_rows n JOIN registry_well w ON w.id = n.well_id));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_added AFTER INSERT ON registry_installation REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_installation();

CREATE FUNCTION registry_site_words_by_moved() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM registry_site_find_words((SELECT array_agg(DISTINCT w.site_id)
    FROM (SELECT unnest(ARRAY[n.well_id, o.well_id]) AS well_id FROM new_rows n JOIN old_rows o USING (id)
           WHERE (n.well_id, n.unit_id) IS DISTINCT FROM (o.well_id, o.unit_id)) moved
    JOIN registry_well w ON w.id = moved.well_id));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_moved AFTER UPDATE ON registry_installation
  REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_moved();

CREATE FUNCTION registry_site_words_by_serial() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM registry_site_find_words((SELECT array_agg(DISTINCT w.site_id)
    FROM (SELECT id FROM new_rows n JOIN old_rows o USING (id) WHERE n.serial <> o.serial) renamed
    JOIN registry_installation i ON i.unit_id = renamed.id JOIN registry_well w ON w.id = i.well_id));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_serial AFTER UPDATE ON registry_unit
  REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION registry_site_words_by_serial();

CREATE FUNCTION registry_site_words_by_district() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM registry_site_find_words((SELECT array_agg(id) FROM registry_site WHERE district_id = NEW.id));
  RETURN NULL;
END $$;
CREATE TRIGGER site_words_district AFTER UPDATE OF name ON registry_district
  FOR EACH ROW WHEN (OLD.name <> NEW.name) EXECUTE FUNCTION registry_site_words_by_district();
"""


class Migration(migrations.Migration):
    dependencies = [("registry", "0002_trail_and_search")]
    operations = [migrations.RunSQL(FUNCTIONS, migrations.RunSQL.noop)]
