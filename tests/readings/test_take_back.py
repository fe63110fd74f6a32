"""A settling is taken back whole: the readings stand as they did, the figures wait again, the judgement goes back."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.readings.models import Arrival, DayRecord, Decision, MeterReading, Slip, SpotTest, Standing
from fleet.readings.services import settle, take_back
from fleet.trail.models import Change
from fleet.web.refusals import Refused
from tests.makers.readings import (
    NOON,
    a_meter_reading,
    a_round,
    a_slip,
    a_spot_test,
    an_exchange,
    days_of,
    later,
)
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db

ANSWERS = [("as_suggested", None), ("other", 101_000), ("keep", None), ("aside", None)]


@pytest.fixture
def slip(organisation):
    return a_slip(a_meter_reading(an_installation(organisation), total_l=1_000_000, standing=1))


def settled(slip, by, how="as_suggested", value=None):
    return settle(slip=slip, how=how, value=value, by=by).decision


def all_that_stands():
    """Readings and slips, less who decided what."""
    unseen = {"decision_id"}
    return [
        {name: value for name, value in row.items() if name not in unseen}
        for model in (MeterReading, SpotTest, Slip)
        for row in model.objects.order_by("pk").values()
    ] + list(DayRecord.objects.order_by("installation_id", "day").values())


def refused(code, decision, by):
    with pytest.raises(Refused) as refusal:
        take_back(decision=decision, by=by)
    assert refusal.value.code == code, refusal.value


@pytest.mark.parametrize(("how", "value"), ANSWERS)
def test_each_answer_is_taken_back_to_what_stood_before(slip, nadia, how, value):
    before = all_that_stands()
    decision = settled(slip, nadia, how, value)
    assert all_that_stands() != before
    Arrival.objects.all().delete()
    take_back(decision=decision, by=nadia)
    assert all_that_stands() == before
    assert Slip.objects.waiting().get() == slip
    assert Arrival.objects.get().first_day.isoformat() == "2024-06-03"


def test_taken_back_it_can_be_settled_otherwise_and_that_is_taken_back_too(slip, nadia):
    before = all_that_stands()
    take_back(decision=settled(slip, nadia, "aside"), by=nadia)
    second = settled(slip, nadia, "other", 90_000)
    assert MeterReading.objects.get().total_l == 90_000
    take_back(decision=second, by=nadia)
    assert all_that_stands() == before
    assert Decision.objects.count() == 2


def test_taking_back_twice_is_harmless_and_takes_back_no_later_decision(slip, nadia, amara):
    first = settled(slip, nadia, "aside")
    take_back(decision=first, by=nadia)
    settled(slip, amara, "as_suggested")
    stands = all_that_stands()
    done = take_back(decision=first, by=amara)
    assert done.taken_back_by == nadia
    assert all_that_stands() == stands


def test_who_settled_and_who_took_back_stays_on_record(slip, nadia, amara):
    decision = settled(slip, nadia)
    take_back(decision=decision, by=amara)
    decision.refresh_from_db()
    assert (decision.by, decision.taken_back_by, decision.how) == (nadia, amara, "as_suggested")
    assert decision.at < decision.taken_back_at
    assert Slip.objects.get().decision == decision
    states = [c.after["state"] for c in Change.objects.of(slip).filter(kind="U") if "state" in c.after]
    assert states == ["open", "corrected"]


def test_only_who_may_settle_takes_back_and_otto_finds_nothing(slip, nadia, idris, otto):
    decision = settled(slip, nadia)
    refused("not_allowed", decision, idris)
    refused("not_found", decision, otto)
    assert Slip.objects.get().state == "corrected"


def test_an_exchange_is_taken_back_in_both_halves_from_either(organisation, nadia):
    pair = an_exchange(an_installation(organisation), an_installation(organisation))
    before = all_that_stands()
    settled(pair[0], nadia)
    pair[1].refresh_from_db()
    Arrival.objects.all().delete()
    take_back(decision=pair[1].decision, by=nadia)
    assert all_that_stands() == before
    assert Arrival.objects.count() == 2


def test_an_exchange_of_which_one_half_was_changed_since_stays_whole(organisation, nadia):
    pair = an_exchange(an_installation(organisation), an_installation(organisation))
    decision = settled(pair[0], nadia)
    MeterReading.objects.filter(pk=pair[1].meter_reading_id).update(total_l=5)
    stands = all_that_stands()
    refused("changed_since", decision, nadia)
    assert all_that_stands() == stands


@pytest.mark.parametrize(("how", "value"), ANSWERS)
def test_a_reading_changed_since_is_not_taken_back(slip, nadia, how, value):
    decision = settled(slip, nadia, how, value)
    MeterReading.objects.update(total_l=77)
    refused("changed_since", decision, nadia)
    assert (MeterReading.objects.get().total_l, Slip.objects.get().state) != (1_000_000, "open")


def test_a_reading_removed_since_is_not_taken_back(slip, nadia):
    decision = settled(slip, nadia)
    MeterReading.objects.all().delete()
    refused("changed_since", decision, nadia)


def test_a_figure_under_the_wrong_serial_comes_back_unless_another_has_taken_its_place(organisation, nadia):
    written, meant = an_installation(organisation), an_installation(organisation)
    reading = a_meter_reading(written, total_l=55_000, standing=1)
    slip = a_slip(reading, kind=Slip.Kind.WRONG_SERIAL, other=meant, suggested=55_000)
    before = all_that_stands()
    decision = settled(slip, nadia)
    newer = a_meter_reading(written, total_l=44_000)
    refused("already_there", decision, nadia)
    reading.refresh_from_db()
    assert reading.installation == meant
    newer.delete()
    Arrival.objects.all().delete()
    take_back(decision=decision, by=nadia)
    assert all_that_stands() == before
    assert set(Arrival.objects.values_list("installation", flat=True)) == {written.pk, meant.pk}


def test_a_round_is_forgotten_with_all_that_it_settled(organisation, nadia):
    installation = an_installation(organisation)
    slip = a_round(installation, totals=(960_000, 12_000, 40_000))
    a_slip(MeterReading.objects.get(total_l=40_000), kind=Slip.Kind.BACKWARDS, suggested=None)
    before = all_that_stands()
    take_back(decision=settled(slip, nadia), by=nadia)
    installation.refresh_from_db()
    assert installation.meter_rollover_l is None
    assert all_that_stands() == before


def test_a_round_on_which_a_later_total_rests_or_that_was_corrected_since_is_kept(organisation, nadia):
    installation = an_installation(organisation)
    decision = settled(a_round(installation), nadia)
    later_one = a_meter_reading(installation, at=later(days=60), total_l=8_000, rolled_over=True)
    refused("changed_since", decision, nadia)
    later_one.delete()
    installation.refresh_from_db()
    installation.meter_rollover_l = 10_000_000
    installation.save()
    refused("changed_since", decision, nadia)
    assert MeterReading.objects.filter(rolled_over=True).count() == 1


def spot_slips(organisation, *fields):
    test = a_spot_test(an_installation(organisation), standing=1)
    return test, [
        Slip.objects.create(
            installation=test.installation, subject="spot", spot_test=test, at=test.at, field=field,
            found=getattr(test, field), suggested=getattr(test, field) / 10, kind="slip_of_ten",
        )
        for field in fields
    ]  # fmt: skip


def test_of_a_test_with_two_figures_each_is_taken_back_in_any_order(organisation, nadia):
    test, slips = spot_slips(organisation, "array_voltage_v", "array_current_a")
    before = all_that_stands()
    decisions = [settled(slip, nadia) for slip in slips]
    test.refresh_from_db()
    assert test.standing == Standing.CORRECTED
    take_back(decision=decisions[0], by=nadia)
    test.refresh_from_db()
    assert (test.standing, test.array_voltage_v, test.array_current_a) == (Standing.IN_DOUBT, 52, 0.65)
    take_back(decision=decisions[1], by=nadia)
    assert all_that_stands() == before


def test_a_test_set_aside_since_waits_for_that_to_be_taken_back_first(organisation, nadia):
    test, slips = spot_slips(organisation, "array_voltage_v", "array_current_a", "flow_l_min")
    before = all_that_stands()
    kept, aside = settled(slips[0], nadia, "keep"), settled(slips[1], nadia, "aside")
    refused("changed_since", kept, nadia)
    take_back(decision=aside, by=nadia)
    assert set(Slip.objects.waiting()) == set(slips[1:])
    take_back(decision=kept, by=nadia)
    assert all_that_stands() == before


@pytest.mark.parametrize(("subject", "field", "value"), [("day", "volume_l", 30_000), ("noon", "noon_voltage_v", 480)])
def test_a_day_and_a_noon_are_taken_back_in_their_record(organisation, nadia, subject, field, value):
    installation = an_installation(organisation)
    days_of(installation, [30_000], first="2024-06-03", noon_voltage_v=[480.0])
    mark = "standing" if subject == "day" else "noon_standing"
    DayRecord.objects.update(**{mark: Standing.IN_DOUBT})
    slip = Slip.objects.create(
        installation=installation, subject=subject, at=NOON, field=field, found=value, suggested=value / 10,
        kind="slip_of_ten",
    )  # fmt: skip
    before = all_that_stands()
    decision = settled(slip, nadia)
    assert getattr(DayRecord.objects.get(), field) == value / 10
    take_back(decision=decision, by=nadia)
    assert all_that_stands() == before


def test_what_was_settled_before_decisions_were_kept_offers_no_way_back(slip, nadia, client_of):
    settled(slip, nadia)
    Slip.objects.update(decision=None)
    Decision.objects.all().delete()
    page = client_of(nadia).get(reverse("readings:slips"), {"state": "settled"}).content.decode()
    assert slip.installation.unit.serial in page and "Take back" not in page


# -- pages -------------------------------------------------------------------------------------------------------------


def test_the_page_offers_the_last_click_to_be_taken_back_at_once(client_of, nadia, amara, slip):
    client, address = client_of(nadia), reverse("readings:slips")
    answer = client.post(reverse("readings:settle", args=[slip.pk]), {"how": "aside"}, follow=True).content.decode()
    assert f"{slip.installation.unit.serial}: set aside." in answer and "Take back" in answer
    assert "Take back" not in client_of(amara).get(address).content.decode()  # it was not her click
    slip.refresh_from_db()
    answer = client.post(reverse("readings:take_back", args=[slip.decision_id]), {"back": address}, follow=True)
    page = answer.content.decode()
    assert "taken back. It stands as before and waits again." in page
    assert "Taken back: Nadia Sefu" in page and "As suggested" in page


@pytest.mark.parametrize("kind", ["meter", "days", "spot"])
def test_it_is_taken_back_later_from_the_settled_list_and_from_the_readings_own_page(
    client_of, nadia, idris, organisation, kind
):
    installation = an_installation(organisation)
    if kind == "meter":
        slip = a_slip(a_meter_reading(installation, total_l=1_000_000, standing=1))
    elif kind == "spot":
        slip = spot_slips(organisation, "array_voltage_v")[1][0]
    else:
        days_of(installation, [30_000], first="2024-06-03")
        slip = Slip.objects.create(installation=installation, subject="day", at=NOON, field="volume_l", found=30_000,
                                   suggested=3000, kind="slip_of_ten")  # fmt: skip
    decision = settled(slip, nadia)
    Decision.objects.update(at="2024-06-04T00:00Z")
    button = reverse("readings:take_back", args=[decision.pk])
    pages = [(reverse("readings:slips"), {"state": "settled"}),
             (reverse("readings:of", args=[slip.installation_id]), {"kind": kind})]  # fmt: skip
    if kind == "spot":
        pages.append((reverse("output:spot", args=[slip.installation_id, slip.spot_test_id]), {}))
    for address, asked in pages:
        page = client_of(nadia).get(address, asked).content.decode()
        assert button in page and "Nadia Sefu" in page, address
        assert button not in client_of(idris).get(address, asked).content.decode()
    answer = client_of(nadia).post(button, {"back": pages[1][0]})
    assert answer.url == pages[1][0]
    assert Slip.objects.waiting().count() == 1


def test_the_page_says_why_it_cannot_be_taken_back(client_of, nadia, otto, idris, slip):
    decision = settled(slip, nadia)
    MeterReading.objects.update(total_l=77)
    address = reverse("readings:take_back", args=[decision.pk])
    assert "has been changed since this was settled" in client_of(nadia).post(address, follow=True).content.decode()
    assert client_of(otto).post(address).status_code == 404
    assert client_of(idris).post(address).status_code == 403


def test_settled_figures_cost_no_more_queries_on_their_pages(client_of, nadia, organisation):
    client, counts, installation = client_of(nadia), [], an_installation(organisation)
    for number in (2, 14):
        for _n in range(number):
            at = later(hours=MeterReading.objects.count())
            settled(a_slip(a_meter_reading(installation, at=at, total_l=1_000_000, standing=1)), nadia)
        for address, asked in ((reverse("readings:slips"), {"state": "settled"}),
                               (reverse("readings:of", args=[installation.pk]), {"kind": "meter"})):  # fmt: skip
            with CaptureQueriesContext(connection) as queries:
                client.get(address, asked)
            counts.append(len(queries))
    assert counts[:2] == counts[2:]


# -- API ---------------------------------------------------------------------------------------------------------------


def test_the_api_takes_back_by_decision_and_twice_is_harmless(api_of, nadia, idris, otto, slip):
    address = f"/api/v1/slips/{slip.pk}/"
    done = api_of(nadia).post(address + "settle/", {"how": "aside"}, format="json").json()
    asked = {"decision": done["decision"]}
    assert api_of(idris).post(address + "take-back/", asked, format="json").status_code == 403
    assert api_of(otto).post(address + "take-back/", asked, format="json").status_code == 404
    answers = [api_of(nadia).post(address + "take-back/", asked, format="json") for _ in range(2)]
    assert [a.status_code for a in answers] == [200, 200]
    told = answers[1].json()
    assert (told["state"], told["taken_back_by"], told["decision"]) == ("open", "nadia", done["decision"])
    assert told["taken_back_at"] is not None and told["settled_by"] is None


def test_the_api_refuses_with_the_reason_and_knows_no_other_decision(api_of, nadia, slip):
    decision = settled(slip, nadia)
    address = f"/api/v1/slips/{slip.pk}/take-back/"
    assert api_of(nadia).post(address, {"decision": decision.pk + 1}, format="json").status_code == 404
    assert api_of(nadia).post(address, {}, format="json").status_code == 400
    MeterReading.objects.update(total_l=77)
    answer = api_of(nadia).post(address, {"decision": decision.pk}, format="json")
    assert answer.status_code == 409
    assert answer.json()["errors"][0]["code"] == "changed_since"
