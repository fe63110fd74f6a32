"""The migration step that switches the trail on for a table, and the frame that tells it who acts.

A trigger writes the row, so bulk changes, plain SQL and COPY leave their trace as well. `acting` sets who and through
what for the current transaction or connection; without it the change is kept with no name.
"""

from contextlib import contextmanager
from contextvars import ContextVar

from django.db import connection
from django.db.migrations.operations import RunSQL

_actor = ContextVar("trail_actor", default=(None, ""))

FUNCTION = """
CREATE OR REPLACE FUNCTION trail_note() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  was jsonb; now_ jsonb; key text; who text;
  old_part jsonb := '{}'; new_part jsonb := '{}';
BEGIN
  IF TG_OP <> 'INSERT' THEN was := to_jsonb(OLD); END IF;
  IF TG_OP <> 'DELETE' THEN now_ := to_jsonb(NEW); END IF;
  IF TG_OP = 'UPDATE' THEN
    FOR key IN SELECT jsonb_object_keys(now_) LOOP
      IF was -> key IS DISTINCT FROM now_ -> key AND NOT key = ANY (TG_ARGV[0]::text[]) THEN
        old_part := old_part || jsonb_build_object(key, was -> key);
        new_part := new_part || jsonb_build_object(key, now_ -> key);
      END IF;
    END LOOP;
    IF new_part = '{}' THEN RETURN NULL; END IF;
  ELSE
    old_part := was - TG_ARGV[0]::text[]; new_part := now_ - TG_ARGV[0]::text[];
  END IF;
  who := nullif(current_setting('trail.person', true), '');
  INSERT INTO trail_change (at, "table", row_id, kind, before, after, person_id, via)
  VALUES (now(), TG_TABLE_NAME, coalesce(now_, was) ->> 'id', left(TG_OP, 1), old_part, new_part,
          who::bigint, coalesce(current_setting('trail.via', true), ''));
  RETURN NULL;
END $$;
"""


class Watch(RunSQL):
    """Migration operation: keep a trail of this table; `unseen` columns are never written to it."""

    def __init__(self, table, unseen=()):
        self.table, self.unseen = table, tuple(unseen)
        columns = "{" + ",".join(self.unseen) + "}"
        super().__init__(
            sql=f"DROP TRIGGER IF EXISTS trail ON {table};"
            f"CREATE TRIGGER trail AFTER INSERT OR UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION trail_note('{columns}');",
            reverse_sql=f"DROP TRIGGER IF EXISTS trail ON {table};",
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
