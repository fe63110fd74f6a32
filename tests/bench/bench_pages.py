"""How pages stand against a view that fetches the same rows by plain SQL and writes JSON, in one run.

    python -m tests.bench.bench_pages [installations, 100000] [days of records, 360]

Prints, for the attention list, the lists of units and sites and a unit's page: queries, milliseconds, the time against
the plain view of the same rows, and the last page against the first; then the queries of a fleet of a hundredth, which
must be as many. The pages that are compared take turns, so that a busy moment of the machine slows all of them.
Makes a database of its own (named in DATABASE_URL with `_bench` behind) and removes it. At the full size, 36 million
daily rows beside as many judged days, it wants some fifteen gigabytes and a quarter of an hour.
"""

import json
import logging
import re
import statistics
import sys
import time

from tests.bench.surroundings import bench_database

REPEATS = 60
FIRST = "2025-01-01"

ROWS = {  # made inside the database, month by month, in the order of the key
    "readings_dayrecord": "(installation_id, day, volume_l) SELECT i.id, d::date, 4000 + 2000 * random()",
    "output_evaluation": "(installation_id, day, expected_l, low_l, high_l, measured_l, idle, sun_by, baseline_hash,"
    " span_days) SELECT i.id, d::date, 5000, 4400, 5600, 4000 + 2000 * random(), false, 'fleet', '', 1",
}
PLACES_AND_DAYS = (
    "FROM (SELECT id FROM registry_installation ORDER BY id) i, LATERAL generate_series(%s::date, %s::date, '1 day') d"
)


def fill(days):
    """A day record and a judged day for every installation and day; every fiftieth installation falls short."""
    import numpy as np
    from django.db import connection

    from fleet.readings.partitions import make_for

    first = np.datetime64(FIRST)
    all_days = first + np.arange(days)
    for table in ROWS:
        make_for(table, all_days)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")  # the rows are sound: no look at the other table each
        for month in np.unique(all_days.astype("datetime64[M]")):
            some = all_days[all_days.astype("datetime64[M]") == month]
            for table, rows in ROWS.items():
                cursor.execute(f"ALTER TABLE {table}_{str(month).replace('-', '_')} SET UNLOGGED")
                cursor.execute(f"INSERT INTO {table} {rows} {PLACES_AND_DAYS}", [str(some[0]), str(some[-1])])
        cursor.execute("SET session_replication_role = origin")
        cursor.execute(
            "INSERT INTO output_shortfall (installation_id, state, ending, flagged_on, since, lost_l_day,"
            " lost_fraction, probability, causes, checks, parts, danger, people_served, weight, evidence, explained,"
            " updated_at) SELECT id, 'open', '', '2025-11-20', '2025-11-10', 500 + id % 3000, 0.2, 0.97,"
            """ '[{"cause": "pump_worn", "odds": 0.6}, {"cause": "dirt", "odds": 0.2}]', '[]', '[]', 0, 200,"""
            " (500 + id % 3000) * 200.0, '{}', '', now() FROM registry_installation WHERE id % 50 = 0"
        )
        cursor.execute("VACUUM ANALYZE")
        cursor.execute(
            "SELECT sum(reltuples)::bigint FROM pg_class WHERE relkind = 'r' AND relname LIKE 'readings_dayrecord_20%'"
        )
        return cursor.fetchone()[0]


PLAIN = {
    "attention": (
        "SELECT f.id, f.state, f.danger, s.code, s.name, u.serial, t.name, f.lost_l_day, f.lost_fraction,"
        " f.people_served, f.since, f.probability, f.causes, v.key, v.planned_on, v.first_name"
        " FROM output_shortfall f JOIN registry_installation i ON i.id = f.installation_id"
        " JOIN registry_unit u ON u.id = i.unit_id JOIN registry_pumptype t ON t.id = u.pump_type_id"
        " JOIN registry_well w ON w.id = i.well_id JOIN registry_site s ON s.id = w.site_id"
        " LEFT JOIN LATERAL (SELECT v.key, v.planned_on, p.first_name FROM visits_visit v"
        "  LEFT JOIN people_person p ON p.id = v.technician_id WHERE v.installation_id = i.id"
        "  AND v.state IN ('proposed', 'assigned', 'under_way', 'logged')"
        "  ORDER BY v.planned_on, v.id LIMIT 1) v ON true"
        " WHERE f.state = 'open' AND i.organisation_id = %s ORDER BY f.weight DESC, f.id LIMIT 50"
    ),
    "units": (
        "SELECT u.id, u.serial, t.name, u.status, u.warranty_until, lower(i.period), s.code, s.name, s.zone, d.name"
        " FROM registry_unit u JOIN registry_pumptype t ON t.id = u.pump_type_id"
        " LEFT JOIN registry_installation i ON i.unit_id = u.id AND upper_inf(i.period)"
        " LEFT JOIN registry_well w ON w.id = i.well_id LEFT JOIN registry_site s ON s.id = w.site_id"
        " LEFT JOIN registry_district d ON d.id = s.district_id"
        " WHERE u.organisation_id = %s ORDER BY u.serial, u.id LIMIT 50"
    ),
    "sites": (
        "SELECT s.id, s.code, s.name, s.village, d.name, s.caretaker_name, s.caretaker_phone, s.people_served,"
        " (SELECT json_agg(json_build_array(w.id, u.serial, t.name) ORDER BY w.name) FROM registry_well w"
        "  LEFT JOIN registry_installation i ON i.well_id = w.id AND upper_inf(i.period)"
        "  LEFT JOIN registry_unit u ON u.id = i.unit_id LEFT JOIN registry_pumptype t ON t.id = u.pump_type_id"
        "  WHERE w.site_id = s.id)"
        " FROM registry_site s LEFT JOIN registry_district d ON d.id = s.district_id"
        " WHERE s.organisation_id = %s ORDER BY s.code, s.id LIMIT 50"
    ),
}


