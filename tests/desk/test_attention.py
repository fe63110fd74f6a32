"""The coordinator's list: its order, its filters, sending somebody, and who may not."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.desk import services
from tests.makers.judged import a_shortfall
from tests.makers.registry import an_installation


@pytest.fixture
def two(organisation):
    small = a_shortfall(an_installation(organisation), lost_l_day=300, weight=300 * 250)
    big = a_shortfall(an_installation(organisation), lost_l_day=3000, weight=3000 * 250)
    return small, big


def test_the_most_water_lost_to_the_most_people_stands_first(two, nadia):
    small, big = two
    assert [row.pk for row in services.attention(nadia)] == [big.pk, small.pk]


def test_danger_stands_before_any_amount_of_water(two, organisation, nadia):
    risky = a_shortfall(an_installation(organisation), lost_l_day=1, danger=2, weight=2e12)
    assert services.attention(nadia)[0].pk == risky.pk


def test_otto_sees_nothing_of_it(two, otto, client_of):
    assert not services.attention(otto)
    page = client_of(otto).get("/attention/")
    assert page.status_code == 200 and "Nothing falls short" in page.content.decode()


def test_the_list_is_chosen_by_district_type_words_and_whether_somebody_goes(two, nadia, client_of):
    small, big = two
    place = small.installation.well.site
    client = client_of(nadia)

    def listed(query):
        return [row["id"] for row in client.get("/attention/" + query).context["page"]]

    assert listed(f"?district={place.district_id}") == [small.pk]
    assert listed(f"?pump_type={small.installation.unit.pump_type_id}") == [small.pk]
    assert listed(f"?q={place.code}") == [small.pk]
    assert listed("?planned=no") == [big.pk, small.pk]
    assert listed("?planned=yes") == []
    assert listed("?district=999999") == [big.pk, small.pk]  # a choice that is none shows all


def test_nadia_sends_idris_to_two_ticked_sites_and_ticking_again_plans_no_more(two, nadia, idris, client_of):
    small, big = two
    client = client_of(nadia)
    order = {"shortfall": [small.pk, big.pk], "technician": idris.pk, "day": "2026-12-01"}
    assert client.post("/attention/send/", order).status_code == 302
    assert idris.visits.filter(planned_on=date(2026, 12, 1), state="assigned").count() == 2
    client.post("/attention/send/", order)
    assert idris.visits.count() == 2
    assert services.attention(nadia, assigned=True).count() == 2


def test_sending_needs_a_day_a_technician_and_the_right(two, nadia, idris, otto, client_of):
    small, _big = two
    client_of(nadia).post("/attention/send/", {"shortfall": [small.pk], "technician": idris.pk, "day": ""})
    assert not small.visits.exists()
    assert client_of(idris).post("/attention/send/", {"shortfall": [small.pk]}).status_code == 403
    client_of(otto).post("/attention/send/", {"shortfall": [small.pk], "technician": idris.pk, "day": "2026-12-01"})
    assert not small.visits.exists()


def test_the_way_back_never_leads_to_another_host(two, nadia, client_of):
    answer = client_of(nadia).post("/attention/send/", {"back": "https://elsewhere.example/"})
    assert answer["Location"] == "/attention/"


def test_the_list_leaves_as_csv_and_places(two, nadia, client_of):
    csv = b"".join(client_of(nadia).get("/attention/?format=csv").streaming_content).decode()
    assert two[0].installation.unit.serial in csv
    places = client_of(nadia).get("/map/places.geojson").json()
    assert {f["properties"]["tone"] for f in places["features"]} == {"bad"}
    longitude, latitude = places["features"][0]["geometry"]["coordinates"]
    assert longitude > 30 and latitude < 5  # longitude first, as RFC 7946 wants


def test_thirty_shortfalls_cost_as_many_questions_as_three(organisation, nadia, client_of):
    client = client_of(nadia)
    for _ in range(3):
        a_shortfall(an_installation(organisation))
    with CaptureQueriesContext(connection) as few:
        client.get("/attention/")
    for _ in range(27):
        a_shortfall(an_installation(organisation))
    with CaptureQueriesContext(connection) as many:
        client.get("/attention/")
    assert len(many) == len(few)
