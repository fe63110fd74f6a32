"""How fast readings go in, against a bare COPY of the same rows into the same table, in one run.

    python -m tests.bench.bench_readings [rows in millions]

Makes a database of its own (named in DATABASE_URL with `_bench` behind) and removes it.
"""

import sys
import time

import numpy as np

from tests.bench.surroundings import bench_database


def main(millions=5.0):
    with bench_database():
        from django.db import connection

        from fleet.readings import staging
        from fleet.readings.partitions import make_for
        from fleet.readings.services import keep_days, keep_meter_readings, keep_series
        from tests.bench.fleets import many_installations

        rows = int(millions * 1e6)
        ids = many_installations(max(1000, rows // 365))
        days = np.datetime64("2023-01-01") + np.arange(365)
        installations = np.repeat(ids, 365)[:rows]
        day = np.tile(days, len(ids))[:rows]
        rng = np.random.default_rng(1)
        columns = {
            "volume_l": np.round(rng.normal(4000, 900, len(day)).clip(0), 1),
            "irradiation_kwh_m2": np.round(rng.normal(5.5, 1, len(day)).clip(0), 3),
            "noon_voltage_v": np.round(rng.normal(50, 2, len(day)), 2),
            "noon_current_a": np.round(rng.normal(6, 1, len(day)).clip(0), 3),
        }
        make_for("readings_dayrecord", days)

        def empty(table):
            with connection.cursor() as cursor:
                cursor.execute(f"TRUNCATE {table}")  # noqa: S608 - a table of this bench's own database
                cursor.execute("CHECKPOINT")

        def bare():
            names = ["installation_id", "day", *columns, "standing", "noon_standing"]
            zero = np.zeros(len(day), dtype=np.int16)
            pairs = [("bigint", installations), ("date", day), *(("float8", v) for v in columns.values())]
            pairs += [("smallint", zero), ("smallint", zero)]
            with (
                connection.cursor() as cursor,
                cursor.copy(f"COPY readings_dayrecord ({', '.join(names)}) FROM STDIN (FORMAT BINARY)") as copy,
            ):
                copy.write(staging.HEADER)
                for start in range(0, len(day), 500_000):
                    part = slice(start, start + 500_000)
                    for block in staging.blocks([(kind, values[part]) for kind, values in pairs]):
                        copy.write(block)
                copy.write(staging.TRAILER)

        def ours():
            return keep_days(installations=installations, days=day, columns=columns)

        empty("readings_dayrecord")
        copied = _timed("bare COPY into the partitioned table", bare, len(day))
        empty("readings_dayrecord")
        kept = _timed("keep_days: staged, merged, noted", ours, len(day))
        _timed("keep_days, the same rows again", ours, len(day))
        print(f"keep_days runs at {100 * kept / copied:.0f} % of the bare COPY (wanted: 40 %)")

        samples = 96
        count = len(day) // samples
        many = np.repeat(installations[:count], samples)
        at = np.repeat(day[:count], samples)
        second = np.tile(np.arange(samples) * 900, count)
        flow = np.round(rng.normal(10, 1, len(at)).clip(0), 2)
        empty("readings_dayseries")
        empty("readings_dayrecord")

        def bare_series():
            """The rows that the design keeps, one a day holding arrays, by COPY and nothing else."""
            cut = np.split(np.arange(len(many)), count)
            pairs = [
                ("bigint", many[::samples]), ("date", at[::samples]), ("int[]", [second[c] for c in cut]),
                ("float8[]", [flow[c] for c in cut]),
            ]  # fmt: skip
            with (
                connection.cursor() as cursor,
                cursor.copy("COPY readings_dayseries (installation_id, day, second, flow_l_min) FROM STDIN "
                            "(FORMAT BINARY)") as copy,
            ):  # fmt: skip
                copy.write(staging.HEADER)
                for block in staging.rows_with_arrays(pairs):
                    copy.write(block)
                copy.write(staging.TRAILER)

        def series():
            return keep_series(installations=many, days=at, seconds=second, columns={"flow_l_min": flow})

        make_for("readings_dayseries", days)
        copied = _timed("bare COPY of quarter hours, a row a day", bare_series, len(at))
        empty("readings_dayseries")
        kept = _timed("keep_series: quarter hours, with the day added up", series, len(at))
        print(f"keep_series runs at {100 * kept / copied:.0f} % of the bare COPY (wanted: 40 %)")
        _totals(keep_meter_readings, ids, rng)


def _totals(keep, ids, rng, units=1000, months=40):
    """Totals of meters, a tenth of them and all: what a row costs must not grow with how many come at once."""
    ids = np.asarray(ids[:units])

    def some(first, last):
        month = np.arange(first, last)
        days = np.datetime64("2020-01-01") + 30 * month
        return {
            "installations": np.repeat(ids, len(month)), "days": np.tile(days, len(ids)),
            "epoch_s": np.tile(days.astype("datetime64[s]").astype(float) + 36000, len(ids)),
            "totals": np.tile(100_000.0 * month, len(ids)) + np.repeat(rng.integers(0, 9000, len(ids)), len(month)),
        }  # fmt: skip

    tenth, rest = some(0, months // 10), some(months // 10, months)
    few = _timed("keep_meter_readings, few", lambda: keep(**tenth), len(tenth["days"]))
    many = _timed("keep_meter_readings, nine times as many", lambda: keep(**rest), len(rest["days"]))
    print(f"a row among many costs {few / many:.2f} times one among few")


def _timed(what, work, count):
    start = time.perf_counter()
    work()
    rate = count / (time.perf_counter() - start)
    print(f"{what}: {count:,} rows, {rate:,.0f} rows/s")
    return rate


if __name__ == "__main__":
    main(*(float(a) for a in sys.argv[1:]))