def plain_view(request, name):
    """The yardstick: the same rows by plain SQL behind the same log-in, written as JSON."""
    from django.db import connection
    from django.http import HttpResponse

    with connection.cursor() as cursor:
        cursor.execute(PLAIN[name], [request.user.organisation_id])
        rows = cursor.fetchall()
    return HttpResponse(json.dumps(rows, default=str), content_type="application/json")


def _in_turns(client, addresses):
    """Median milliseconds of each address, asked in turns."""
    taken = {address: [] for address in addresses}
    for turn in range(REPEATS + 3):
        for address in addresses:
            began = time.perf_counter()
            client.get(address)
            if turn >= 3:
                taken[address].append(time.perf_counter() - began)
    return [1000 * statistics.median(taken[address]) for address in addresses]


def _last_page(client, address):
    """The address of the last page, reached as a reader would who goes to the end: through the list's own links."""
    pages, last = 1, address
    while True:
        found = re.search(r'rel="next" href="([^"]+)"', client.get(last).content.decode())
        if not found or pages > 4000:
            return last, pages
        last, pages = address + found.group(1).replace("&amp;", "&"), pages + 1


def _queries(client, address):
    from django.db import connection

    asked = []

    def count(execute, sql, parameters, many, context):
        asked.append(sql)
        return execute(sql, parameters, many, context)

    client.get(address)
    with connection.execute_wrapper(count):
        answer = client.get(address)
    assert answer.status_code == 200, (address, answer.status_code)
    return len(asked)


def _pages():
    from fleet.registry.models import Unit

    unit = Unit.objects.order_by("id").first()
    return {"attention": "/attention/", "units": "/units/", "sites": "/sites/", "a unit": f"/units/{unit.pk}/"}


def main(installations=100_000, days=360):
    with bench_database():
        from django.conf import settings
        from django.contrib.auth import get_user_model
        from django.db import connection
        from django.test import Client, override_settings
        from django.urls import path

        from deploy import urls
        from fleet.people.models import Organisation
        from tests.bench.fleets import many_installations

        logging.disable(logging.CRITICAL)
        urls.urlpatterns.append(path("bench/plain/<str:name>/", plain_view))
        plain_names = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}  # as under the tests
        storages = settings.STORAGES | {"staticfiles": plain_names}
        few = max(installations // 100, 200)
        queries = {}
        for size in (few, installations):
            if size == installations:
                with connection.cursor() as cursor:
                    cursor.execute("TRUNCATE people_organisation, people_person CASCADE")
            began = time.perf_counter()
            ids = many_installations(size)
            rows = fill(days)
            print(f"{len(ids):,} installations, {rows:,} daily rows and as many judged days, "
                  f"{time.perf_counter() - began:.0f} s to make", flush=True)  # fmt: skip
            person = get_user_model().objects.create(
                username="bench", role="coordinator", organisation=Organisation.objects.get(), first_name="Bench"
            )
            with override_settings(ALLOWED_HOSTS=["testserver"], STORAGES=storages):
                client = Client()
                client.force_login(person, backend="fleet.people.backends.PersonBackend")
                for name, address in _pages().items():
                    queries[name, size] = _queries(client, address)
                    if size == few:
                        continue
                    words = f"{name:10s} {queries[name, size]:3d} queries ({queries[name, few]} at {few:,})"
                    if name not in PLAIN:
                        print(f"{words}, {_in_turns(client, [address])[0]:6.1f} ms", flush=True)
                        continue
                    last, pages = _last_page(client, address)
                    ours, plain, end = _in_turns(client, [address, f"/bench/plain/{name}/", last])
                    print(f"{words}, {ours:6.1f} ms; plain SQL and JSON {plain:5.1f} ms: {ours / plain:4.1f} times;"
                          f" last of {pages} pages {end:6.1f} ms: {end / ours:4.2f} of it", flush=True)  # fmt: skip


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
