"""What the quarter hours of a logger tell the nightly judgement that its days do not."""

import html
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Shortfall
from fleet.output.services.nightly import courses
from fleet.output.services.nightly.load import as_number
from fleet.readings.models import Arrival, DayRecord, DaySeries
from fleet.readings.services import keep_days, keep_series
from sizing import sun
from sizing.causes import shape, table
from tests.makers.registry import side_by_side

pytestmark = pytest.mark.django_db
FIRST = date(2024, 3, 10)
DAYS, FELL = 50, 30
CLOCK_QUARTERS = np.arange(24, 80)  # of the local day, from six in the morning on


@pytest.fixture
def two(organisation):
    """Two loggers with a cell, side by side, one module each, so that the light is all they have."""
    return side_by_side(organisation, 2, instrument_level="logger", modules_in_series=2)


def quarters(installations, until, days=DAYS):
    """(days, seconds, flow, sun), the latter (n, days, quarters), of sound units; from the day FELL on the first gets a
    tenth of its light before `until` hours of sun time."""
    rows, rng = read_fleet([i.pk for i in installations], 2024), np.random.default_rng(3)
    when = np.datetime64(FIRST) + np.arange(days)
    seconds = CLOCK_QUARTERS * 900
    flow, light = np.zeros((2, len(installations), days, CLOCK_QUARTERS.size))
    sky = rng.uniform(0.5, 1.0, (days, CLOCK_QUARTERS.size)) * rng.uniform(0.7, 1.0, (days, 1))
    for n in range(len(installations)):
        due = shape.due(rows.fleet, n, 2)
        for d in range(days):
            doy = 70 + d
            hour = seconds / 3600 + 35.6 / 15 - 3 + sun.equation_of_time_min(doy) / 60
            clear = np.interp(hour, np.arange(24) + 0.5, due.light[-1, -4])
            light[n, d] = clear * sky[d] * np.exp(rng.normal(0, 0.01, hour.size))
            shaded = (n == 0) & (d >= FELL) & (hour < until)
            flow[n, d] = np.interp(light[n, d] * np.where(shaded, 0.1, 1.0), table.SUNS, due.flow)
    return when, seconds, flow * np.exp(rng.normal(0, 0.02, flow.shape)), light


def keep(installations, when, seconds, flow, light, *, samples):
    """As samples, or as the day's figures that are worked out of them and nothing else."""
    for n, installation in enumerate(installations):
        columns = {"flow_l_min": flow[n].ravel(), "irradiance_w_m2": light[n].ravel()}
        keep_series(
            installations=np.full(flow[n].size, installation.pk), days=np.repeat(when, seconds.size),
            seconds=np.tile(seconds, when.size), columns=columns,
        )  # fmt: skip
    if not samples:
        DaySeries.objects.all().delete()


def first_cause(installation):
    return Shortfall.objects.get(installation=installation).causes[0]


def through(day=DAYS):
    return FIRST + timedelta(days=day - 1)


def test_a_shade_in_the_morning_is_found_by_the_quarter_hours_and_not_by_the_days(two):
    made = quarters(two, until=11.0)
    keep(two, *made, samples=False)
    services.judge([i.pk for i in two], through())
    by_days = {c["cause"]: c["odds"] for c in Shortfall.objects.get(installation=two[0]).causes}
    Shortfall.objects.all().delete()
    keep(two, *made, samples=True)
    services.judge_again(installations=[i.pk for i in two])
    services.judge([i.pk for i in two], through())
    best = first_cause(two[0])
    assert best["cause"] == "shade_before_noon", (best, by_days)
    assert best["odds"] > by_days.get("shade_before_noon", 0.0) + 0.2, (best, by_days)
    assert not Shortfall.objects.filter(installation=two[1]).exists()


def test_judged_night_by_night_or_in_one_go_the_shape_says_the_same(two):
    keep(two, *quarters(two, until=11.0), samples=True)
    ids = [i.pk for i in two]
    services.judge(ids, through(), stretch=1)
    nights = Shortfall.objects.get(installation=two[0])
    Shortfall.objects.all().delete()
    services.judge_again(installations=ids)
    services.judge(ids, through())
    once = Shortfall.objects.get(installation=two[0])
    assert (once.causes, once.flagged_on) == (nights.causes, nights.flagged_on)


