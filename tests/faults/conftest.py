"""Real failures: processes are killed, servers taken away, disks filled. Nothing is replaced by a stand-in."""

from datetime import date

import numpy as np
import pytest

from fleet.output.fleet_arrays import read_fleet
from fleet.readings.services import keep_days
from sizing import chain
from tests.faults.workers import OwnBroker, Worker, calls_through
from tests.makers.registry import side_by_side

FIRST = date(2024, 3, 10)


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/faults/" in item.path.as_posix():
            item.add_marker(pytest.mark.slow)


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    made = OwnBroker(tmp_path_factory.mktemp("broker"))
    made.start()
    yield made
    made.stop()


@pytest.fixture
def by_broker(broker):
    """Calls go out through the broker, and nothing is left in it from the test before."""
    broker.empty()
    with calls_through(broker.url, broker.queue):
        yield broker


@pytest.fixture
def workers(broker, tmp_path, transactional_db):
    """`workers()` starts one; whatever still runs at the end is ended."""
    running = []

    def started(at=None, **options):
        worker = Worker(at or broker, tmp_path, **options)
        running.append(worker)
        return worker.start()

    yield started
    for worker in running:
        worker.stop()


@pytest.fixture
def few(transactional_db, organisation):
    """Four units near each other with 60 days of record; the second sinks by four tenths from the twentieth day."""
    return few_units(organisation)


def few_units(organisation, days=60):
    units = side_by_side(organisation, 4, instrument_level="logger")
    rng = np.random.default_rng(3)
    when = np.datetime64(FIRST) + np.arange(days)
    sun = rng.uniform(3.5, 6.5, days) * rng.normal(1, 0.02, (len(units), days))
    fleet = read_fleet([u.pk for u in units], FIRST.year).fleet
    day_of_year = (when - np.datetime64("2024-01-01")).astype(int) + 1
    for n, installation in enumerate(units):
        litres = chain.expected_days(fleet, np.full(days, n), day_of_year, sun[n]).volume_l
        litres *= rng.normal(1, 0.02, days)
        if n == 1:
            litres[20:] *= 0.6
        keep_days(
            installations=np.full(days, installation.pk), days=when,
            columns={"volume_l": litres, "irradiation_kwh_m2": sun[n]},
        )  # fmt: skip
    return units
