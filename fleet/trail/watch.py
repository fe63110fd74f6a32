"""The migration step that switches the trail on for a table, and the frame that tells it who acts.

Triggers write the rows, so bulk changes, plain SQL and COPY leave their trace as well; once a statement and not once a
row, so that a hundred thousand rows brought in cost little more than their own storage. `acting` sets who and through
what for the current transaction or connection; without it the change is kept with no name.
"""

from contextlib import contextmanager
from contextvars import ContextVar

from django.db import connection
from django.db.migrations.operations import RunSQL

_actor = ContextVar("trail_actor", default=(None, ""))

FUNCTION = """
CREATE OR REPLACE FUNCTION trail_keep() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  unseen text[] := TG_ARGV[0]::text[];
  who bigint := nullif(current_setting('trail.person', true), '')::bigint;
  way text := coalesce(current_setting('trail.via', true), '');
BEGIN
  IF TG_OP = 'INSERT' THEN
    INSERT INTO trail_change (at, "table", row_id, kind, after, person_id, via)
    SELECT now(), TG_TABLE_NAME, n.id::text, 'I', to_jsonb(n) - unseen, who, way FROM new_rows n;
  ELSIF TG_OP = 'DELETE' THEN
    INSERT INTO trail_change (at, "table", row_id, kind, before, person_id, via)
    SELECT now(), TG_TABLE_NAME, o.id::text, 'D', to_jsonb(o) - unseen, who, way FROM old_rows o;
  ELSE
    -- A full join is never done as a loop in a loop, whatever the planner believes about the number of rows; and a row
    -- whose id was changed by plain SQL is kept as what it is, one removed and one added.
    INSERT INTO trail_change (at, "table", row_id, kind, before, after, person_id, via)
    SELECT now(), TG_TABLE_NAME, coalesce(is_ ->> 'id', was ->> 'id'),
           CASE WHEN was IS NULL THEN 'I' WHEN is_ IS NULL THEN 'D' ELSE 'U' END,
           CASE WHEN is_ IS NULL THEN was ELSE (SELECT jsonb_object_agg(key, value) FROM jsonb_each(was)
                                                 WHERE value IS DISTINCT FROM is_ -> key) END,
           CASE WHEN was IS NULL THEN is_ ELSE (SELECT jsonb_object_agg(key, value) FROM jsonb_each(is_)
                                                 WHERE value IS DISTINCT FROM was -> key) END, who, way
      FROM (SELECT to_jsonb(o) - unseen AS was, to_jsonb(n) - unseen AS is_
              FROM new_rows n FULL JOIN old_rows o ON n.id = o.id OFFSET 0) pair
     WHERE was IS DISTINCT FROM is_;
  END IF;
  RETURN NULL;
END $$;
"""
NO_TRIGGERS = """
DROP TRIGGER IF EXISTS trail ON {table};
DROP TRIGGER IF EXISTS trail_added ON {table};
DROP TRIGGER IF EXISTS trail_changed ON {table};
DROP TRIGGER IF EXISTS trail_removed ON {table};
"""
NEW_TRIGGERS = """
CREATE TRIGGER trail_added AFTER INSERT ON {table} REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION trail_keep('{unseen}');
CREATE TRIGGER trail_changed AFTER UPDATE ON {table} REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION trail_keep('{unseen}');
CREATE TRIGGER trail_removed AFTER DELETE ON {table} REFERENCING OLD TABLE AS old_rows
  FOR EACH STATEMENT EXECUTE FUNCTION trail_keep('{unseen}');
"""


class Watch(RunSQL):
    """Migration operation: keep a trail of this table; `unseen` columns are never written to it."""

    def __init__(self, table, unseen=()):
        self.table, self.unseen = table, tuple(unseen)
        columns = "{" + ",".join(self.unseen) + "}"
        super().__init__(
            sql=NO_TRIGGERS.format(table=table) + NEW_TRIGGERS.format(table=table, unseen=columns),
            reverse_sql=NO_TRIGGERS.format(table=table),
        )

    def deconstruct(self):
        return (self.__class__.__name__, [self.table], {"unseen": self.unseen})


def _tell(person_id, via):
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('trail.person', %s, false), set_config('trail.via', %s, false)",
            [str(person_id or ""), (via or "")[:120]],
        )


@contextmanager
def acting(person, via=""):
    """All changes inside are noted as this person's, made through `via`.

    Takes a person, a person's id, or None. Nested frames restore the outer one.
    """
    person_id = getattr(person, "pk", person)
    outer = _actor.get()
    token = _actor.set((person_id, via))
    _tell(person_id, via)
    try:
        yield
    finally:
        _actor.reset(token)
        # In a broken transaction nothing can be told to the database; the connection's next frame sets it anew.
        if not connection.needs_rollback and connection.connection is not None:
            _tell(*outer)
