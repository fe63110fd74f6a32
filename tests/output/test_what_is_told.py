"""What is put forward of a case: the same words for the same figures, in whichever process they were worked out."""

from datetime import timedelta
from html import unescape

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.output import services, skies
from fleet.output.models import Evaluation
from fleet.output.services.nightly import cases
from sizing import judge
from sizing.causes import names, odds
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import a_pump_type, a_unit, an_installation


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


def found(ramp):
    return judge.Found(5.0, -5.0, 0.01, 0.3, 98.0, ramp)


CAME = [
    (0.7, found(0.0), {"how": "at_once"}),
    (0.7, found(40.0), {"how": "grows", "days": 40}),
    (0.02, found(40.0), {"how": "stopped"}),
    (0.02, None, {"how": "stopped"}),
    (0.7, None, None),
    (0.7, found(-np.inf), None),
]


@pytest.mark.parametrize(("kept", "search", "came"), CAME)
def test_how_a_loss_came_is_told_as_the_search_has_it(kept, search, came):
    cause = np.zeros(len(names.NAMES))
    cause[names.NUMBER["dirt"]] = 1.0
    got = odds.Odds(5.0, -5.0, cause, 0.01, (100, 98, 103), (400.0, 300.0, 500.0), kept)
    assert cases.summary(got, 120, found=search)["came"] == came


WORDS = [
    ({"how": "at_once"}, "came at once"),
    ({"how": "grows", "days": 40}, "grows over about 40 days"),
    ({"how": "stopped"}, "stopped"),
    (None, ""),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("came", "words"), WORDS)
def test_the_page_of_a_shortfall_says_beside_since_when_how_it_came(organisation, client_of, nadia, came, words):
    short = a_shortfall(an_installation(organisation), evidence={"came": came})
    page = client_of(nadia).get(reverse("output:shortfall", args=[short.pk]))
    assert page.context["since_range"] == words
    assert words in page.content.decode()
    assert client_of(nadia).get(f"/api/v1/shortfalls/{short.pk}/").json()["came"] == came


SKIES = [
    (["own"] * 20, "What told the sky of the newest days: its own cell."),
    (["own"] * 20 + ["fleet"] * 14, "What told the sky of the newest days: what the units around gave."),
    (["climate"] * 9 + ["import"] * 5, "What mostly told the sky of the newest days: the usual of the place."),
    ([""] * 9, ""),
    ([], ""),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("codes", "words"), SKIES)
def test_what_told_the_sky_of_the_newest_days_stands_on_the_pages_of_unit_and_shortfall(
    organisation, client_of, nadia, codes, words
):
    one = an_installation(organisation)
    first = timezone.now().date() - timedelta(days=len(codes) + 1)
    judged_days(one, first, [(1000.0, 700.0)] * len(codes))
    for n, code in enumerate(codes):
        Evaluation.objects.filter(installation=one, day=first + timedelta(days=n)).update(sun_by=code)
    short = a_shortfall(one, since=first, flagged_on=first)
    assert skies.of_installation(one.pk) == words
    for address in (reverse("output:shortfall", args=[short.pk]), f"/units/{one.unit_id}/"):
        page = client_of(nadia).get(address)
        assert page.context["sky"] == words
        assert ("told the sky" in page.content.decode()) is bool(words), address


RESTS = [
    (0, 0, "weak, and on 0 findings of your visits."),
    (1, 0, "weak, and on one finding of your visits (1 at this kind of pump)."),
    (2, 1, "weak, and on 3 findings of your visits (2 at this kind of pump)."),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("here", "elsewhere", "words"), RESTS)
def test_the_page_of_a_shortfall_says_on_how_many_findings_the_odds_rest(
    organisation, client_of, nadia, otto, here, elsewhere, words
):
    one = an_installation(organisation)
    other = an_installation(unit=a_unit(organisation, pump_type=a_pump_type(organisation, kind="centrifugal")))
    theirs = an_installation(otto.organisation)
    for n, place in enumerate([one] * here + [other] * elsewhere + [theirs]):
        services.learn(cause="dirt", found=f"finding-{n}", installation=place, by=nadia)
    page = client_of(nadia).get(reverse("output:shortfall", args=[a_shortfall(one).pk])).content.decode()
    assert f"The odds rest on the trade's catalogue, which is {words}" in unescape(page)
