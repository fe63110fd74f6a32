"""What a night's judgement costs, database included, in two processes as on two cores.

    python -m tests.bench.bench_nightly [installations, 100000] [nights, 2]

Prints, for a quarter, a half and the whole of the fleet: installations a second of the evidence step (reading the
figures and the states, the sky, the evidence, storing), the diagnosis of those whose evidence has grown apart from it,
both together, and the most memory that a worker took; then what a late start after ten missed nights costs against ten
nights. Each by the clock, and by the processors' time of workers and database spread over two cores: on a machine that
has other work the clock tells of that work, too. Makes a database of its own (named in DATABASE_URL with `_bench`
behind) and removes it.

The fleet reports a daily volume. One batch of it is judged from its first day by the code itself, one unit in fifty
losing a third of its water in the last days; its figures, states and judged days are then copied to all others.
"""

import logging
import multiprocessing
import os
import resource
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from tests.bench.surroundings import bench_database

WORKERS = 2
FIRST, KNOWN, MISSED = date(2025, 3, 1), 45, 10  # days judged before the nights that are timed; missed nights
FAULTY, LOSS, FELL = 50, 0.67, 40  # every such unit, what it keeps, and from which day on


def _pool(size):
    """Litres (units, days) of one batch: one unit's table read at a weather that neighbours share, and some noise."""
    from fleet.output.services.nightly import cohort as cohorts
    from fleet.registry.models import Installation

    some = list(Installation.objects.order_by("id").values_list("id", flat=True)[:2])
    cohort, trouble = cohorts.load(np.array(some), FIRST.year)
    assert not trouble, trouble
    rng = np.random.default_rng(5)
    days = KNOWN + MISSED + 10
    sky = np.clip(rng.normal(0.9, 0.6, days), -2, 3)
    start = FIRST.timetuple().tm_yday
    due = np.array([cohort.table.water(np.array([0]), start + n, sky[n : n + 1])[0][0] for n in range(days)])
    litres = due * np.exp(rng.normal(-0.03, 0.04, (size, days)))
    litres[::FAULTY, FELL:] *= LOSS
    return litres


def _fill(ids, pool):
    """Figures of the pool for every installation, by its place among them."""
    from django.db import connection

    from fleet.readings import staging
    from fleet.readings.partitions import make_for

    days = np.datetime64(FIRST) + np.arange(pool.shape[1])
    for table in ("readings_dayrecord", "output_evaluation"):
        make_for(table, days)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("CREATE TABLE bench_place AS SELECT id, ((row_number() OVER (ORDER BY id) - 1) %% %s)::int AS n "
                       "FROM registry_installation", [len(pool)])  # fmt: skip
        cursor.execute("CREATE TABLE bench_figure (n int, day date, volume_l float8)")
        columns = [("int", np.repeat(np.arange(len(pool)), pool.shape[1])), ("date", np.tile(days, len(pool))),
                   ("float8", pool.ravel())]  # fmt: skip
        with cursor.copy("COPY bench_figure FROM STDIN (FORMAT BINARY)") as copy:
            copy.write(staging.HEADER)
            for block in staging.blocks(columns):
                copy.write(block)
            copy.write(staging.TRAILER)
        cursor.execute("CREATE INDEX ON bench_figure (n)")
        cursor.execute("ANALYZE bench_figure")
        cursor.execute("INSERT INTO readings_dayrecord (installation_id, day, volume_l) SELECT p.id, f.day, f.volume_l "
                       "FROM bench_place p JOIN bench_figure f ON f.n = p.n ORDER BY p.id, f.day")  # fmt: skip
        cursor.execute("SET session_replication_role = origin")


COPIED = {  # what judging the pool left behind, for all others
    "output_judgement": "through, state, \"case\", trouble, sound_since, level_ratio, recent_ratio, judged_at",
    "output_evaluation": "day, expected_l, low_l, high_l, measured_l, idle, sun_by, baseline_hash, span_days, "
    "observation",
    "output_shortfall": "state, ending, flagged_on, since, since_low, since_high, lost_l_day, lost_low_l_day, "
    "lost_high_l_day, lost_fraction, probability, causes, checks, parts, danger, people_served, weight, evidence, "
    "closed_on, explained, updated_at",
}  # fmt: skip


def _copy_from_pool(size):
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("CREATE TABLE bench_twin AS SELECT p.id, o.id AS of FROM bench_place p JOIN (SELECT n, min(id) "
                       "AS id FROM bench_place GROUP BY n) o ON o.n = p.n AND o.id <> p.id")  # fmt: skip
        for table, columns in COPIED.items():
            cursor.execute(f"INSERT INTO {table} (installation_id, {columns}) SELECT w.id, {columns} FROM {table} t "  # noqa: S608
                           "JOIN bench_twin w ON w.of = t.installation_id ORDER BY w.id")  # fmt: skip
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("VACUUM ANALYZE")
        cursor.execute("CHECKPOINT")


def _same_baselines():
    """One installation's baseline and table for all: only places differ."""
    from django.db import connection

    from fleet.output.models import Baseline
    from fleet.output.services import baselines
    from fleet.registry.models import Installation

    first = Installation.objects.order_by("id").values_list("id", flat=True)[0]
    baselines([first], year=FIRST.year)
    from fleet.output.services.nightly import cohort as cohorts

    cohorts.load(np.array([first]), FIRST.year)  # makes the table
    names = ", ".join(f'"{f.column}"' for f in Baseline._meta.fields if f.column != "installation_id")
    with connection.cursor() as cursor:
        cursor.execute(f"INSERT INTO output_baseline (installation_id, {names}) SELECT i.id, {names} "  # noqa: S608
                       "FROM registry_installation i, output_baseline b WHERE i.id <> b.installation_id")  # fmt: skip


