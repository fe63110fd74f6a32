"""The nightly judgement, from readings to shortfalls."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.utils import timezone

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import CauseCount, Evaluation, Flag, Judgement, Shortfall
from fleet.readings.models import Arrival, DayRecord, Slip
from fleet.readings.services import keep_days, settle
from sizing import chain
from sizing.causes.names import NUMBER
from tests.makers.registry import an_installation, side_by_side

pytestmark = pytest.mark.django_db
FIRST = date(2024, 3, 10)
DAYS = 60


@pytest.fixture
def few(organisation):
    """Five units near each other, with their own cell, no float switch, and what each would give of the sun it had."""
    return side_by_side(organisation, 5, instrument_level="logger")


def sound_days(installations, days=DAYS, seed=1):
    """(days, irradiation (n, days), litres (n, days)) of sound units with a little noise."""
    rng = np.random.default_rng(seed)
    sky = rng.uniform(3.5, 6.5, days)
    sun = sky[None, :] * rng.normal(1, 0.02, (len(installations), days))
    fleet = read_fleet([i.pk for i in installations], 2024).fleet
    when = np.datetime64(FIRST) + np.arange(days)
    doy = (when - np.datetime64("2024-01-01")).astype(int) + 1
    litres = np.stack(
        [chain.expected_days(fleet, np.full(days, n), doy, sun[n]).volume_l for n in range(len(installations))]
    )
    return when, sun, litres * rng.normal(1, 0.02, litres.shape)


def keep(installations, when, sun, litres):
    for n, installation in enumerate(installations):
        keep_days(
            installations=np.full(len(when), installation.pk), days=when,
            columns={"volume_l": litres[n], "irradiation_kwh_m2": sun[n]},
        )  # fmt: skip


def ids(installations):
    return [i.pk for i in installations]


def through(day):
    return FIRST + timedelta(days=day - 1)


def everything():
    """All that the nights left behind, as plain values."""
    evaluations = list(
        Evaluation.objects.order_by("installation_id", "day").values_list(
            "installation_id", "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by"
        )
    )
    states = [bytes(s) for s in Judgement.objects.order_by("pk").values_list("state", flat=True)]
    flags = list(Flag.objects.order_by("installation_id", "flagged_on").values_list("installation_id", "flagged_on"))
    return evaluations, states, flags


def test_sound_units_are_judged_every_day_and_nothing_is_raised(few):
    when, sun, litres = sound_days(few, 30)
    keep(few, when, sun, litres)
    done = services.judge(ids(few), through(30))
    assert (done.installations, done.days) == (5, 150)
    assert Evaluation.objects.count() == 150
    assert not Shortfall.objects.exists()
    inside = [e.low_l <= e.measured_l <= e.high_l for e in Evaluation.objects.all()]
    assert np.mean(inside) > 0.7
    assert set(Evaluation.objects.values_list("sun_by", flat=True)) == {"own"}
    assert set(Judgement.objects.values_list("through", flat=True)) == {through(30)}


def test_a_unit_that_stops_is_flagged_within_days_and_comes_down_when_it_runs_again(few):
    when, sun, litres = sound_days(few)
    litres[2, 20:40] = 0
    keep(few, when, sun, litres)
    services.judge(ids(few), through(30))
    shortfall = Shortfall.objects.get()
    assert shortfall.installation == few[2]
    assert through(21) <= shortfall.flagged_on <= through(26)
    assert abs((shortfall.since - through(21)).days) <= 2
    assert shortfall.causes[0]["cause"] in {"stands_still", "meter_stands"}
    assert shortfall.lost_l_day == pytest.approx(litres[2, :20].mean(), rel=0.3)
    assert shortfall.checks
    assert shortfall.weight == pytest.approx(shortfall.lost_l_day * shortfall.people_served, rel=0.01)
    services.judge(ids(few), through(DAYS))
    shortfall.refresh_from_db()
    assert (shortfall.state, shortfall.ending) == ("closed", "recovered")


def test_night_by_night_twice_over_or_in_one_go_is_the_same(few):
    when, sun, litres = sound_days(few, 24)
    litres[1, 10:] *= 0.6
    keep(few, when, sun, litres)
    services.judge(ids(few), through(24))
    once = everything()
    services.judge(ids(few), through(24))
    assert everything() == once
    services.judge_again(installations=ids(few))
    Shortfall.objects.all().delete()
    for day in range(1, 25):
        services.judge(ids(few), through(day), stretch=1)
    again = everything()
    assert again[0] == once[0]
    assert again[2] == once[2]
    for one, other in zip(again[1], once[1]):
        np.testing.assert_allclose(np.frombuffer(one[8:]), np.frombuffer(other[8:]), rtol=1e-9)


def test_a_figure_that_comes_late_is_judged_and_the_rest_stays(few):
    when, sun, litres = sound_days(few, 24)
    late = litres.copy()
    late[0, 15:18] = np.nan
    keep(few, when, sun, late)
    services.judge(ids(few), through(24))
    before = dict(Judgement.objects.values_list("pk", "through"))
    assert Evaluation.objects.filter(installation=few[0], measured_l=None).count() == 3
    keep(few[:1], when[15:18], sun[:1, 15:18], litres[:1, 15:18])
    assert Arrival.objects.get(pk=few[0].pk).first_day == through(16)
    services.judge(ids(few), through(24))
    row = Evaluation.objects.get(installation=few[0], day=through(17))
    assert row.measured_l == pytest.approx(litres[0, 16], rel=1e-5)
    assert not Arrival.objects.exists()
    assert dict(Judgement.objects.values_list("pk", "through")) == before


def test_a_slip_of_ten_is_marked_not_used_and_settled_in_one_click(few, nadia):
    when, sun, litres = sound_days(few, 30)
    right = litres[3, 20]
    litres[3, 20] *= 10
    keep(few, when, sun, litres)
    services.judge(ids(few), through(30))
    assert not Shortfall.objects.exists()
    slip = Slip.objects.get()
    assert (slip.installation, slip.kind) == (few[3], "slip_of_ten")
    assert slip.suggested == pytest.approx(right, rel=1e-3)
    assert Evaluation.objects.get(installation=few[3], day=through(21)).measured_l is None
    assert DayRecord.objects.get(installation=few[3], day=through(21)).standing == 1
    settle(slip=slip, how="as_suggested", by=nadia)
    services.judge(ids(few), through(30))
    assert Evaluation.objects.get(installation=few[3], day=through(21)).measured_l == pytest.approx(right, rel=1e-3)
    assert Slip.objects.waiting().count() == 0


def test_what_cannot_be_computed_is_kept_with_its_reason_and_stops_nobody(few, organisation):
    broken = an_installation(organisation, pipe=None)
    when, sun, litres = sound_days(few, 5)
    keep(few, when, sun, litres)
    done = services.judge([*ids(few), broken.pk], through(5))
    assert done.in_trouble == 1
    assert "pipe" in Judgement.objects.get(pk=broken.pk).trouble
    assert Evaluation.objects.count() == 25


def test_a_finding_teaches_once_and_changes_the_odds(few, nadia):
    assert services.learn(cause="dirt", found="a-finding", installation=few[0], by=nadia)
    assert not services.learn(cause="dirt", found="a-finding", installation=few[0], by=nadia)
    assert not services.learn(cause="lightning", found="another", installation=few[0], by=nadia)
    organisation = few[0].organisation_id
    assert services.counts(organisation) == {"dirt": 1}
    assert services.counts(organisation, "centrifugal") == {}


def test_a_shortfall_that_a_visit_ended_starts_anew(few):
    when, sun, litres = sound_days(few, 40)
    litres[2, 20:30] = 0
    keep(few, when, sun, litres)
    services.judge(ids(few), through(30))
    shortfall = Shortfall.objects.get()
    services.end_shortfall(shortfall=shortfall, ending="repaired", words="new fuse", on=through(30))
    shortfall.refresh_from_db()
    assert (shortfall.state, shortfall.ending, shortfall.closed_on) == ("closed", "repaired", through(30))
    services.judge(ids(few), through(40))
    assert not Shortfall.objects.alive().exists()


def rates_of(installations):
    from fleet.output.services.learning import taught_rates
    from fleet.output.services.nightly import cohort

    services.baselines(ids(installations), year=2024)
    made, _trouble = cohort.load(np.array(ids(installations)), 2024)
    return taught_rates(made)


def test_findings_teach_most_where_pump_district_and_season_are_alike(few, nadia):
    dirt = NUMBER["dirt"]
    before = rates_of(few).of(0, 2)
    for n in range(8):
        services.learn(cause="dirt", found=f"finding-{n}", installation=few[0], by=nadia)
    month = timezone.now().month - 1
    taught = rates_of(few)
    here, other_season = taught.of(0, month), taught.of(0, (month + 6) % 12)
    assert here[dirt] > 1.5 * before[dirt]
    assert before[dirt] < other_season[dirt] < here[dirt]
    assert here.sum() == pytest.approx(before.sum())
    CauseCount.objects.update(district_key=987654)
    other_district = rates_of(few).of(0, month)
    assert before[dirt] < other_district[dirt] < here[dirt]


def test_what_was_taught_changes_the_odds_of_the_next_shortfall(few, nadia):
    when, sun, litres = sound_days(few, 40)
    litres[2, 25:] = 0
    keep(few, when, sun, litres)
    services.judge(ids(few), through(40))
    odds = {c["cause"]: c["odds"] for c in Shortfall.objects.get().causes}
    Shortfall.objects.all().delete()
    for n in range(10):
        services.learn(cause="meter_stands", found=f"finding-{n}", installation=few[0], by=nadia)
    services.judge_again(installations=ids(few))
    services.judge(ids(few), through(40))
    again = {c["cause"]: c["odds"] for c in Shortfall.objects.get().causes}
    assert again["meter_stands"] > odds["meter_stands"] + 0.1
    assert again["stands_still"] < odds["stands_still"]


def test_a_case_that_nothing_speaks_for_any_more_comes_down(few):
    when, sun, litres = sound_days(few)
    litres[2, 20:26] *= 0.5
    keep(few, when, sun, litres)
    services.judge(ids(few), through(DAYS))
    assert not Shortfall.objects.alive().exists()
    for one in Shortfall.objects.all():
        assert one.ending in {"recovered", "withdrawn"}
        assert one.closed_on <= through(45)


def test_a_shortfall_says_what_to_check_and_what_to_take(few):
    when, sun, litres = sound_days(few, 40)
    litres[2, 25:] = 0
    keep(few, when, sun, litres)
    services.judge(ids(few), through(40))
    shortfall = Shortfall.objects.get()
    assert shortfall.checks[0] in {"ask_caretaker", "volts_no_amps", "bucket_against_meter"}
    assert "water meter" in shortfall.parts
    assert sum(c["odds"] for c in shortfall.causes) <= 1
    assert shortfall.since_low <= shortfall.since <= shortfall.since_high <= shortfall.flagged_on
    assert shortfall.lost_low_l_day <= shortfall.lost_l_day <= shortfall.lost_high_l_day
