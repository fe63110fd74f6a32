"""Judged days and shortfalls for tests, written straight to their tables."""

from datetime import date, timedelta

from django.db import connection

from fleet.output.models import Shortfall
from fleet.readings.partitions import make_months


def judged_days(installation, first, rows):
    """One row a day from `first`: (expected, measured) or (expected, measured, idle); measured None: not reported."""
    last = first + timedelta(days=len(rows) - 1)
    make_months("output_evaluation", first, last)
    with connection.cursor() as cursor:
        for k, (expected, measured, *idle) in enumerate(rows):
            cursor.execute(
                "INSERT INTO output_evaluation (installation_id, day, expected_l, low_l, high_l, measured_l, idle) "
                "VALUES (%s, %s, %s, %s, %s, %s, %s)",
                [installation.pk, first + timedelta(days=k), expected, expected * 0.9, expected * 1.1, measured,
                 bool(idle and idle[0])],
            )  # fmt: skip


def a_shortfall(installation, **changes):
    known = {
        "installation": installation, "flagged_on": date(2026, 3, 10), "since": date(2026, 3, 4), "lost_l_day": 1200.0,
        "lost_fraction": 0.3, "probability": 0.97, "people_served": installation.well.site.people_served,
        "causes": [{"cause": "main_leaks", "odds": 0.6}, {"cause": "pump_worn", "odds": 0.3}],
    }  # fmt: skip
    known |= changes
    known.setdefault("weight", known["lost_l_day"] * known["people_served"])
    return Shortfall.objects.create(**known)
