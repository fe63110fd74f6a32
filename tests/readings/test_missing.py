"""Missing periods are said once, on the page of a unit's readings; they are no figures to settle."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.readings.models import Slip
from fleet.readings.services import missing_periods
from tests.makers.readings import a_meter_reading, days_of, later
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
NAN = float("nan")


@pytest.fixture
def daily(organisation):
    return an_installation(organisation, instrument_level="daily")


@pytest.fixture
def metered(organisation):
    """Read about every thirty days until 1 October 2024, taken out a little later."""
    installation = an_installation(organisation, end=later(days=130))
    for number in range(5):
        a_meter_reading(installation, at=later(days=30 * number), total_l=90_000 * number)
    return installation


def without(installation, *gaps, count=60):
    """Days from 1 June 2024 on, without those of the gaps (first place, how many)."""
    there = np.ones(count, bool)
    for first, many in gaps:
        there[first : first + many] = False
    for place in np.flatnonzero(there).tolist():
        days_of(installation, [3000], first=str(np.datetime64("2024-06-01") + place))


def test_days_without_a_record_are_named_newest_first(daily):
    without(daily, (10, 1), (30, 12))
    newest, oldest = missing_periods(daily)
    assert (newest.first, newest.last, newest.days) == (date(2024, 7, 1), date(2024, 7, 12), 12)
    assert (oldest.first, oldest.last, oldest.days) == (date(2024, 6, 11), date(2024, 6, 11), 1)


def test_where_every_day_is_told_nothing_is_missing(daily, organisation):
    days_of(daily, [3000] * 30)
    assert missing_periods(daily) == []
    assert missing_periods(an_installation(organisation, instrument_level="daily")) == []


def test_a_meter_read_far_later_than_usual_is_named(metered):
    assert missing_periods(metered) == []
    a_meter_reading(metered, at=later(days=120 + 30 + 20), total_l=500_000)  # late, but no more than that
    assert missing_periods(metered) == []
    a_meter_reading(metered, at=later(days=170 + 75), total_l=700_000)
    [period] = missing_periods(metered)
    first = (later(days=170)).date()
    assert (period.first, period.last, period.days, period.usual_days) == (first, first + timedelta(75), 75, 30)


def test_a_meter_that_still_hangs_and_is_not_read_any_more_is_named(organisation):
    installation = an_installation(organisation)
    for number in range(5):
        a_meter_reading(installation, at=timezone.now() - timedelta(days=300 - 30 * number), total_l=90_000 * number)
    [period] = missing_periods(installation)
    assert (period.last, period.days, period.usual_days) == (None, 180, 30)


def test_before_anything_is_usual_no_meter_is_read_late(organisation):
    installation = an_installation(organisation)
    for day in (0, 30, 60, 300):
        a_meter_reading(installation, at=later(days=day), total_l=3000 * day)
    assert missing_periods(installation) == []


def test_the_page_of_the_readings_says_it_and_asks_no_more_for_many_gaps(client_of, nadia, daily):
    client, counts = client_of(nadia), []
    address = reverse("readings:of", args=[daily.pk])
    days_of(daily, [3000], first="2024-06-01")
    for last in (3, 25):
        for day in range(3, last + 1, 2):
            days_of(daily, [3000], first=f"2024-06-{day:02}")
        with CaptureQueriesContext(connection) as queries:
            page = client.get(address).content.decode()
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert page.count("No record on") == 6 and "and 6 earlier" in page
    assert not Slip.objects.exists()
    assert "No record" not in client.get(address, {"kind": "spot"}).content.decode()


SAID = [("en", "Not read between"), ("fr", "Pas relevé entre"), ("sw", "Haikusomwa kati")]


@pytest.mark.parametrize(("language", "words"), SAID)
def test_a_late_meter_is_said_in_each_language(in_language, client_of, nadia, metered, language, words):
    if language != "en":
        in_language(language)
    a_meter_reading(metered, at=later(days=230), total_l=700_000)
    nadia.language = language
    nadia.save()
    page = client_of(nadia).get(reverse("readings:of", args=[metered.pk])).content.decode()
    assert words in page and "110" in page


def test_programs_are_told_as_well_and_strangers_are_not(api_of, nadia, otto, daily):
    without(daily, (30, 12))
    address = f"/api/v1/installations/{daily.pk}/missing-periods/"
    assert api_of(nadia).get(address).json() == [
        {"first": "2024-07-01", "last": "2024-07-12", "days": 12, "usual_days": None}
    ]
    assert api_of(otto).get(address).status_code == 404
