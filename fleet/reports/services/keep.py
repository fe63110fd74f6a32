"""Makes the monthly rows from the judged days. One statement a month; run twice, it writes the same again."""

from datetime import date, timedelta

from django.db import connection, transaction
from django.utils import timezone

# A day is down when a unit with sun gave less than a tenth of what was expected, and its tank was not full.
# A day is disabled when nothing to speak of was expected, or the well was dry: it is neither up nor down.
SQL = """
INSERT INTO reports_installationmonth (installation_id, month, days_hung, days_reported, days_down, days_idle,
  days_disabled, measured_l, expected_l, measured_working_l, expected_working_l, low_l, high_l, need_l, people, made_at)
SELECT i.id, %(month)s,
  hung.days,
  count(e.day) FILTER (WHERE e.measured_l IS NOT NULL),
  count(e.day) FILTER (WHERE e.measured_l < 0.1 * e.expected_l AND NOT e.idle AND NOT e.dry AND e.expected_l > 20),
  count(e.day) FILTER (WHERE e.measured_l IS NOT NULL AND e.idle),
  count(e.day) FILTER (WHERE e.expected_l <= 20 OR (e.dry AND e.measured_l IS NOT NULL)),
  coalesce(sum(e.measured_l), 0),
  coalesce(sum(e.expected_l) FILTER (WHERE e.measured_l IS NOT NULL), 0),
  coalesce(sum(e.measured_l) FILTER (WHERE NOT e.idle), 0),
  coalesce(sum(e.expected_l) FILTER (WHERE e.measured_l IS NOT NULL AND NOT e.idle), 0),
  coalesce(sum(e.low_l) FILTER (WHERE e.measured_l IS NOT NULL), 0),
  coalesce(sum(e.high_l) FILTER (WHERE e.measured_l IS NOT NULL), 0),
  CASE WHEN jsonb_array_length(s.need_m3_day) = 12
       THEN (s.need_m3_day ->> (extract(month FROM %(month)s::date)::int - 1))::float * 1000 * hung.days END,
  s.people_served, now()
FROM registry_installation i
JOIN registry_well w ON w.id = i.well_id
JOIN registry_site s ON s.id = w.site_id
CROSS JOIN LATERAL (
  SELECT greatest(0, least(coalesce((upper(i.period) AT TIME ZONE s.zone)::date, %(through)s::date + 1), %(end)s::date,
                           %(through)s::date + 1)
                  - greatest((lower(i.period) AT TIME ZONE s.zone)::date, %(month)s::date)) AS days) hung
LEFT JOIN output_evaluation e ON e.installation_id = i.id AND e.day >= %(month)s AND e.day < %(end)s
WHERE hung.days > 0 {only}
GROUP BY i.id, hung.days, s.id
ON CONFLICT (installation_id, month) DO UPDATE SET
  days_hung = excluded.days_hung, days_reported = excluded.days_reported, days_down = excluded.days_down,
  days_idle = excluded.days_idle, days_disabled = excluded.days_disabled, measured_l = excluded.measured_l,
  expected_l = excluded.expected_l, measured_working_l = excluded.measured_working_l,
  expected_working_l = excluded.expected_working_l, low_l = excluded.low_l, high_l = excluded.high_l,
  need_l = excluded.need_l, people = excluded.people, made_at = excluded.made_at
"""


def next_month(month):
    return (month.replace(day=28) + timedelta(days=4)).replace(day=1)


def refresh_months(*, first, through, organisation=None, progress=None):
    """Makes the rows of every month from `first` to `through` anew, one short transaction a month.

    Returns how many rows were written. `progress(done, total)` is called after each month.
    """
    months, month = [], first.replace(day=1)
    while month <= through:
        months.append(month)
        month = next_month(month)
    written = 0
    only = "AND i.organisation_id = %(organisation)s" if organisation else ""
    for done, month in enumerate(months, 1):
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                SQL.format(only=only),
                {
                    "month": month, "end": next_month(month), "through": through,
                    "organisation": organisation.pk if organisation else None,
                },
            )  # fmt: skip
            written += cursor.rowcount
        if progress:
            progress(done, len(months))
    return written


def refresh_recent(*, today=None):
    """The last three months: what a normal night changes."""
    through = (today or timezone.now().date()) - timedelta(days=1)
    first = through.replace(day=1)
    for _ in range(2):
        first = (first - timedelta(days=1)).replace(day=1)
    return refresh_months(first=first, through=through)


def refresh_everything(*, today=None, progress=None):
    """All months with judged days; once a night, for records that came late or were corrected."""
    through = (today or timezone.now().date()) - timedelta(days=1)
    with connection.cursor() as cursor:
        cursor.execute("SELECT min(lower(period)) FROM registry_installation")
        began = cursor.fetchone()[0]
        cursor.execute("SELECT min(day) FROM output_evaluation")
        judged = cursor.fetchone()[0]
    if began is None:
        return 0
    return refresh_months(first=judged or date(through.year, 1, 1), through=through, progress=progress)
