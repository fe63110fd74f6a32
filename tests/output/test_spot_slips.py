"""Spot tests typed at the desk or brought in: a slip is marked with what would fit, and raises nothing by itself."""

import html

import numpy as np
import pytest
from django.urls import reverse

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Shortfall
from fleet.readings.models import Slip, SpotTest, Standing
from fleet.readings.services import keep_spot_test, keep_spot_tests, settle, take_back
from fleet.trail.models import Change
from fleet.web.refusals import Refused
from sizing import chain
from tests.makers.readings import NOON, later
from tests.makers.registry import a_module_type, an_installation

pytestmark = pytest.mark.django_db
SUN, LEVEL = 800.0, 22.0


@pytest.fixture
def installation(organisation):
    return an_installation(organisation, module_type=a_module_type(organisation))


def sound(installation, **changes):
    """Readings of a sound test, as they would be typed."""
    fleet = read_fleet([installation.pk], 2024).fleet
    due = chain.spot(fleet, np.array([SUN]), np.array([30.0]), np.array([LEVEL]))
    readings = {
        "sun_by": "reference_cell", "irradiance_w_m2": SUN, "air_c": 30.0, "static_level_m": LEVEL, "flow_by": "bucket",
        "array_voltage_v": round(float(due.array_voltage_v[0]), 1),
        "array_current_a": round(float(due.array_current_a[0]), 2),
        "flow_l_min": round(float(due.flow_l_min[0]), 1),
    }  # fmt: skip
    return readings | changes


def take(installation, at=NOON, looked=False, **changes):
    known = {"installation": installation, "at": at, "kind": "visit", "looked": looked}
    return keep_spot_test(**known, **sound(installation, **changes))[0]


def look(installation):
    return [(s.field, s.kind, s.suggested) for s in services.look_at_tests([installation.pk])]


def standing(test):
    test.refresh_from_db()
    return test.standing


@pytest.mark.parametrize("name", ["array_voltage_v", "array_current_a", "flow_l_min"])
def test_ten_times_too_much_is_marked_with_what_would_fit(installation, name):
    right = sound(installation)[name]
    test = take(installation, **{name: 10 * right})
    assert look(installation) == [(name, "slip_of_ten", pytest.approx(right))]
    assert standing(test) == Standing.IN_DOUBT


@pytest.mark.parametrize(
    ("name", "figure", "kind", "fits"),
    [
        ("static_level_m", 220.0, "slip_of_ten", 22.0),
        ("static_level_m", 72.2, "wrong_unit", 22.0066),
        ("irradiance_w_m2", 0.8, "wrong_unit", 800),
    ],
)
def test_levels_and_suns_in_another_unit_or_ten_times_off_are_marked(installation, name, figure, kind, fits):
    take(installation, **{name: figure})
    assert look(installation) == [(name, kind, fits)]


def test_a_flow_in_cubic_metres_an_hour_is_marked(installation):
    right = sound(installation)["flow_l_min"]
    take(installation, flow_l_min=round(right * 0.06, 3))
    [(name, kind, fits)] = look(installation)
    assert (name, kind) == ("flow_l_min", "wrong_unit") and fits == pytest.approx(right, rel=0.01)


def changed_over(installation, amps=1.0, **changes):
    """Readings whose volts and amps were typed in each other's place; amps: share of what is due."""
    right = sound(installation)
    volts, amps = right["array_voltage_v"], round(amps * right["array_current_a"], 2)
    return {"array_voltage_v": amps, "array_current_a": volts} | changes


SUNS = [{}, {"irradiance_w_m2": 250.0, "amps": 0.3}, {"irradiance_w_m2": None, "sun_by": "none"}, {"amps": 0.5}]


@pytest.mark.parametrize("known", SUNS, ids=["in the sun", "in a weak sun", "nobody measured the sun", "half the amps"])
def test_volts_and_amps_in_each_others_place_are_one_doubt_and_change_over_in_a_click(installation, nadia, known):
    typed = changed_over(installation, **known)
    test = take(installation, **typed)
    volts, amps = typed["array_current_a"], typed["array_voltage_v"]
    told = [("array_voltage_v", "volts_for_amps", volts), ("array_current_a", "volts_for_amps", amps)]
    assert look(installation)[:2] == told
    Slip.objects.exclude(kind="volts_for_amps").update(state="kept")  # of the flow under a sun that was not this
    assert standing(test) == Standing.IN_DOUBT
    clicked = Slip.objects.get(field="array_current_a")
    decision = settle(slip=clicked, how="as_suggested", by=nadia).decision
    assert standing(test) == Standing.CORRECTED
    assert (test.array_voltage_v, test.array_current_a) == (volts, amps)
    assert not Slip.objects.waiting().exists()
    assert look(installation) == []
    take_back(decision=decision, by=nadia)
    assert standing(test) == Standing.IN_DOUBT
    assert (test.array_voltage_v, test.array_current_a) == (amps, volts)
    assert Slip.objects.waiting().count() == 2


