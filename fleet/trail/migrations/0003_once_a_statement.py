"""Tables that were watched row by row are watched once a statement from now on."""

from django.db import migrations

from fleet.trail.watch import FUNCTION, NEW_TRIGGERS, NO_TRIGGERS


def watch_by_statement(apps, schema_editor):
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text, tgargs FROM pg_trigger WHERE tgname = 'trail' AND NOT tgisinternal"
        )
        watched = cursor.fetchall()
        cursor.execute(FUNCTION)
        for table, arguments in watched:
            unseen = bytes(arguments).split(b"\0")[0].decode()
            cursor.execute(NO_TRIGGERS.format(table=table))
            cursor.execute(NEW_TRIGGERS.format(table=table, unseen=unseen))
        cursor.execute("DROP FUNCTION IF EXISTS trail_note()")


class Migration(migrations.Migration):
    dependencies = [("trail", "0002_function")]
    operations = [migrations.RunPython(watch_by_statement, migrations.RunPython.noop)]
