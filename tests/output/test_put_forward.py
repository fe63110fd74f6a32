"""What the nights put forward of a unit whose water dwindles: how it came, again when it gets worse, less by demand."""

import numpy as np
import pytest

from fleet.output import services
from fleet.output.models import Shortfall
from tests.output.test_judge import few, ids, keep, sound_days, through  # noqa: F401 - few is a fixture

pytestmark = pytest.mark.django_db


def judged(installations, day):
    for end in range(30, day + 1, 10):
        services.judge(ids(installations), through(end))
    services.judge(ids(installations), through(day))


def test_a_loss_that_came_in_a_night_is_told_from_one_that_grew_and_from_a_stop(few):  # noqa: F811
    when, sun, litres = sound_days(few, 100)
    litres[0, 50:] *= 0.6
    litres[1, 40:] *= 1 - 0.45 * np.minimum(np.arange(60) / 45, 1)
    litres[2, 70:] = 0
    keep(few, when, sun, litres)
    judged(few, 100)
    came = {s.installation_id: s.evidence["came"] for s in Shortfall.objects.alive()}
    assert came[few[0].pk] == {"how": "at_once"}
    assert came[few[1].pk]["how"] == "grows" and came[few[1].pk]["days"] in {15, 40, 100}
    assert came[few[2].pk] == {"how": "stopped"}
    assert few[3].pk not in came