def _busy(backend):
    """Processor seconds of this process and of its server's, where that runs on this machine and can be looked at."""
    try:
        server = int(Path(f"/proc/{backend}/schedstat").read_text().split()[0]) / 1e9
    except OSError:
        server = 0.0
    return time.process_time() + server


def _work(database, batches, day):
    """A worker: its batches, one after another. Returns two arrays of whole and diagnosis, seconds by the clock and of
    the processors, and megabytes."""
    os.environ["DATABASE_URL"] = database
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    import django

    django.setup()
    logging.disable(logging.CRITICAL)
    import pvlib  # noqa: F401  a worker has it since its first night
    from django.db import connection

    from fleet.output import tasks
    from fleet.output.services.nightly import cases, shortfalls

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        backend = cursor.fetchone()[0]

    def now():
        return np.array([time.perf_counter(), _busy(backend)])

    diagnosis = np.zeros(2)

    def timed(call):
        def run(*arguments, **named):
            began = now()
            try:
                return call(*arguments, **named)
            finally:
                diagnosis[:] += now() - began

        return run

    untimed = cases.night, shortfalls.keep
    cases.night, shortfalls.keep = map(timed, untimed)
    began = now()
    try:
        for ids in batches:
            tasks.judge_batch(ids, day.isoformat())
    finally:
        cases.night, shortfalls.keep = untimed
    return now() - began, diagnosis, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class Workers:
    """Fresh processes that stay, as a worker's do; asked once before, so that starting them is not timed."""

    def __init__(self, database, batches):
        self.database = database
        context = multiprocessing.get_context("spawn")
        self.pools = [context.Pool(1) for _ in range(WORKERS)]
        for pool in self.pools:  # a day that is judged already: nothing is left to do
            pool.apply(_work, (database, batches[:2], FIRST + timedelta(days=KNOWN - 1)))

    def judge(self, batches, day):
        """Seconds of whole and diagnosis, each by the clock and by processors, and megabytes at most."""
        waiting = [pool.apply_async(_work, (self.database, batches[n::WORKERS], day))
                   for n, pool in enumerate(self.pools)]  # fmt: skip
        whole, diagnosis, megabytes = (np.array(part) for part in zip(*[one.get() for one in waiting], strict=True))
        clock = whole[:, 0].max(), diagnosis[whole[:, 0].argmax(), 0]
        return clock, (whole[:, 1].sum() / WORKERS, diagnosis[:, 1].sum() / WORKERS), megabytes.max()

    def close(self):
        for pool in self.pools:
            pool.terminate()


def _database_url():
    from django.db import connection

    known = connection.settings_dict
    return f"postgres://{known['USER']}:{known['PASSWORD']}@{known['HOST']}:{known['PORT']}/{known['NAME']}"


def fleet(size):
    """A fleet of this size, judged through the day before the nights that are timed. Returns its batches."""
    from fleet.output.services import judge, judging
    from fleet.registry.models import Installation, Tank
    from tests.bench.fleets import many_installations

    many_installations(size)
    Tank.objects.update(float_switch=False)  # where one limits, a figure says little of the sky
    _same_baselines()
    places = list(Installation.objects.order_by("id").values_list(
        "id", "well__site__latitude_deg", "well__site__longitude_deg"))  # fmt: skip
    pool = _pool(min(1500, size))
    _fill([row[0] for row in places], pool)
    judge([row[0] for row in places[: len(pool)]], FIRST + timedelta(days=KNOWN - 1))
    _copy_from_pool(size)
    return judging.batches(places)


def _told(size, spent):
    """A line of seconds: (whole, diagnosis)."""
    whole, diagnosis = spent
    evidence = whole - diagnosis
    return (f"evidence {size / evidence:8,.0f} a second ({evidence:.2f} s), diagnosis {diagnosis:.2f} s, "
            f"together {size / whole:8,.0f} a second")  # fmt: skip


def main(installations=100_000, nights=2):
    costs = {}
    for size in (installations // 4, installations // 2, installations):
        with bench_database():
            logging.disable(logging.CRITICAL)
            began = time.perf_counter()
            batches = fleet(size)
            print(f"{size:,} installations in {len(batches)} batches, {time.perf_counter() - began:.0f} s to make",
                  flush=True)  # fmt: skip
            workers = Workers(_database_url(), batches)
            busy = []
            try:
                for night in range(nights):
                    day = FIRST + timedelta(days=KNOWN + night)
                    clock, processors, megabytes = workers.judge(batches, day)
                    busy.append(processors)
                    print(f"  {day} by the clock:      {_told(size, clock)}\n"
                          f"             by processors' time: {_told(size, processors)}; {megabytes:.0f} MB",
                          flush=True)  # fmt: skip
                costs[size] = min(whole - diagnosis for whole, diagnosis in busy) / size
                if size == installations // 4:
                    clock, processors, megabytes = workers.judge(batches, day + timedelta(days=MISSED))
                    print(f"  {MISSED} missed nights by the clock:      {_told(size * MISSED, clock)}\n"
                          f"                   by processors' time: {_told(size * MISSED, processors)}; "
                          f"{megabytes:.0f} MB; {processors[0] / (MISSED * np.median(busy, axis=0)[0]):.2f} of "
                          f"{MISSED} nights", flush=True)  # fmt: skip
            finally:
                workers.close()
    few, many = min(costs), max(costs)
    print(f"evidence of one installation among {many:,} against one among {few:,}: {costs[many] / costs[few]:.2f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
