"""Whether the odds of causes hold is told from what visits found: said before, found after."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.output import services
from fleet.output.models import FindingHeard
from tests.makers.judged import a_shortfall
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db


NAMED = {"way": "desk"}


@pytest.fixture
def visited(organisation, nadia):
    """`visited("dirt", dirt=0.7, pump_worn=0.3)`: a visit that found dirt where these odds had been said."""
    numbers = iter(range(1000))

    def found(*causes, heard=NAMED, **odds):
        one = an_installation(organisation)
        if odds:
            said = [{"cause": cause, "odds": chance} for cause, chance in odds.items()]
            a_shortfall(one, causes=said, flagged_on=date(2026, 3, 1))
        for cause in causes:
            services.learn(cause=cause, found=f"finding-{next(numbers)}", installation=one, on=date(2026, 3, 20),
                           **{"by": nadia} | heard)  # fmt: skip
        return one

    return found


def rows(organisation):
    return {row["low"]: row for row in services.said_and_found(organisation.pk)}


def test_of_causes_said_at_like_odds_the_share_that_was_found_is_told(organisation, visited):
    for n in range(5):
        visited("dirt" if n < 4 else "pump_worn", dirt=0.70 + n / 1000, pump_worn=0.25, main_leaks=0.05)
    told = rows(organisation)
    assert (told[0.6]["said"], told[0.6]["right"], told[0.6]["share"]) == (5, 4, 0.8)
    assert (told[0.2]["said"], told[0.2]["right"], told[0.2]["share"]) == (5, 1, 0.2)
    assert told[0.4]["said"] == told[0.8]["said"] == 0, "and what was said at one in twenty is in none"


def test_four_are_too_few_to_say_and_odds_on_an_edge_count_upwards(organisation, visited):
    for n in range(4):
        visited("dirt", dirt=1.0 - n / 100)
    visited("dirt", dirt=0.4)
    told = rows(organisation)
    assert (told[0.8]["said"], told[0.8]["right"], told[0.8]["share"]) == (4, 4, None)
    assert (told[0.4]["said"], told[0.2]["said"]) == (1, 0)


def test_a_visit_that_finds_two_causes_is_held_against_what_was_said_once(organisation, visited):
    visited("dirt", "main_leaks", dirt=0.5, main_leaks=0.45)
    assert (rows(organisation)[0.4]["said"], rows(organisation)[0.4]["right"]) == (2, 2)


def test_where_nothing_was_said_before_there_is_nothing_to_hold_against(organisation, visited):
    visited("dirt")
    assert not any(row["said"] for row in services.said_and_found(organisation.pk))


def test_what_was_said_of_an_older_or_a_later_shortfall_did_not_send_anybody_there(organisation, nadia):
    one = an_installation(organisation)
    said = [{"cause": "dirt", "odds": 0.7}]
    a_shortfall(one, causes=said, flagged_on=date(2025, 1, 1), state="closed", closed_on=date(2025, 2, 1))
    a_shortfall(one, causes=said, flagged_on=date(2026, 5, 1))
    services.learn(cause="dirt", found="one", installation=one, by=nadia, on=date(2026, 3, 20))
    assert FindingHeard.objects.get().suspected == []
    services.learn(cause="dirt", found="two", installation=one, by=nadia, on=date(2025, 2, 10))
    assert FindingHeard.objects.get(finding_key="two").suspected == said, "closed by this very visit, days before"


def test_the_manager_sees_it_with_the_one_setting_and_otto_sees_his_own(
    organisation, visited, wanja, otto, idris, client_of, api_of
):
    for n in range(6):
        visited("dirt" if n < 3 else "main_leaks", dirt=0.5 + n / 1000)
    page = client_of(wanja).get(reverse("output:alarms")).content.decode().replace("\xa0", " ")
    assert "Causes said, and causes found" in page and "40 % – 60 %" in page
    row = page[page.index("40 % – 60 %") :].split("</tr>")[0]
    assert ">6</td>" in row and ">3</td>" in row and "50 %" in row
    assert page.count("too few to say") == 3
    assert api_of(wanja).get("/api/v1/alarms/").json()["said_and_found"][1] == {
        "low": 0.4, "high": 0.6, "said": 6, "right": 3, "share": 0.5,
    }  # fmt: skip
    otto.role = "manager"
    otto.save()
    assert client_of(otto).get(reverse("output:alarms")).content.decode().count("too few to say") == 4
    assert client_of(idris).get(reverse("output:alarms")).status_code == 403


def test_findings_count_whoever_heard_them_and_it_is_told_how_they_were_heard(
    organisation, visited, other_organisation, wanja, client_of, api_of
):
    visited("dirt", dirt=0.7)
    visited("dirt", dirt=0.71, heard={"way": "telephone", "by": None})
    visited("dirt", dirt=0.72, heard={"way": "telephone"})
    visited("main_leaks", dirt=0.73, heard={"way": "", "by": None})
    assert (rows(organisation)[0.6]["said"], rows(organisation)[0.6]["right"]) == (4, 3)
    heard = {"telephone": 2, "desk": 1, "unknown": 1, "nameless": 2}
    assert services.findings_heard(organisation.pk) == heard
    assert set(services.findings_heard(other_organisation.pk).values()) == {0}
    assert api_of(wanja).get("/api/v1/alarms/").json()["findings_heard"] == heard
    page = client_of(wanja).get(reverse("output:alarms")).content.decode()
    assert "Findings written down on a telephone</dt><dd>2</dd>" in page


def test_a_person_who_is_removed_takes_no_finding_out_of_the_count(organisation, visited, nadia):
    visited("dirt", dirt=0.7)
    FindingHeard.objects.update(heard_by=None)
    assert rows(organisation)[0.6]["said"] == 1


def test_today_is_meant_where_no_day_is_given(organisation, nadia):
    one = an_installation(organisation)
    a_shortfall(one, causes=[{"cause": "dirt", "odds": 0.7}], flagged_on=timezone.now().date() - timedelta(days=3))
    services.learn(cause="dirt", found="one", installation=one, by=nadia)
    assert rows(organisation)[0.6]["said"] == 1
