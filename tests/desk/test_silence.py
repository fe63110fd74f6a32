"""What is said of units of which nothing is known: that they are silent, or cannot be computed, never "as expected"."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from psycopg.types.range import TimestamptzRange

from fleet.desk import services, silence
from fleet.output.models import Baseline, Judgement
from fleet.registry.models import Installation
from tests.makers.judged import a_shortfall
from tests.makers.readings import a_meter_reading, a_spot_test, days_of
from tests.makers.registry import an_installation

NOW = timezone.now().replace(hour=10)
TODAY = NOW.date()
LONG_AGO = TimestamptzRange(datetime(2024, 1, 1, tzinfo=UTC), None)


def ago(days):
    return TODAY - timedelta(days=days)


@pytest.fixture
def unit(organisation):
    """`unit("daily")`: one that has hung for years, judged through yesterday as every unit is, and never heard of."""

    def made(level="meter", **changes):
        one = an_installation(organisation, instrument_level=level, **{"period": LONG_AGO} | changes)
        Judgement.objects.create(installation=one, through=ago(1))
        return one

    return made


def state(one, person):
    return services.state_of(services.map_list(person).get(pk=one.pk))


def listed(person):
    return set(services.silent_list(person).values_list("pk", flat=True))


def a_day_of(one, day):
    days_of(one, [4000.0], first=day.isoformat())


def test_nothing_is_as_expected_that_never_reported(unit, nadia):
    one = unit()
    assert state(one, nadia) == ("unsure", "nothing reported yet")
    assert listed(nadia) == {one.pk}


@pytest.mark.parametrize("kept", ["by the night", "by the baseline"])
def test_what_cannot_be_computed_says_so_although_it_reports(unit, nadia, client_of, kept):
    one = unit("daily")
    a_day_of(one, ago(1))
    if kept == "by the night":
        Judgement.objects.update(trouble="No pipe is known.")
    else:
        Baseline.objects.create(
            installation=one, inputs_hash="x", computed_at=NOW, method="1", trouble="No pipe is known."
        )
    assert state(one, nadia) == ("unsure", "cannot be computed")
    assert listed(nadia) == set()
    page = client_of(nadia).get(f"/units/{one.unit_id}/").content.decode()
    assert "cannot be computed" in page and "No pipe is known." in page


@pytest.mark.parametrize(
    ("level", "days", "silent"),
    [("daily", 7, False), ("daily", 8, True), ("logger", 8, True), ("meter", 8, False), ("meter", 69, False),
     ("meter", 71, True)],
)  # fmt: skip
def test_how_long_a_unit_may_say_nothing_follows_from_what_it_is_read_by(unit, nadia, level, days, silent):
    one = unit(level)
    if level == "meter":
        a_meter_reading(one, at=NOW - timedelta(days=days))
    else:
        a_day_of(one, ago(days - 1))
    tone, word = state(one, nadia)
    if silent:
        last = ago(days if level == "meter" else days - 1)
        assert (tone, word) == ("watch", f"silent since {last.day} {last:%b %Y}")
    else:
        assert (tone, word) == ("good", "as expected")
    assert listed(nadia) == ({one.pk} if silent else set())


def test_a_spot_test_of_a_visit_is_heard_and_one_at_commissioning_is_not(unit, nadia):
    visited, hung = unit(), unit()
    a_spot_test(visited, kind="visit", at=NOW - timedelta(days=3))
    a_spot_test(hung, kind="commissioning", at=NOW - timedelta(days=3))
    assert state(visited, nadia) == ("good", "as expected")
    assert state(hung, nadia) == ("unsure", "nothing reported yet")
    assert listed(nadia) == {hung.pk}


def test_a_figure_dated_after_today_is_a_wrong_clock_s_and_hides_no_silence(unit, nadia):
    one = unit()
    a_meter_reading(one, at=NOW - timedelta(days=200))
    a_meter_reading(one, at=NOW + timedelta(days=900))
    tone, word = state(one, nadia)
    assert tone == "watch" and word == f"silent since {ago(200).day} {ago(200):%b %Y}"
    assert listed(nadia) == {one.pk}


def test_a_unit_hung_yesterday_has_not_reported_yet_and_nobody_is_sent_after_it(unit, nadia):
    one = unit("daily", period=TimestamptzRange(NOW - timedelta(days=1), None))
    assert state(one, nadia) == ("unsure", "nothing reported yet")
    assert listed(nadia) == set()


def test_a_unit_that_reports_before_its_first_night_is_not_judged_yet(unit, nadia):
    one = unit("daily")
    a_day_of(one, ago(1))
    Judgement.objects.update(through=None)
    assert state(one, nadia) == ("unsure", "not judged yet")
    Judgement.objects.all().delete()
    assert state(one, nadia) == ("unsure", "not judged yet")


def test_a_retired_unit_is_neither_silent_nor_has_it_a_state(unit, nadia, client_of):
    one = unit()
    Installation.objects.filter(pk=one.pk).update(
        period=TimestamptzRange(LONG_AGO.lower, NOW - timedelta(days=300)), closed_why="worn out"
    )
    type(one.unit).objects.filter(pk=one.unit_id).update(status="retired")
    assert listed(nadia) == set() and services.state_now(nadia, one.pk) is None
    page = client_of(nadia).get(f"/units/{one.unit_id}/")
    assert page.status_code == 200 and "nothing reported yet" not in page.content.decode()


def test_a_shortfall_keeps_its_state_and_its_silence_is_told_beside_it(unit, nadia, client_of):
    one = unit("daily")
    a_day_of(one, ago(40))
    a_shortfall(one)
    since = f"silent since {ago(40).day} {ago(40):%b %Y}"
    assert state(one, nadia) == ("bad", "falls short") and listed(nadia) == {one.pk}
    client = client_of(nadia)
    place = client.get("/map/places.geojson").json()["features"][0]["properties"]
    assert place["state"] == "falls short" and place["note"].endswith(since)
    for page in ("/map/", "/attention/", f"/units/{one.unit_id}/"):
        assert since in client.get(page).content.decode().replace("\xa0", " "), page


def test_nadia_finds_the_silent_ones_by_their_number_their_list_and_their_table(unit, nadia, client_of, api_of):
    quiet, never, loud = unit(), unit("daily"), unit()
    a_meter_reading(quiet, at=NOW - timedelta(days=100))
    a_meter_reading(loud, at=NOW - timedelta(days=10))
    client = client_of(nadia)
    attention = client.get("/attention/").content.decode()
    assert services.head_of_attention(nadia)["silent"] == 2
    assert "Of 2 units nothing is known" in attention and 'href="/silent/"' in attention
    page = client.get("/silent/").content.decode()
    assert quiet.unit.serial in page and never.unit.serial in page and loud.unit.serial not in page
    assert "never since it was hung" in page
    chosen = client.get(f"/silent/?district={never.well.site.district_id}").content.decode()
    assert never.unit.serial in chosen and quiet.unit.serial not in chosen
    table = b"".join(client.get("/silent/?format=csv").streaming_content).decode()
    assert quiet.unit.serial in table and ago(100).isoformat() in table and loud.unit.serial not in table
    told = {row["serial"]: row for row in api_of(nadia).get("/api/v1/silent/").json()["results"]}
    assert told.keys() == {quiet.unit.serial, never.unit.serial}
    assert told[quiet.unit.serial]["last_reported"] == ago(100).isoformat()
    assert told[never.unit.serial]["last_reported"] is None
    assert told[never.unit.serial]["state"] == "nothing reported yet"
    assert api_of(nadia).get("/api/v1/attention/counts/").json()["silent"] == 2


def test_otto_hears_of_none_of_them_and_idris_reads_the_list(unit, otto, idris, client_of, api_of):
    one = unit()
    assert services.head_of_attention(otto)["silent"] == 0
    assert "Every unit reports" in client_of(otto).get("/silent/").content.decode()
    assert one.unit.serial in client_of(idris).get("/silent/").content.decode()


def test_a_fleet_that_all_reports_says_so(unit, nadia, client_of):
    a_day_of(unit("daily"), ago(1))
    assert "Every unit reports" in client_of(nadia).get("/silent/").content.decode()
    assert "nothing is known" not in client_of(nadia).get("/attention/").content.decode()


@pytest.mark.parametrize("page", ["/silent/", "/attention/", "/map/places.geojson", "/api/v1/silent/"])
def test_thirty_silent_units_cost_as_many_questions_as_three(unit, nadia, client_of, page):
    client = client_of(nadia)

    def asked(more):
        for _ in range(more):
            a_shortfall(unit())
        with CaptureQueriesContext(connection) as questions:
            assert client.get(page).status_code == 200
        return len(questions)

    asked(3)  # what is kept after the first look is no question of the second
    assert asked(0) == asked(27)


def test_the_list_and_the_words_agree_for_units_of_every_kind_and_age(unit, nadia):
    rng = np.random.default_rng(4)
    for level in ("meter", "daily", "logger"):
        for days in rng.choice([1, 5, 6, 7, 8, 9, 68, 69, 70, 71, 72], 5, replace=False).tolist():
            one, at = unit(level), NOW - timedelta(days=days)
            if level == "meter":
                a_meter_reading(one, at=at)
            elif level == "daily":
                a_day_of(one, at.date())
            else:
                a_spot_test(one, kind="visit", at=at)
    rows = list(services.map_list(nadia))
    assert {row.pk for row in rows if silence.heard(row).silent} == listed(nadia) != set()


def test_the_words_are_in_the_reader_s_language(unit, nadia, client_of, in_language):
    one = unit("daily")
    a_day_of(one, date(2025, 3, 9))
    in_language("fr")
    nadia.language = "fr"
    nadia.save()
    page = client_of(nadia).get(f"/units/{one.unit_id}/").content.decode().replace("\xa0", " ")
    assert "silencieuse depuis le 9 " in page
