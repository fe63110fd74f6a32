"""The caretaker's "tank full" beside a day's volume."""

from datetime import date, timedelta

import numpy as np
import pytest

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation, Shortfall
from fleet.readings.services import keep_days
from sizing import chain
from tests.makers.registry import side_by_side

pytestmark = pytest.mark.django_db
FIRST, DAYS, LESS_DAYS = date(2024, 3, 10), 70, 20


@pytest.fixture
def three(organisation):
    """Units side by side with a float switch and a daily volume; people draw about half of what they could give."""
    return side_by_side(organisation, 3, float_switch=True, instrument_level="daily")


def judged(installations, ticks):
    """Half the usual water of the first two in the last days; ticks: what stands beside these days of each (n,)."""
    rng, when = np.random.default_rng(2), np.datetime64(FIRST) + np.arange(DAYS)
    fleet = read_fleet([i.pk for i in installations], 2024).fleet
    could = chain.expected_days(fleet, np.zeros(DAYS, int), 70 + np.arange(DAYS), np.full(DAYS, 5.5)).volume_l
    drawn = 0.95 * could.mean() * rng.normal(1, 0.05, (len(installations), DAYS))
    drawn[:2, -LESS_DAYS:] *= 0.45
    for n, installation in enumerate(installations):
        installation.well.site.need_m3_day = [could.mean() / 1000] * 12
        installation.well.site.save()
        tick = np.full(DAYS, -1)
        tick[-LESS_DAYS:] = ticks[n]
        keep_days(installations=np.full(DAYS, installation.pk), days=when,
                  columns={"volume_l": drawn[n], "tank_full_seen": tick})  # fmt: skip
    services.judge([i.pk for i in installations], FIRST + timedelta(days=DAYS - 1))


def test_less_water_with_the_tank_ticked_full_every_day_is_no_fault_and_not_full_it_is_one(three):
    judged(three, ticks=(1, 0, -1))
    flagged = Shortfall.objects.filter(state="open")
    assert [short.installation for short in flagged] == [three[1]]
    idle = Evaluation.objects.filter(idle=True, day__gt=FIRST + timedelta(days=DAYS - LESS_DAYS - 1))
    assert idle.filter(installation=three[0]).count() == LESS_DAYS
    assert idle.filter(installation=three[1]).count() < 3
