"""Large invented fleets for benchmarks, put there by plain SQL: only speed is asked of them."""

from django.db import connection

from tests.makers.registry import an_installation


def many_installations(count, organisation=None, level="daily"):
    """Ids of `count` installations of one organisation, alike but for their place: 40 around each of some centres."""
    first = an_installation(organisation, instrument_level=level)
    site, well, unit = first.well.site, first.well, first.unit
    with connection.cursor() as cursor:
        copies = [
            (
                "registry_site",
                site.pk,
                {
                    "code": "'B' || n",
                    "search": "''",
                    "latitude_deg": "-10 + (n / 40) % 300 * 0.07 + (n % 8) * 0.02",
                    "longitude_deg": "20 + (n / 12000) * 0.3 + (n % 40 / 8) * 0.02",
                },
            ),
            ("registry_well", well.pk, {"site_id": "site"}),
            ("registry_unit", unit.pk, {"serial": "'B' || n"}),
        ]  # fmt: skip
        cursor.execute("SET session_replication_role = replica")  # no triggers: the trail and search are not asked here
        cursor.execute("CREATE TEMP TABLE made (n int, site bigint, well bigint, unit bigint)")
        cursor.execute(
            "INSERT INTO made SELECT n, nextval('registry_site_id_seq'), nextval('registry_well_id_seq'), "
            "nextval('registry_unit_id_seq') FROM generate_series(1, %s) n",
            [count - 1],
        )
        for table, pk, changes in copies:
            own = table.removeprefix("registry_")
            _copy(cursor, table, pk, changes | {"id": own})
        _copy(cursor, "registry_tank", well.tank.pk, {"well_id": "well", "id": "nextval('registry_tank_id_seq')"})
        _copy(
            cursor, "registry_staticlevel", well.static_levels.get().pk,
            {"well_id": "well", "id": "nextval('registry_staticlevel_id_seq')"},
        )  # fmt: skip
        _copy(
            cursor, "registry_installation", first.pk,
            {"unit_id": "unit", "well_id": "well", "id": "nextval('registry_installation_id_seq')"},
        )  # fmt: skip
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("DROP TABLE made")
        cursor.execute("ANALYZE")
        cursor.execute("SELECT id FROM registry_installation ORDER BY id")
        return [row[0] for row in cursor.fetchall()]


def _copy(cursor, table, pk, changes):
    cursor.execute("SELECT column_name FROM information_schema.columns WHERE table_name = %s", [table])
    names = [row[0] for row in cursor.fetchall()]
    values = ", ".join(changes.get(name, f't."{name}"') for name in names)
    columns = ", ".join(f'"{name}"' for name in names)
    cursor.execute(
        f"INSERT INTO {table} ({columns}) SELECT {values} FROM made, {table} t WHERE t.id = {int(pk)}"  # noqa: S608
    )
