"""What is put forward of a case: the same words for the same figures, in whichever process they were worked out."""

import numpy as np
import pytest
from django.urls import reverse

from fleet.output.services.nightly import cases
from sizing.causes import names, odds
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import an_installation


def told(**chances):
    """The summary of causes with these odds."""
    cause = np.zeros(len(names.NAMES))
    for name, chance in chances.items():
        cause[names.NUMBER[name]] = chance
    return cases.summary(odds.Odds(5.0, -5.0, cause, 0.01, (100, 98, 103), (400.0, 300.0, 500.0), 0.7), 120)


@pytest.mark.parametrize("last_digits", [(1e-13, 0.0), (0.0, 1e-13)])
def test_causes_alike_as_told_stand_in_the_order_of_their_names(last_digits):
    before, after = last_digits
    word = told(main_leaks=0.984, shade_after_noon=0.008 + after, shade_before_noon=0.008 + before)
    assert [one["cause"] for one in word["causes"]] == ["main_leaks", "shade_after_noon", "shade_before_noon"]


def test_the_likeliest_comes_first_and_says_whether_it_is_a_fault():
    assert told(less_drawn=0.6, pump_worn=0.4)["is_fault"] is False
    word = told(less_drawn=0.4, pump_worn=0.6)
    assert word["is_fault"] is True
    assert [one["cause"] for one in word["causes"]] == ["pump_worn", "less_drawn"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("season", "words"),
    [(0.94, "give about 6 % less than usual"), (1.05, "give about 5 % more than usual"), (0.996, ""), (None, "")],
)
def test_the_page_of_a_shortfall_says_what_the_season_does_to_sound_units_here(
    organisation, client_of, nadia, season, words
):
    evidence = {} if season is None else {"season": season}
    one = an_installation(organisation)
    short = a_shortfall(one, evidence=evidence)
    judged_days(one, short.since, [(1000.0, 700.0)] * 3)
    page = client_of(nadia).get(reverse("output:shortfall", args=[short.pk])).content.decode().replace("\xa0", " ")
    assert words in page
    assert ("at this time of the year" in page) is bool(words)
    told = client_of(nadia).get(f"/api/v1/shortfalls/{short.pk}/").json()
    assert told["season"] == (season or 1.0)