def test_samples_that_come_late_send_the_judgement_back_and_count(two):
    when, seconds, flow, light = quarters(two, until=11.0)
    volumes = 15 * flow.sum(axis=2)
    for n, installation in enumerate(two):
        keep_days(installations=np.full(when.size, installation.pk), days=when,
                  columns={"volume_l": volumes[n], "irradiation_kwh_m2": light[n].sum(axis=1) / 4000})  # fmt: skip
    ids = [i.pk for i in two]
    services.judge(ids, through())
    assert first_cause(two[0])["cause"] != "shade_before_noon"
    keep(two, when, seconds, flow, light, samples=True)
    assert Arrival.objects.filter(installation=two[0]).get().first_day <= FIRST
    services.judge(ids, through())
    assert first_cause(two[0])["cause"] == "shade_before_noon"


def test_quarters_are_laid_by_the_sun_whatever_clock_and_summer_time(two):
    """Flow peaks at noon of the sun; the clock stands elsewhere, and jumps on 31 March in Berlin."""
    one = two[0]
    site = one.well.site
    site.zone, site.longitude_deg = "Europe/Berlin", 5.0
    site.save()
    day = np.array(["2024-03-29", "2024-04-02"], dtype="datetime64[D]")
    for when, before_utc_h in zip(day, (1, 2)):
        doy = int((when - np.datetime64("2024-01-01")).astype(int)) + 1
        clock = np.arange(96) / 4
        hour = clock + 5.0 / 15 - before_utc_h + sun.equation_of_time_min(doy) / 60
        keep_series(
            installations=np.full(96, one.pk), days=np.full(96, when), seconds=(clock * 3600).astype(int),
            columns={"flow_l_min": np.maximum(10 - (hour - 12) ** 2, 0)},
        )  # fmt: skip
    first, last = (as_number(d) for d in day.astype(object))
    days, flow, current, light = courses.read([one.pk], first, last)[one.pk]
    assert days.tolist() == [first, last]
    assert np.isnan(current).all() and np.isnan(light).all()
    for row in flow:
        share = np.nan_to_num(row)
        assert (share * shape.QUARTERS).sum() / share.sum() == pytest.approx(12.0, abs=0.13)
    assert courses.read([two[1].pk], first, last) == {}


def test_older_days_are_thinned_and_the_day_records_of_samples_stand(two):
    when, seconds, flow, light = quarters(two, until=11.0, days=40)
    keep(two, when, seconds, flow, light, samples=True)
    assert DayRecord.objects.filter(installation=two[0]).count() == 40
    last = as_number(when[-1].astype(object))
    days = courses.read([two[0].pk], last, last)[two[0].pk][0]
    assert days.tolist() == [d for d in range(last - 39, last + 1) if d > last - shape.NEWEST_DAYS or d % 5 == 0]


HEADINGS = {
    "en": "The course of a clear day",
    "fr": "La marche d’une journée claire",
    "sw": "Mwenendo wa siku yenye anga",
}


def test_the_page_of_a_shortfall_draws_the_course_of_clear_days(two, client_of, nadia, in_language):
    made = quarters(two, until=11.0)
    keep(two, *made, samples=True)
    services.judge([i.pk for i in two], through())
    short = Shortfall.objects.get(installation=two[0])
    course = services.day_course(short)
    hours, due, since, before = (np.array(x) for x in (course.hours, course.due, course.since, course.before))
    assert hours.min() > 6 and hours.max() < 18
    assert (course.since_days, course.before_days, course.by_current) == (7, 6, False)
    early, late = (hours > 8) & (hours < 10.5), (hours > 11.5) & (hours < 15)
    assert (since[early] < 0.3 * due[early]).all()
    np.testing.assert_allclose(since[late], due[late], rtol=0.1)
    np.testing.assert_allclose(before[late].sum() / before[early].sum(), due[late].sum() / due[early].sum(), rtol=0.1)
    for language, heading in HEADINGS.items():
        if language != "en":
            in_language(language)
        nadia.language = language
        nadia.save()
        page = client_of(nadia).get(reverse("output:shortfall", args=[short.pk])).content.decode()
        assert heading in html.unescape(page)


def test_without_quarter_hours_the_page_asks_once_and_draws_none(two, client_of, nadia):
    keep(two, *quarters(two, until=11.0), samples=False)
    services.judge([i.pk for i in two], through())
    short = Shortfall.objects.get(installation=two[0])
    with CaptureQueriesContext(connection) as asked:
        assert services.day_course(short) is None
    assert len(asked) <= 2
    page = client_of(nadia).get(reverse("output:shortfall", args=[short.pk])).content.decode()
    assert "The course of a clear day" not in page
