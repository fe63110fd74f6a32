from django.db import migrations

# Series that arrive in pieces are merged by second inside the upsert itself, so that two workers cannot lose each
# other's samples. Functions rather than code of ours: only the database sees the row as it stands at that moment.
FORWARDS = """
ALTER TABLE readings_dayrecord ADD COLUMN derived boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN readings_dayrecord.derived IS 'worked out from a finer series, not reported as a daily figure';
CREATE FUNCTION readings_seconds(was integer[], came integer[]) RETURNS integer[] LANGUAGE sql IMMUTABLE AS $$
  SELECT array_agg(DISTINCT s ORDER BY s) FROM unnest(was || came) AS s
$$;
CREATE FUNCTION readings_merge(was_s integer[], was_v double precision[], came_s integer[], came_v double precision[])
RETURNS double precision[] LANGUAGE sql IMMUTABLE AS $$
  SELECT CASE WHEN count(v) > 0 THEN array_agg(v ORDER BY s) END FROM (
    SELECT coalesce(n.s, o.s) AS s, coalesce(n.v, o.v) AS v
    FROM unnest(was_s, coalesce(was_v, '{}')) AS o (s, v)
    FULL JOIN unnest(came_s, coalesce(came_v, '{}')) AS n (s, v) ON n.s = o.s
  ) AS both_
$$;
"""
BACKWARDS = """
DROP FUNCTION readings_merge(integer[], double precision[], integer[], double precision[]);
DROP FUNCTION readings_seconds(integer[], integer[]);
ALTER TABLE readings_dayrecord DROP COLUMN derived;
"""


class Migration(migrations.Migration):
    dependencies = [("readings", "0002_partitioned")]
    operations = [
        migrations.SeparateDatabaseAndState(database_operations=[migrations.RunSQL(FORWARDS, BACKWARDS)]),
    ]
