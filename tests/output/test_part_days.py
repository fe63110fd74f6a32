"""Days that a logger told in part are no days of little water, and days told in full are."""

from datetime import date, timedelta

import numpy as np
import pytest

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation, Shortfall
from fleet.readings.services import keep_series
from sizing import sun
from sizing.causes import shape, table
from tests.makers.registry import side_by_side

pytestmark = pytest.mark.django_db
FIRST, DAYS, LAST_DAYS = date(2024, 3, 10), 42, 12
SECONDS = np.arange(24, 76) * 900


@pytest.fixture
def three(organisation):
    """Loggers that write flow and nothing else, side by side."""
    return side_by_side(organisation, 3, instrument_level="logger")


def flows(installations):
    """Flow of sound units under one sky, L/min (n, days, samples)."""
    rows, rng = read_fleet([i.pk for i in installations], 2024), np.random.default_rng(5)
    sky = rng.uniform(0.8, 1.0, (DAYS, SECONDS.size)) * rng.uniform(0.7, 1.0, (DAYS, 1))
    flow = np.zeros((len(installations), DAYS, SECONDS.size))
    for n in range(len(installations)):
        due = shape.due(rows.fleet, n, 2)
        for d in range(DAYS):
            hour = SECONDS / 3600 + 35.6 / 15 - 3 + sun.equation_of_time_min(70 + d) / 60
            light = np.interp(hour, np.arange(24) + 0.5, due.light[-1, -4]) * sky[d]
            flow[n, d] = np.interp(light, table.SUNS, due.flow)
    return flow * np.exp(rng.normal(0, 0.02, flow.shape))


def test_silence_after_noon_is_no_loss_and_half_the_water_all_day_is_one(three):
    flow = flows(three)
    flow[1, -LAST_DAYS:] *= 0.5
    when = np.datetime64(FIRST) + np.arange(DAYS)
    for n, installation in enumerate(three):
        told = np.ones((DAYS, SECONDS.size), bool)
        if n == 0:
            told[-LAST_DAYS:, SECONDS > 12 * 3600] = False
        keep_series(
            installations=np.full(told.sum(), installation.pk), days=np.repeat(when, told.sum(axis=1)),
            seconds=np.tile(SECONDS, (DAYS, 1))[told], columns={"flow_l_min": flow[n][told]},
        )  # fmt: skip
    services.judge([i.pk for i in three], FIRST + timedelta(days=DAYS - 1))
    assert Shortfall.objects.get().installation == three[1]
    silent = Evaluation.objects.filter(installation=three[0], measured_l=None)
    assert silent.count() == LAST_DAYS