def test_volts_and_amps_are_kept_as_written_in_one_click_and_not_asked_about_again(installation, nadia):
    test = take(installation, **changed_over(installation))
    look(installation)
    settle(slip=Slip.objects.first(), how="keep", by=nadia)
    assert standing(test) == Standing.CORRECTED and not Slip.objects.waiting().exists()
    SpotTest.objects.update(looked=False, standing=Standing.GOOD)
    assert look(installation) == []


def test_when_one_of_the_two_was_put_right_by_hand_there_is_nothing_to_change_over(installation, nadia, client_of):
    test = take(installation, **changed_over(installation))
    look(installation)
    volts, amps = Slip.objects.order_by("pk")
    settle(slip=volts, how="other", value=50.0, by=nadia)
    page = client_of(nadia).get(reverse("readings:slips")).content.decode()
    assert "As suggested" not in page and "there is nothing to exchange any more" in page
    with pytest.raises(Refused) as refusal:
        settle(slip=amps, how="as_suggested", by=nadia)
    assert refusal.value.code == "other_settled"
    settle(slip=amps, how="other", value=6.0, by=nadia)
    assert standing(test) == Standing.CORRECTED and (test.array_voltage_v, test.array_current_a) == (50, 6)


def test_volts_and_amps_that_changed_since_are_not_changed_over(installation, nadia):
    take(installation, **changed_over(installation))
    look(installation)
    SpotTest.objects.update(array_current_a=33.0)
    with pytest.raises(Refused) as refusal:
        settle(slip=Slip.objects.get(field="array_voltage_v"), how="as_suggested", by=nadia)
    assert refusal.value.code == "changed"
    assert SpotTest.objects.get().array_current_a == 33.0


def test_volts_and_amps_in_each_others_place_raise_nothing_by_night(installation):
    for n in range(3):
        take(installation, at=later(days=n), **changed_over(installation, amps=0.4, flow_l_min=3.0))
    services.judge([installation.pk], later(days=5).date())
    assert Slip.objects.filter(kind="volts_for_amps").count() == 6
    assert not Shortfall.objects.exists()


WAYS = ["desk", "table", "API of many", "API of one"]


@pytest.mark.parametrize("way", WAYS)
def test_desk_table_and_api_are_asked_about_volts_and_amps_alike(installation, client_of, api_of, nadia, way):
    readings = {k: v for k, v in sound(installation, **changed_over(installation)).items() if v is not None}
    if way == "desk":
        typed = {"kind": "visit", "day": "2024-06-03", "hour": "12:15"} | readings
        page = client_of(nadia).post(reverse("output:add_spot", args=[installation.pk]), typed, follow=True)
        assert "A figure looks like a slip" in page.content.decode()
    elif way == "API of one":
        sent = {"kind": "visit", "at": NOON.isoformat()} | readings
        answer = api_of(nadia).post(f"/api/v1/installations/{installation.pk}/spot-tests/", sent, format="json")
        assert [d["kind"] for d in answer.json()["doubts"]] == ["volts_for_amps"] * 2
    else:
        names = {"array_voltage_v": "voltage_v", "array_current_a": "current_a"}
        row = {names.get(name, name): value for name, value in readings.items()}
        row |= {"serial": installation.unit.serial, "at": NOON.isoformat(), "kind": "visit"}
        if way == "table":
            text = ",".join(row) + "\n" + ",".join(map(str, row.values())) + "\n"
            answer = api_of(nadia).post("/api/v1/spot-tests/", text, content_type="text/csv")
        else:
            answer = api_of(nadia).post("/api/v1/spot-tests/", [row], format="json")
        assert answer.status_code == 200, answer.content
        services.judge([installation.pk], later(days=1).date())
    assert set(Slip.objects.values_list("field", "kind")) == {
        ("array_voltage_v", "volts_for_amps"), ("array_current_a", "volts_for_amps"),
    }  # fmt: skip
    assert SpotTest.objects.get().standing == Standing.IN_DOUBT


