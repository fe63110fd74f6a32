"""Notes from which day on an installation has something new to judge."""

from django.db import connection

NOTE = (
    "INSERT INTO readings_arrival (installation_id, first_day, at) {} "
    "ON CONFLICT (installation_id) DO UPDATE SET first_day = least(readings_arrival.first_day, EXCLUDED.first_day), "
    "at = EXCLUDED.at"
)


def note(cursor, writing, params=()):
    """Run `writing`, which returns (installation_id, day) of the rows it wrote; note them. Returns how many."""
    # In order of installation, so that two intakes at once wait for each other instead of locking each other out.
    noting = NOTE.format(
        "SELECT installation_id, min(day), now() FROM moved GROUP BY installation_id ORDER BY installation_id"
    )
    cursor.execute(f"WITH moved AS ({writing}), noted AS ({noting}) SELECT count(*) FROM moved", params)
    return cursor.fetchone()[0]


def note_day(installation_id, day):
    """One installation has something new for this day of its site."""
    with connection.cursor() as cursor:
        cursor.execute(NOTE.format("VALUES (%s, %s, now())"), [installation_id, day])
