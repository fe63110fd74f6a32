"""Tests taken on visits, as evidence of the nights: of units of which nothing else is known, and beside a meter."""

import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Judgement, Shortfall
from fleet.output.services.spot import own_level
from fleet.readings.models import Arrival, Slip, SpotTest
from fleet.readings.services import keep_meter_readings, keep_spot_test, settle
from fleet.readings.services.spot import let_spot_test_count
from sizing import chain
from tests.makers.judged import a_shortfall
from tests.makers.registry import side_by_side
from tests.output.test_judge import FIRST, ids, sound_days
from tests.output.test_nights_agree import assert_same, forget, left

pytestmark = pytest.mark.django_db
SUN, AIR = 520.0, 30.0
DAYS = 100


@pytest.fixture
def two(organisation):
    """Two units with three sound tests at commissioning each: the first has a meter, which was never read."""
    made = side_by_side(organisation, 2, instrument_level="meter")
    for one in made:
        for minute in (0, 10, 20):
            take(one, 1, 1.0, kind="commissioning", minute=minute)
    return made


def sound_flow(installation):
    return float(chain.spot(read_fleet([installation.pk], 2024).fleet, SUN, AIR, 22.0).flow_l_min[0])


def take(installation, day, share, kind="visit", minute=0, **changes):
    """A test on the n-th day at `share` of what the chain gives."""
    at = datetime(FIRST.year, FIRST.month, FIRST.day, 8, minute, tzinfo=UTC) + timedelta(days=day - 1)
    readings = {
        "sun_by": "reference_cell", "irradiance_w_m2": SUN, "air_c": AIR, "flow_by": "bucket", "static_level_m": 22.0,
        "flow_l_min": share * sound_flow(installation),
    }  # fmt: skip
    return keep_spot_test(installation=installation, at=at, kind=kind, **readings | changes)[0]


def read_meter(installation, litres, every=14):
    """Totals of daily litres, read every so many days from the first on."""
    read = np.arange(0, len(litres), every)
    when = np.datetime64(FIRST) + read
    noon = [int(datetime(d.year, d.month, d.day, 9, tzinfo=UTC).timestamp()) for d in when.tolist()]
    keep_meter_readings(
        installations=np.full(len(read), installation.pk), epoch_s=np.array(noon), days=when,
        totals=1000 + np.append(0, np.cumsum(litres))[read], hour_known=np.ones(len(read), bool),
    )  # fmt: skip


def day(n):
    return FIRST + timedelta(days=n - 1)


def judge(some, until=DAYS):
    return services.judge(ids(some), day(until))


def open_of(installation):
    return Shortfall.objects.alive().filter(installation=installation).first()


def test_a_unit_that_only_tests_are_taken_of_is_judged_from_its_first_on(two):
    take(two[0], 40, 0.6)
    take(two[1], 40, 1.0)
    judge(two)
    found = open_of(two[0])
    assert found is not None and found.flagged_on == day(40)
    assert day(1) <= found.since <= day(40)
    assert found.lost_fraction == pytest.approx(0.4, abs=0.12)
    assert found.lost_low_l_day < found.lost_l_day < found.lost_high_l_day
    assert open_of(two[1]) is None
    assert Judgement.objects.filter(through=day(DAYS)).count() == 2


def test_one_test_a_little_low_raises_nothing_and_a_third_of_the_kind_does(two):
    for n in (40, 60, 80):
        take(two[0], n, 0.75)
    judge(two, 50)
    assert open_of(two[0]) is None
    judge(two)
    assert open_of(two[0]).flagged_on in (day(60), day(80))


def test_a_sound_test_after_poor_ones_and_work_takes_nothing_back_from_what_was_put_right(two):
    take(two[0], 40, 0.5)
    judge(two, 45)
    found = open_of(two[0])
    services.end_shortfall(shortfall=found, ending=Shortfall.Ending.REPAIRED, on=day(46))
    take(two[0], 46, 0.5)  # taken before the work began
    take(two[0], 46, 1.0, kind="after_work", minute=40)
    judge(two, 60)
    assert open_of(two[0]) is None
    take(two[0], 61, 1.0)
    judge(two, 70)
    assert open_of(two[0]) is None
    take(two[0], 75, 0.5)
    judge(two)
    assert open_of(two[0]).flagged_on == day(75)
    assert open_of(two[0]).since >= day(46)


