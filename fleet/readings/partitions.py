"""Monthly partitions, made as records arrive. Safe to ask for twice and from two workers at once."""

from datetime import date, timedelta

from django.db import connection, transaction

TABLES = ("readings_dayrecord", "readings_dayseries", "output_evaluation")


def _after(month):
    return (month + timedelta(days=31)).replace(day=1)


def months_between(first, last):
    """The first days of all months from `first` to `last`, both included."""
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = _after(month)


def make_months(table, first, last):
    """Partitions of `table` for every month from the day `first` to the day `last`.

    A month is made beside the table and then attached: that stops nobody from reading or writing the other months.
    """
    if table not in TABLES:
        raise ValueError(f"{table} is not partitioned by month.")
    make(table, months_between(first, last))


def make(table, months):
    """Partitions for these months (their first days); only those that miss."""
    wanted = {f"{table}_{month:%Y_%m}": month for month in months}
    with transaction.atomic(), connection.cursor() as cursor:
        missing = _missing(cursor, wanted)
        if not missing:
            return
        # One at a time: two workers that both see the month missing would both try to make it.
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [table])
        for name in _missing(cursor, missing):
            month = wanted[name]
            cursor.execute(f"CREATE TABLE {name} (LIKE {table} INCLUDING ALL)")
            cursor.execute(
                f"ALTER TABLE {table} ATTACH PARTITION {name} FOR VALUES FROM ('{month}') TO ('{_after(month)}')"
            )


def _missing(cursor, names):
    cursor.execute("SELECT name FROM unnest(%s::text[]) name WHERE to_regclass(name) IS NULL", [list(names)])
    return [row[0] for row in cursor.fetchall()]


def make_for(table, days):
    """Partitions for the months of these days (datetime64)."""
    import numpy as np

    months = np.unique(np.asarray(days).astype("datetime64[M]"))
    make(table, [date(int(str(m)[:4]), int(str(m)[5:7]), 1) for m in months])