@pytest.mark.parametrize("share", [1.0, 0.8, 0.5, 0.25, 0.0])
def test_a_test_that_is_low_and_right_is_not_asked_about(installation, share):
    right = sound(installation)["flow_l_min"]
    test = take(installation, flow_l_min=round(share * right, 1))
    assert look(installation) == [] and standing(test) == Standing.GOOD


def test_each_test_is_looked_at_once_and_what_a_telephone_asked_about_never(installation, nadia):
    asked = take(installation, looked=True, static_level_m=220.0)
    assert look(installation) == [] and standing(asked) == Standing.GOOD
    test = take(installation, at=later(days=1), static_level_m=220.0)
    look(installation)
    settle(slip=Slip.objects.get(), how="keep", by=nadia)
    assert look(installation) == [] and standing(test) == Standing.CORRECTED
    assert not Change.objects.filter(table="readings_spottest", after__has_key="looked").exists()


def test_a_test_that_is_brought_in_again_with_other_figures_is_looked_at_again(installation):
    one = {"installation_id": installation.pk, "at": NOON, "kind": "visit"}
    keep_spot_tests([one | sound(installation)])
    assert look(installation) == []
    keep_spot_tests([one | sound(installation, static_level_m=220.0)])
    assert look(installation) == [("static_level_m", "slip_of_ten", 22)]


def test_a_test_counts_again_when_the_last_of_its_figures_is_settled(installation, nadia):
    right = sound(installation)
    test = take(installation, static_level_m=220.0, array_voltage_v=10 * right["array_voltage_v"])
    look(installation)
    first, second = Slip.objects.order_by("pk")
    settle(slip=first, how="as_suggested", by=nadia)
    assert standing(test) == Standing.IN_DOUBT
    settle(slip=second, how="as_suggested", by=nadia)
    assert standing(test) == Standing.CORRECTED
    assert (test.static_level_m, test.array_voltage_v) == (22, pytest.approx(right["array_voltage_v"]))


def test_a_test_in_doubt_raises_nothing_by_night(installation):
    flow = sound(installation)["flow_l_min"]
    for n in range(3):
        take(installation, at=later(days=n), flow_l_min=round(flow * 0.06, 3))
    services.judge([installation.pk], later(days=5).date())
    assert Slip.objects.filter(kind="wrong_unit").count() == 3
    assert not Shortfall.objects.exists()


def test_a_unit_of_which_nothing_can_be_computed_is_passed_over(organisation):
    installation = an_installation(organisation)
    good = sound(an_installation(organisation, module_type=a_module_type(organisation)))
    installation.setting_depth_m = 5
    installation.save()
    keep_spot_test(installation=installation, at=NOON, kind="visit", **good | {"static_level_m": 220.0})
    assert services.look_at_tests([installation.pk]) == []


def test_many_tests_cost_no_more_questions_than_one(installation, organisation, django_assert_max_num_queries):
    others = [an_installation(organisation, module_type=installation.module_type) for _n in range(6)]
    for one in [installation, *others]:
        take(one, static_level_m=220.0)
    with django_assert_max_num_queries(22):
        assert len(services.look_at_tests([i.pk for i in [installation, *others]])) == 7


def test_the_desk_is_told_at_once_and_may_settle_it(installation, client_of, nadia):
    readings = sound(installation, static_level_m=220.0)
    typed = {"kind": "visit", "day": "2024-06-03", "hour": "12:15"} | readings
    client = client_of(nadia)
    page = client.post(reverse("output:add_spot", args=[installation.pk]), typed, follow=True)
    words = html.unescape(page.content.decode()).replace("\u00a0", " ")
    assert "static level below datum: About 22 m is right for this well." in words
    assert "A figure looks like a slip" in words and "22 m, it would fit" in words and "Settle it" in words
    assert SpotTest.objects.get().standing == Standing.IN_DOUBT
    settle(slip=Slip.objects.get(), how="as_suggested", by=nadia)
    again = client.get(reverse("output:spot", args=[installation.pk, SpotTest.objects.get().pk]))
    assert "A figure looks like a slip" not in again.content.decode()
