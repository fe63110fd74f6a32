"""The demo keeps quarter hours of a few units, so that a shortfall whose cause stands in the day's course shows it."""

import html
from datetime import date

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from fleet.desk.demo import build, lives, quarters, record
from fleet.output import services as output
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Shortfall
from fleet.readings.models import DaySeries

pytestmark = pytest.mark.django_db
PICTURE = "The course of a clear day"


@pytest.mark.parametrize("last_day", [date(2026, 2, 10), date(2026, 7, 20)], ids=["in the rains", "in the dry months"])
def test_the_shade_in_the_demo_is_named_first_and_drawn(last_day):
    organisation, people = build.organisation_and_people()
    every = sorted(build.fleet_rows(organisation, last_day), key=lambda one: one.pk)
    fleet = read_fleet([one.pk for one in every], last_day.year).fleet
    lived = lives.live(every, fleet, last_day)
    record.spot_tests(every, fleet, people["idris"], last_day)
    record.daily(every, lived)
    quarters.keep(every, fleet, lived)
    shaded = next(one for one, life in zip(every, lived) if life.episode and life.episode.cause == "shade_morning")
    kept = DaySeries.objects.values_list("installation", flat=True).distinct()
    assert shaded.pk in kept and 1 < len(kept) <= quarters.HOW_MANY
    output.judge([one.pk for one in every if one.instrument_level != "meter"], last_day)

    short = Shortfall.objects.get(installation=shaded, state="open")
    began = lived[every.index(shaded)].dates[-next(e for e in lives.EPISODES if e.cause == "shade_morning").began]
    assert abs((short.since - began).days) <= 10
    assert short.causes[0]["cause"] == "shade_before_noon"
    course = output.day_course(short)
    early, late = (np.array(course.hours) < 11) & (np.array(course.hours) > 8), np.array(course.hours) > 12
    since, before = np.array(course.since), np.array(course.before)
    assert np.nansum(since[early]) < 0.75 * np.nansum(before[early])
    assert np.nansum(since[late]) > 0.85 * np.nansum(before[late])
    client = Client()
    client.force_login(people["nadia"])
    page = client.get(reverse("output:shortfall", args=[short.pk])).content.decode()
    assert PICTURE in html.unescape(page)
