"""How pages stand against a view that fetches the same rows by plain SQL and writes JSON, in one run.

    python -m tests.bench.bench_pages [installations, 100000] [days of judged output, 360]

Prints, for the attention list, the units list and a unit's page: queries at a small and at the full fleet, the first
page against the last page, and the time against the plain view of the same rows. Makes a database of its own (named in
DATABASE_URL with `_bench` behind) and removes it. At the full size it wants some ten gigabytes and ten minutes.
"""

import json
import statistics
import sys
import time

from tests.bench.surroundings import bench_database

REPEATS = 40


def _fill(ids, days):
    """A judged row a day for every installation, in COPY blocks a month at a time; every fiftieth falls short."""
    import numpy as np
    from django.db import connection

    from fleet.readings import staging
    from fleet.readings.partitions import make_for

    rng = np.random.default_rng(3)
    first = np.datetime64("2025-01-01")
    all_days = first + np.arange(days)
    make_for("output_evaluation", all_days)
    make_for("readings_dayrecord", all_days)
    for start in range(0, days, 30):
        some = all_days[start : start + 30]
        who = np.tile(np.asarray(ids, dtype=np.int64), len(some))
        when = np.repeat(some, len(ids))
        expected = rng.normal(5000, 900, len(who)).clip(100)
        measured = expected * rng.normal(0.95, 0.08, len(who))
        for table, columns in (
            ("output_evaluation", {"expected_l": expected, "low_l": expected * 0.88, "high_l": expected * 1.12,
                                   "measured_l": measured}),
            ("readings_dayrecord", {"volume_l": measured.clip(0)}),
        ):  # fmt: skip
            pairs = [("bigint", who), ("date", when), *(("float8", values) for values in columns.values())]
            names = ", ".join(["installation_id", "day", *columns])
            with (
                connection.cursor() as cursor,
                cursor.copy(f"COPY {table} ({names}) FROM STDIN (FORMAT BINARY)") as copy,
            ):
                copy.write(staging.HEADER)
                for block in staging.blocks(pairs):
                    copy.write(block)
                copy.write(staging.TRAILER)
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO output_shortfall (installation_id, state, ending, flagged_on, since, lost_l_day,"
            " lost_fraction, probability, causes, checks, parts, danger, people_served, weight, evidence, explained,"
            " updated_at) SELECT id, 'open', '', '2025-11-20', '2025-11-10', 500 + id % 3000, 0.2, 0.97,"
            """ '[{"cause": "pump_worn", "odds": 0.6}]', '[]', '[]', 0, 200, (500 + id % 3000) * 200.0, '{}', '',"""
            " now() FROM registry_installation WHERE id % 50 = 0"
        )
        cursor.execute("VACUUM ANALYZE")


def _seconds(call):
    call()
    taken = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        call()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


PLAIN = {
    "attention": (
        "SELECT f.id, s.code, s.name, u.serial, t.name, f.lost_l_day, f.people_served, f.since, f.probability, f.causes"
        " FROM output_shortfall f JOIN registry_installation i ON i.id = f.installation_id"
        " JOIN registry_unit u ON u.id = i.unit_id JOIN registry_pumptype t ON t.id = u.pump_type_id"
        " JOIN registry_well w ON w.id = i.well_id JOIN registry_site s ON s.id = w.site_id"
        " WHERE f.state = 'open' AND i.organisation_id = %s ORDER BY f.weight DESC, f.id LIMIT 50"
    ),
    "units": (
        "SELECT u.id, u.serial, t.name, u.batch, u.status FROM registry_unit u"
        " JOIN registry_pumptype t ON t.id = u.pump_type_id WHERE u.organisation_id = %s ORDER BY u.serial LIMIT 50"
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


def _last_page(client, address):
    """The address of the last page, reached as a reader would who goes to the end: through the list's own links."""
    import re

    pages, last = 0, address
    while True:
        found = re.search(r'rel="next" href="([^"]+)"', client.get(last).content.decode())
        if not found or pages > 4000:
            return last, pages
        last, pages = address + found.group(1).replace("&amp;", "&"), pages + 1


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

        began = time.perf_counter()
        ids = many_installations(installations)
        _fill(ids, days)
        print(f"{len(ids):,} installations, {len(ids) * days:,} judged days, "
              f"{time.perf_counter() - began:.0f} s to make")  # fmt: skip
        organisation = Organisation.objects.first()
        person = get_user_model()(
            username="bench", role="coordinator", organisation=organisation, first_name="Bench", last_name="Reader"
        )
        person.set_unusable_password()
        person.save()
        urls.urlpatterns.append(path("bench/plain/<str:name>/", plain_view))
        plain_names = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}  # as under the tests
        storages = settings.STORAGES | {"staticfiles": plain_names}
        with override_settings(ALLOWED_HOSTS=["testserver"], STORAGES=storages):
            client = Client()
            client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
            with connection.cursor() as cursor:
                cursor.execute("SELECT min(unit_id) FROM registry_installation")
                unit = cursor.fetchone()[0]
            for name, address in (("attention", "/attention/"), ("units", "/units/"), ("a unit", f"/units/{unit}/")):
                asked = []

                def count(execute, sql, parameters, many, context, asked=asked):
                    asked.append(sql)
                    return execute(sql, parameters, many, context)

                with connection.execute_wrapper(count):
                    answer = client.get(address)
                assert answer.status_code == 200, (address, answer.status_code)
                ours = _seconds(lambda address=address: client.get(address))
                words = f"{name:10s} {len(asked):3d} queries, {ours * 1000:6.1f} ms"
                if name in PLAIN:
                    plain = _seconds(lambda name=name: client.get(f"/bench/plain/{name}/"))
                    last, pages = _last_page(client, address)
                    end = _seconds(lambda last=last: client.get(last))
                    words += (
                        f"; plain SQL and JSON {plain * 1000:6.1f} ms: {ours / plain:4.1f} times; "
                        f"last page (after {pages} pages) {end * 1000:6.1f} ms: {end / ours:4.2f} of the first"
                    )
                print(words)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
