"""A test on site that falls short is told why at once: the same odds as the night's, with the test in them."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse

from fleet.output import services
from sizing.causes import names
from tests.output.test_tests_on_site import DAYS, FIRST, judge, read_meter, sound_days, take, two  # noqa: F401 - fixture

pytestmark = pytest.mark.django_db


def odds_of(test):
    answer = services.answer_spot(test.installation, test)
    return services.causes_of_test(test, answer["verdict"])


def test_a_test_below_what_is_right_names_causes_before_any_night_has_judged_it(two):  # noqa: F811
    told = odds_of(take(two[0], 40, 0.55))
    odds = [one["odds"] for one in told["causes"]]
    assert {one["cause"] for one in told["causes"]} <= set(names.NAMES)
    assert 1 < len(odds) <= 4 and odds == sorted(odds, reverse=True)
    assert "meter_stands" not in {one["cause"] for one in told["causes"][:2]}, "a bucket passes the meter by"
    assert told["checks"]
    assert 0 < told["nothing"] < 0.9


def test_what_the_meter_said_before_counts(two):  # noqa: F811
    _when, _sun, litres = sound_days(two, DAYS)
    read_meter(two[0], 0.94 * litres[0] * np.where(np.arange(DAYS) >= 42, 0.55, 1.0))
    judge(two, 71)
    beside = odds_of(take(two[0], 72, 0.55))
    alone = odds_of(take(two[1], 72, 0.55))
    assert beside["nothing"] < alone["nothing"]


@pytest.mark.parametrize("share", [1.0, 1.6])
def test_a_test_that_does_not_fall_short_names_none(two, share):  # noqa: F811
    assert odds_of(take(two[0], 40, share)) is None


def test_a_test_at_commissioning_names_none(two):  # noqa: F811
    assert odds_of(take(two[0], 40, 0.5, kind="commissioning")) is None


def test_the_page_and_the_api_tell_the_same(two, client_of, nadia):  # noqa: F811
    test = take(two[0], 40, 0.5)
    page = client_of(nadia).get(reverse("output:spot", args=[two[0].pk, test.pk])).content.decode()
    assert "Probably" in page and "By all that is known of this unit, this test with it." in page
    told = client_of(nadia).get(f"/api/v1/spot-tests/{test.pk}/answer/").json()
    assert told["causes"] == odds_of(test)["causes"]
    sound = take(two[0], 41, 1.0)
    page = client_of(nadia).get(reverse("output:spot", args=[two[0].pk, sound.pk])).content.decode()
    assert "Probably" not in page
    assert "causes" not in client_of(nadia).get(f"/api/v1/spot-tests/{sound.pk}/answer/").json()


def test_the_night_after_names_the_same_cause_first(two):  # noqa: F811
    test = take(two[0], 40, 0.45)
    first = odds_of(test)["causes"][0]["cause"]
    judge(two, 40)
    found = two[0].shortfalls.get()
    assert found.flagged_on == FIRST + timedelta(days=39)
    assert found.causes[0]["cause"] == first