def test_a_flag_by_tests_comes_down_by_tests(two):
    take(two[0], 40, 0.5)
    judge(two, 41)
    assert open_of(two[0]) is not None
    for n in (50, 58, 66, 74):
        take(two[0], n, 1.0)
    judge(two)
    assert open_of(two[0]) is None


def test_a_good_bucket_at_a_unit_whose_meter_shows_little_says_the_meter(two):
    _when, _sun, litres = sound_days(two, DAYS)
    low = np.where(np.arange(DAYS) >= 42, 0.45, 1.0)
    for one, water in zip(two, litres, strict=True):
        read_meter(one, 0.94 * water * low)
    judge(two, 85)
    before = {c["cause"]: c["odds"] for c in open_of(two[0]).causes}
    take(two[0], 86, 1.0, irradiance_w_m2=SUN)
    take(two[1], 86, 0.45)
    judge(two, 90)
    after, other = ({c["cause"]: c["odds"] for c in open_of(one).causes} for one in two)
    assert after["meter_slow"] > 2 * before["meter_slow"]
    assert other.get("meter_slow", 0) < 0.5 * before["meter_slow"]
    assert open_of(two[0]).evidence["tests"][0]["day"] == day(86).isoformat()
    told = open_of(two[0]).evidence["tests"][0]
    assert told["low"] < told["flow"] < told["high"] and told["bucket"] is True
    told = open_of(two[1]).evidence["tests"][0]
    assert told["flow"] < told["low"]


def _all_kinds(two):
    _when, _sun, litres = sound_days(two, DAYS)
    read_meter(two[1], 0.94 * litres[1] * np.where(np.arange(DAYS) >= 30, 0.6, 1.0))
    take(two[1], 50, 0.6, array_voltage_v=50.0, array_current_a=4.0, pumping_level_m=24.0)
    take(two[0], 40, 0.6)
    take(two[0], 66, 0.62, minute=5)
    take(two[0], 66, 0.63, minute=15)


def test_nights_with_tests_twice_late_or_in_pieces_agree(two):
    _all_kinds(two)
    judge(two)
    once = left()
    assert len(once[0]["flags"]) >= 2
    judge(two)
    assert_same(once, left())
    forget()
    for n in range(5, DAYS + 1, 5):
        services.judge(ids(two), day(n), stretch=1)
    assert_same(once, left())
    forget()
    judge(two[1:], 45)
    judge(two[:1], 70)
    judge(two)
    apart = left()
    for name in ("shortfalls", "flags", "judged"):
        assert once[0][name] == apart[0][name]


def test_a_test_that_comes_late_or_is_corrected_sends_its_unit_back(two, nadia):
    judge(two)
    assert open_of(two[0]) is None
    test = take(two[0], 40, 0.5)
    assert Arrival.objects.get(pk=two[0].pk).first_day == day(40)
    judge(two)
    assert open_of(two[0]).flagged_on == day(40)
    slip = Slip.objects.create(
        installation=two[0], subject="spot", spot_test=test, at=test.at, field="flow_l_min", found=test.flow_l_min,
        kind="impossible", suggested=sound_flow(two[0]),
    )  # fmt: skip
    settle(slip=slip, how="as_suggested", by=nadia)
    judge(two)
    assert open_of(two[0]) is None


def test_a_test_that_is_set_aside_counts_no_more(two):
    test = take(two[0], 40, 0.5)
    judge(two)
    assert open_of(two[0]) is not None
    let_spot_test_count(key=test.key, counts=False)
    judge(two)
    assert open_of(two[0]) is None
    assert SpotTest.objects.filter(pk=test.pk).exists()


