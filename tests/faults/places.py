"""Where a fault strikes: a row at which whoever writes it stands still, so that it can be killed in that moment."""

import time
from contextlib import contextmanager

from django.db import connection

LOCK = 0x5A17


@contextmanager
def halt(table, when="TRUE", on="INSERT OR UPDATE"):
    """Inside the block, whoever else writes a row of `table` for which `when` holds stands still until it ends.

    The table's own trigger waits for a lock that this test holds: no code of the application is changed.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE OR REPLACE FUNCTION stand_still() RETURNS trigger LANGUAGE plpgsql AS $$ "
            f"BEGIN PERFORM pg_advisory_xact_lock_shared({LOCK}); RETURN NEW; END $$"
        )
        cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        cursor.execute(
            f"CREATE TRIGGER stand_still BEFORE {on} ON {table} FOR EACH ROW WHEN ({when}) "
            "EXECUTE FUNCTION stand_still()"
        )
    let_go = []

    def go_on():
        if not let_go:
            let_go.append(True)
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK])

    try:
        yield go_on
    finally:
        go_on()
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TRIGGER stand_still ON {table}")


def standing():
    """How many stand still at such a row now."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event = 'advisory'"
        )
        return cursor.fetchone()[0]


def until(so, within_s=60, what=""):
    """Wait until `so()` gives something true, and return it."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if found := so():
            return found
        time.sleep(0.05)
    raise AssertionError(f"not so within {within_s} s: {what or so}")
