"""Pages of readings, at a desk and without scripts."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.readings.models import MeterReading, Slip
from tests.makers.readings import a_meter_reading, a_round, a_slip, a_spot_test, an_exchange, days_of, later
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


@pytest.mark.parametrize("kind", ["meter", "days", "spot"])
def test_each_kind_is_listed_and_taken_away(client_of, nadia, installation, kind):
    a_meter_reading(installation, total_l=123_456)
    days_of(installation, [4321], first="2024-06-03")
    a_spot_test(installation, flow_l_min=14.4)
    client = client_of(nadia)
    address = reverse("readings:of", args=[installation.pk])
    page = client.get(address, {"kind": kind})
    assert page.status_code == 200
    assert {"meter": "123", "days": "4,321", "spot": "14.4"}[kind] in page.content.decode()
    taken = b"".join(client.get(address, {"kind": kind, "format": "csv"}).streaming_content).decode()
    assert {"meter": "123456", "days": "4321", "spot": "14.4"}[kind] in taken


def test_otto_finds_nothing_of_theirs(client_of, otto, installation):
    slip = a_slip(a_meter_reading(installation))
    client = client_of(otto)
    for name, pk in (("of", installation.pk), ("add_meter", installation.pk)):
        assert client.get(reverse(f"readings:{name}", args=[pk])).status_code == 404
    assert client.post(reverse("readings:settle", args=[slip.pk]), {"how": "keep"}).status_code == 404
    assert installation.unit.serial not in client.get(reverse("readings:slips")).content.decode()


def test_a_figure_is_typed_with_its_hour_in_the_sites_own_time(client_of, idris, installation):
    address = reverse("readings:add_meter", args=[installation.pk])
    form = {"day": "2024-06-03", "hour": "14:30", "total_l": "5500", "tank_full_seen": "no"}
    assert client_of(idris).post(address, form).status_code == 302
    reading = MeterReading.objects.get()
    assert (reading.at.isoformat(), reading.total_l, reading.tank_full_seen) == (
        "2024-06-03T11:30:00+00:00", 5500, False,
    )  # fmt: skip


@pytest.mark.parametrize(("tick", "seen"), [({"tank_full_seen": "yes"}, True), ({"tank_full_seen": "no"}, False),
                                           ({"tank_full_seen": ""}, None), ({}, None)])  # fmt: skip
def test_a_caretaker_who_did_not_look_at_the_tank_has_not_seen_it_less_than_full(
    client_of, idris, installation, tick, seen
):
    form = {"day": "2024-06-03", "hour": "14:30", "total_l": "5500"} | tick
    client_of(idris).post(reverse("readings:add_meter", args=[installation.pk]), form)
    assert MeterReading.objects.get().tank_full_seen is seen


def test_what_was_typed_is_still_there_when_it_is_refused(client_of, idris, installation):
    address = reverse("readings:add_meter", args=[installation.pk])
    page = client_of(idris).post(address, {"day": "2019-06-03", "hour": "14:30", "total_l": "5500"})
    assert page.status_code == 422
    assert 'value="5500' in page.content.decode()
    assert not MeterReading.objects.exists()


def test_a_manager_does_not_type_figures(client_of, wanja, installation):
    assert client_of(wanja).get(reverse("readings:add_meter", args=[installation.pk])).status_code == 403


def test_one_click_settles_and_the_page_shows_what_is_left(client_of, nadia, installation):
    slip = a_slip(a_meter_reading(installation, total_l=1_000_000, standing=1))
    client = client_of(nadia)
    page = client.get(reverse("readings:slips"))
    assert "As suggested" in page.content.decode()
    answer = client.post(reverse("readings:settle", args=[slip.pk]), {"how": "as_suggested"}, follow=True)
    assert "Nothing to settle" in answer.content.decode()
    assert MeterReading.objects.get().total_l == 100_000


def test_another_figure_must_be_one(client_of, nadia, installation):
    slip = a_slip(a_meter_reading(installation, total_l=1_000_000, standing=1))
    client = client_of(nadia)
    client.post(reverse("readings:settle", args=[slip.pk]), {"how": "other", "value": "about ten"})
    assert Slip.objects.get().state == "open"
    client.post(reverse("readings:settle", args=[slip.pk]), {"how": "other", "value": "110000"})
    assert MeterReading.objects.get().total_l == 110_000


def test_a_technician_sees_no_buttons_to_settle(client_of, idris, installation):
    a_slip(a_meter_reading(installation))
    page = client_of(idris).get(reverse("readings:slips")).content.decode()
    assert installation.unit.serial in page
    assert "As suggested" not in page


def in_words(page):
    return " ".join(page.content.decode().replace("\u00a0", " ").split())


def test_the_page_says_what_one_click_will_do_with_an_exchange_and_does_it(client_of, nadia, organisation):
    one, other = an_exchange(an_installation(organisation), an_installation(organisation))
    client = client_of(nadia)
    page = in_words(client.get(reverse("readings:slips")))
    assert f"Exchange with {other.installation.unit.serial}’s 98,765 L: both figures change places." in page
    assert f"Exchange with {one.installation.unit.serial}’s 412,345 L" in page
    assert "About 84,000 L were due in the 28 days" in page
    answer = client.post(reverse("readings:settle", args=[one.pk]), {"how": "as_suggested"}, follow=True)
    assert "Nothing to settle" in answer.content.decode()


def test_half_an_exchange_is_not_offered(client_of, nadia, organisation):
    one, other = an_exchange(an_installation(organisation), an_installation(organisation))
    client = client_of(nadia)
    client.post(reverse("readings:settle", args=[other.pk]), {"how": "aside"})
    page = in_words(client.get(reverse("readings:slips")))
    assert "has been settled otherwise" in page and "As suggested" not in page
    answer = client.post(reverse("readings:settle", args=[one.pk]), {"how": "as_suggested"}, follow=True)
    assert "has been settled otherwise: set aside" in in_words(answer)


ROUND_SAID = [
    ("en", "The meter started again after 1,000,000 L; remember that for this meter."),
    ("fr", "Le compteur est reparti à zéro après 1 000 000 L ; le retenir pour ce compteur."),
    ("sw", "Mita ilianza upya baada ya 1,000,000 L; ikumbukwe kwa mita hii."),
]


@pytest.mark.parametrize(("language", "words"), ROUND_SAID)
def test_a_meter_that_started_again_is_offered_in_each_language(
    in_language, client_of, nadia, installation, language, words
):
    if language != "en":
        in_language(language)
    nadia.language = language
    nadia.save()
    a_round(installation)
    client = client_of(nadia)
    assert words in in_words(client.get(reverse("readings:slips"))).replace("\u202f", " ")
    client.post(reverse("readings:settle", args=[Slip.objects.get().pk]), {"how": "as_suggested"})
    installation.refresh_from_db()
    assert installation.meter_rollover_l == 1_000_000


def test_exchanges_cost_no_more_queries_on_the_list_and_their_reasons_go_out_with_it(client_of, nadia, organisation):
    client, counts = client_of(nadia), []
    for number in (1, 9):
        for _n in range(number):
            an_exchange(an_installation(organisation), an_installation(organisation))
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("readings:slips"))
        counts.append(len(queries))
    assert counts[0] == counts[1]
    taken = b"".join(client.get(reverse("readings:slips"), {"format": "csv"}).streaming_content).decode()
    assert taken.count("would fit, which stands for") == 20


def test_thirty_slips_cost_as_many_queries_as_three(client_of, nadia, organisation):
    client, counts = client_of(nadia), []
    for number in (3, 27):
        for n in range(number):
            installation = an_installation(organisation)
            a_slip(a_meter_reading(installation, at=later(hours=n), total_l=1_000_000))
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("readings:slips"))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_days_turn_by_month(client_of, nadia, installation):
    days_of(installation, [1000.0] * 70, first="2024-05-20")
    page = client_of(nadia).get(reverse("readings:of", args=[installation.pk]), {"kind": "days", "month": "2024-06"})
    words = page.content.decode()
    assert words.count("<tr>") == 31
    assert "May 2024" in words
    assert "July 2024" in words
    assert page.context["month"] == date(2024, 6, 1)