@pytest.mark.parametrize(
    "changes",
    [{"irradiance_w_m2": None}, {"irradiance_w_m2": 180}, {"flow_by": "none"}, {"irradiance_w_m2": 30, "air_c": 59}],
)
def test_what_says_nothing_of_the_flow_raises_nothing(two, changes):
    take(two[0], 40, 0.3, **changes)
    judge(two)
    assert open_of(two[0]) is None


def test_figures_that_nobody_can_have_read_stop_no_night(two):
    SpotTest.objects.create(
        installation=two[0], kind="visit", at=timezone.make_aware(datetime(2024, 4, 20, 12)), module_isc_a=400.0,
        cell_c=900.0, air_c=300.0, flow_l_min=1e6, static_level_m=1e5, pumping_level_m=-40.0, sun_by="module_isc",
    )  # fmt: skip
    judge(two)
    assert Judgement.objects.get(pk=two[0].pk).through == day(DAYS)


def test_a_module_of_ones_own_tells_the_sun_as_well(two):
    take(two[0], 40, 0.5, irradiance_w_m2=None, sun_by="module_isc", module_isc_a=8.79 * SUN / 1000, cell_c=25.0)
    judge(two)
    assert open_of(two[0]) is not None


def test_the_answer_on_the_spot_does_not_take_a_level_from_nights_that_saw_no_readings(two):
    take(two[0], 40, 1.0)
    judge(two)
    assert not own_level(two[0]).judged
    assert own_level(two[0]).tests == 3


def test_units_without_tests_cost_no_question_more_however_many_they_are(two):
    _when, _sun, litres = sound_days(two, 30)
    for one, water in zip(two, litres, strict=True):
        read_meter(one, water)

    def asked(some):
        with CaptureQueriesContext(connection) as queries:
            services.judge(ids(some), day(30))
        return len(queries)

    asked(two)  # makes the baselines
    forget()
    both = asked(two)
    forget()
    assert asked(two[:1]) == both


def test_the_page_lists_the_tests_that_counted_and_does_without_a_picture_where_there_is_none(two, nadia, client_of):
    take(two[0], 40, 0.6)
    take(two[0], 60, 0.6, flow_by="meter")
    judge(two)
    page = client_of(nadia).get(reverse("output:shortfall", args=[open_of(two[0]).pk])).content.decode()
    assert "Spot tests that counted" in page and "Nothing but spot tests is known" in page
    assert "8 May 2024" in page and "18 Apr 2024" in page and page.index("8 May 2024") < page.index("18 Apr 2024")
    assert "bucket and stopwatch" in page and "water meter" in page
    assert re.search(r"6\d(\s|&nbsp;)%", page)


def test_tests_stand_in_the_picture_beside_a_meter_and_a_shortfall_without_any_says_nothing(two, nadia, client_of):
    _when, _sun, litres = sound_days(two, DAYS)
    read_meter(two[0], 0.94 * litres[0] * np.where(np.arange(DAYS) >= 42, 0.5, 1.0))
    take(two[0], 72, 0.5)
    judge(two)
    page = client_of(nadia).get(reverse("output:shortfall", args=[open_of(two[0]).pk])).content.decode()
    assert "Spot tests that counted" in page and "Nothing but spot tests" not in page
    assert re.search(r"test 5\d(\s|&nbsp;|\\u\w{4})%", page)
    other = a_shortfall(two[1])
    page = client_of(nadia).get(reverse("output:shortfall", args=[other.pk])).content.decode()
    assert "Spot tests that counted" not in page


@pytest.mark.parametrize("after_test", [True, False])
def test_a_visit_that_reaches_us_late_leaves_its_shortfall_ended_and_one_of_it(two, after_test):
    take(two[0], 40, 0.5)
    judge(two, 60)
    found = open_of(two[0])
    take(two[0], 46, 0.5)
    if after_test:
        take(two[0], 46, 1.0, kind="after_work", minute=40)
    services.end_shortfall(shortfall=found, ending=Shortfall.Ending.REPAIRED, on=day(46))
    judge(two, 70)
    judge(two)
    (only,) = Shortfall.objects.filter(installation=two[0])
    assert (only.pk, only.state, only.ending, only.closed_on) == (found.pk, "closed", "repaired", day(46))
    assert Judgement.objects.get(pk=two[0].pk).sound_since == day(46)
    assert Judgement.objects.get(pk=two[0].pk).case == {}


