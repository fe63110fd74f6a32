from django.db import migrations

from fleet.trail.watch import Watch

# The text that a site is found by: its own names, its caretaker, and every serial that ever hung there.
SEARCH = """
CREATE FUNCTION registry_site_words(wanted bigint) RETURNS text LANGUAGE sql STABLE AS $$
  SELECT lower(concat_ws(' ', s.code, s.name, s.village, s.caretaker_name, s.caretaker_phone, d.name,
    (SELECT string_agg(DISTINCT u.serial, ' ')
       FROM registry_well w JOIN registry_installation i ON i.well_id = w.id JOIN registry_unit u ON u.id = i.unit_id
      WHERE w.site_id = s.id)))
  FROM registry_site s JOIN registry_district d ON d.id = s.district_id WHERE s.id = wanted
$$;
CREATE FUNCTION registry_site_words_self() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = registry_site_words(NEW.id) WHERE id = NEW.id;
  RETURN NULL;
END $$;
CREATE TRIGGER site_words AFTER INSERT OR UPDATE OF code, name, village, caretaker_name, caretaker_phone, district_id
  ON registry_site FOR EACH ROW EXECUTE FUNCTION registry_site_words_self();
CREATE FUNCTION registry_site_words_installation() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE registry_site SET search = registry_site_words(id)
   WHERE id = (SELECT site_id FROM registry_well WHERE id = NEW.well_id);
  RETURN NULL;
END $$;
CREATE TRIGGER site_words AFTER INSERT OR UPDATE OF unit_id, well_id
  ON registry_installation FOR EACH ROW EXECUTE FUNCTION registry_site_words_installation();
"""
UNDO = """
DROP FUNCTION registry_site_words_installation() CASCADE;
DROP FUNCTION registry_site_words_self() CASCADE;
DROP FUNCTION registry_site_words(bigint);
"""
WATCHED = [
    "pumptype", "pumppoint", "moduletype", "pipe", "cable", "district", "monthlyclimate", "well",
    "staticlevel", "tank", "unit", "unitpoint", "installation", "attachment",
]  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("registry", "0001_initial"), ("trail", "0002_function")]
    operations = [
        migrations.RunSQL(SEARCH, UNDO),
        Watch("registry_site", unseen=["search"]),
        *[Watch(f"registry_{table}") for table in WATCHED],
    ]
