"""Monthly partitions, made as records arrive. Safe to ask for twice and from two workers at once."""

from datetime import date

from django.db import connection

TABLES = ("readings_dayrecord", "readings_dayseries", "output_evaluation")


def months_between(first, last):
    """The first days of all months from `first` to `last`, both included."""
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = (month.replace(day=28) + _FOUR_DAYS).replace(day=1)


_FOUR_DAYS = date(2000, 1, 5) - date(2000, 1, 1)


def make_months(table, first, last):
    """Partitions of `table` for every month from the day `first` to the day `last`."""
    if table not in TABLES:
        raise ValueError(f"{table} is not partitioned by month.")
    with connection.cursor() as cursor:
        # One at a time: two workers that both see the month missing would both try to make it.
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [table])
        for month in months_between(first, last):
            after = (month.replace(day=28) + _FOUR_DAYS).replace(day=1)
            cursor.execute(
                f"CREATE TABLE IF NOT EXISTS {table}_{month:%Y_%m} PARTITION OF {table} "  # noqa: S608 - from TABLES
                f"FOR VALUES FROM ('{month}') TO ('{after}')"
            )