def test_nights_judged_anew_come_by_a_shortfall_that_ended_and_make_no_second_one(two):
    take(two[0], 40, 0.5)
    for n in (50, 58):
        take(two[0], n, 1.0)
    judge(two)
    (once,) = Shortfall.objects.filter(installation=two[0])
    assert once.state == "closed"
    take(two[0], 30, 1.0)
    judge(two)
    (again,) = Shortfall.objects.filter(installation=two[0])
    assert (again.pk, again.ending, again.closed_on, again.flagged_on) == (
        once.pk, once.ending, once.closed_on, once.flagged_on,
    )  # fmt: skip


# -- no water ----------------------------------------------------------------------------------------------------------


def none_came(installation, day, watched_min, **changes):
    return take(installation, day, 0.0, watched_min=watched_min, **changes)


def test_a_test_at_which_no_water_came_tells_of_a_standstill(two):
    none_came(two[0], 40, 30)
    take(two[1], 40, 1.0)
    judge(two)
    found = open_of(two[0])
    assert found is not None and found.flagged_on == day(40)
    assert found.lost_fraction > 0.9
    assert np.isfinite([found.lost_l_day, found.lost_low_l_day, found.lost_high_l_day]).all()
    assert open_of(two[1]) is None


def test_no_water_by_bucket_and_by_a_meter_that_stood_still_are_the_same_evidence(two):
    none_came(two[0], 40, 30)
    take(two[1], 40, 0.0, flow_by="meter")
    judge(two)
    mine, other = (open_of(one) for one in two)
    assert mine.flagged_on == other.flagged_on
    assert mine.lost_fraction == pytest.approx(other.lost_fraction, abs=0.05)


def test_what_was_watched_for_less_time_than_the_rising_main_fills_tells_nothing_yet(two):
    fills = float(chain.first_water(read_fleet([two[0].pk], 2024).fleet, SUN, AIR, 22.0)[0])
    short, full = none_came(two[0], 40, 0.5 * fills), none_came(two[1], 40, 0.5 * fills, main_was_full=True)
    judge(two)
    assert open_of(two[0]) is None and open_of(two[1]) is not None
    answers = [services.answer_spot(test.installation, test) for test in (short, full)]
    assert [a["verdict"] for a in answers] == ["cannot_tell", "below"]
    assert "Watch it for longer" in answers[0]["because"]
    none_came(two[0], 50, 2 * fills)
    judge(two)
    assert open_of(two[0]).flagged_on == day(50)


def test_the_answer_to_no_water_says_so_and_its_causes_are_those_of_a_standstill(two):
    answer = services.answer_spot(two[0], test := none_came(two[0], 40, 30, array_current_a=0.0, array_voltage_v=61.0))
    assert answer["verdict"] == "below" and answer["because"].startswith("No water came in 30 minutes")
    assert answer["ratio"] == 0 and answer["waterfall"]["end"]["l_min"] == 0
    causes = services.causes_of_test(test, answer["verdict"])["causes"]
    assert causes and all(np.isfinite(one["odds"]) for one in causes)


def test_no_water_in_too_little_sun_proves_nothing(two):
    test = none_came(two[0], 40, 60, irradiance_w_m2=120.0)
    judge(two)
    assert services.answer_spot(two[0], test)["verdict"] == "cannot_tell"
    assert open_of(two[0]) is None


def test_work_after_which_no_water_came_has_put_nothing_right_and_tells_of_the_unit_as_it_is(two):
    for one in two:
        take(one, 40, 0.6)
    none_came(two[0], 46, 30, kind="after_work")
    take(two[1], 46, 1.0, kind="after_work")
    judge(two, 60)
    found, mended = (Shortfall.objects.get(installation=one) for one in two)
    assert found.state != Shortfall.State.CLOSED and found.lost_fraction > 0.6
    assert mended.lost_fraction == pytest.approx(0.4, abs=0.12)
