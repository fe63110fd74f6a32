"""A unit's whole life on one page, in time order, wherever it hung; and the technician's day."""

from datetime import UTC, date, datetime

from fleet.desk import services
from fleet.readings.models import MeterReading, SpotTest
from fleet.visits.models import Call, Visit
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.registry import a_static_level, an_installation


def _full_life(organisation, technician):
    one = an_installation(organisation)
    a_static_level(one.well, 23.0, date(2025, 10, 2))
    SpotTest.objects.create(
        installation=one, kind="commissioning", at=datetime(2024, 3, 1, 10, tzinfo=UTC), flow_l_min=14.2
    )
    for day in (3, 17):
        MeterReading.objects.create(installation=one, at=datetime(2025, 11, day, 9, tzinfo=UTC), total_l=1000 * day)
    Visit.objects.create(
        organisation=organisation, site=one.well.site, installation=one, kind="inspection", state="closed",
        technician=technician, planned_on=date(2025, 6, 1), arrived_at=datetime(2025, 6, 1, 9, tzinfo=UTC),
    )  # fmt: skip
    a_shortfall(one, flagged_on=date(2026, 3, 10))
    Call.objects.create(
        organisation=organisation, site=one.well.site, at=datetime(2026, 3, 8, 7, tzinfo=UTC), words="A thin stream."
    )
    return one


def test_everything_stands_in_time_order_newest_first(organisation, idris):
    one = _full_life(organisation, idris)
    moments, _ = services.life(one.unit)
    assert [m.at for m in moments] == sorted((m.at for m in moments), reverse=True)
    kinds = {m.kind for m in moments}
    assert {"hung", "level", "spot", "meter", "visit", "shortfall", "call"} <= kinds
    assert sum(m.kind == "meter" for m in moments) == 1  # two figures of one month are one line


def test_the_page_shows_it_to_nadia_and_not_to_otto(organisation, nadia, idris, otto, client_of):
    one = _full_life(organisation, idris)
    judged_days(one, date(2026, 11, 1), [(5000, 4500)] * 20)
    page = client_of(nadia).get(f"/units/{one.unit_id}/?all=1")
    assert page.status_code == 200
    assert "A thin stream." in page.content.decode() and one.unit.serial in page.content.decode()
    assert client_of(otto).get(f"/units/{one.unit_id}/").status_code == 404


def test_what_is_known_by_its_day_alone_has_no_hour(organisation, nadia, idris, client_of):
    one = _full_life(organisation, idris)
    whole = {m.kind: m.whole_day for m in services.life(one.unit)[0]}
    assert whole["shortfall"] and whole["level"] and not whole["visit"] and not whole["spot"]
    page = client_of(nadia).get(f"/units/{one.unit_id}/?all=1").content.decode()
    assert ">10 Mar 2026<" in page and "10 Mar 2026, 12:00" not in page


def test_a_unit_without_a_past_has_a_page_all_the_same(organisation, nadia, client_of):
    from tests.makers.registry import a_unit

    assert client_of(nadia).get(f"/units/{a_unit(organisation).pk}/").status_code == 200


def test_idris_sees_his_day_in_the_order_of_the_trip_and_selmas_not(organisation, idris, client_of):
    from tests.makers.people import a_person

    selma = a_person(organisation, "technician", username="selma")
    one, two, hers = (an_installation(organisation) for _ in range(3))
    day = date(2026, 12, 1)

    def planned(who, installation, order):
        return Visit.objects.create(
            organisation=organisation, site=installation.well.site, installation=installation, kind="repair",
            state="assigned", technician=who, planned_on=day, trip_order=order,
        )  # fmt: skip

    second, first = planned(idris, one, 2), planned(idris, two, 1)
    planned(selma, hers, 1)
    page = client_of(idris).get("/my-day/?day=2026-12-01")
    assert [visit.pk for visit in page.context["visits"]] == [first.pk, second.pk]


def test_a_day_that_is_no_day_is_today_and_an_empty_day_says_so(idris, client_of):
    page = client_of(idris).get("/my-day/?day=yesterday")
    assert page.status_code == 200 and "No visits on this day" in page.content.decode()


def test_the_manager_has_no_day_of_visits(wanja, client_of):
    assert client_of(wanja).get("/my-day/").status_code == 403


def test_a_life_s_levels_and_flows_follow_the_reader(organisation, nadia, client_of):
    from tests.makers.readings import a_spot_test

    one = an_installation(organisation)
    a_static_level(one.well, 22.5, date(2024, 6, 1))
    a_spot_test(one, flow_l_min=14.0)
    nadia.length_unit, nadia.flow_unit = "ft", "m3_h"
    nadia.save()
    page = client_of(nadia).get(f"/units/{one.unit_id}/?all=1").content.decode().replace("\u00a0", " ")
    assert "below datum 73.82 ft" in page and "flow 0.84 m³/h" in page
    nadia.length_unit, nadia.flow_unit = "m", "l_min"
    nadia.save()
    page = client_of(nadia).get(f"/units/{one.unit_id}/?all=1").content.decode().replace("\u00a0", " ")
    assert "below datum 22.5 m" in page and "flow 14.0 L/min" in page
