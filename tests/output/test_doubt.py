"""What the nights make of a figure in doubt: a slip with what would fit, in whose place, and why."""

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Shortfall
from fleet.output.services.nightly import shortfalls
from fleet.output.services.nightly.load import as_number, load
from fleet.readings import arrivals
from fleet.readings.models import MeterReading, Slip, Standing
from fleet.readings.services import settle
from fleet.registry.models import Installation
from sizing import chain
from sizing.judge import mistakes, record
from tests.makers.readings import NOON, a_meter_reading, a_slip, days_of, later
from tests.makers.registry import an_installation, side_by_side

pytestmark = pytest.mark.django_db
CODE = {name: code for code, name in enumerate(mistakes.NAMES)}


def cohort_of(*installations):
    return SimpleNamespace(
        ids=np.array([i.pk for i in installations]),
        facts={
            "organisation_id": np.array([i.organisation_id for i in installations]),
            "level": np.zeros(len(installations)),
        },
    )


def read_on(cohort, readings, **columns):
    """What one night says of the meter figures `readings`, a figure a unit of the cohort: a stretch."""
    rows = record.blank(len(readings))
    rows["unit"], rows["day"] = np.arange(len(readings)), as_number(date(2024, 6, 3))
    rows["since"], rows["expected_l"], rows["hour"] = 28.0, 84_123.4, 12.5
    for name, values in columns.items():
        rows[name] = values
    totals = record.Totals(rows["unit"], rows["hour"], np.array([r.total_l for r in readings]), np.full(len(rows), 0))
    facts = {
        "reading": np.array([r.pk for r in readings]), "standing": np.array([r.standing for r in readings]),
        "new_meter": np.zeros(len(readings)),
    }  # fmt: skip
    return SimpleNamespace(rows=[(int(rows["day"][0]), rows, totals, facts)])


@pytest.fixture
def two(organisation):
    return an_installation(organisation), an_installation(organisation)


def exchanged(one, other):
    readings = [a_meter_reading(one, total_l=412_345), a_meter_reading(other, total_l=98_765, at=later(minutes=50))]
    cohort = cohort_of(one, other)
    return cohort, read_on(
        cohort, readings, mistake=CODE["readings_swapped"], meant=[98_765, 412_345], other=[1, 0]
    )  # fmt: skip


def test_an_exchange_names_the_other_unit_and_its_figure_and_is_settled_at_once(two, nadia):
    shortfalls.doubt(*exchanged(*two))
    one, other = (Slip.objects.get(installation=i) for i in two)
    assert (one.kind, one.other, one.suggested) == ("swapped_readings", two[1], 98_765)
    assert (other.kind, other.other, other.suggested) == ("swapped_readings", two[0], 412_345)
    assert set(MeterReading.objects.values_list("standing", flat=True)) == {Standing.IN_DOUBT}
    said = one.reason.replace("\u00a0", " ")
    assert said.startswith("About 84,000 L were due in the 28 days")
    assert f"98,765 L would fit, which stands for {two[1].unit.serial}" in said
    settle(slip=other, how="as_suggested", by=nadia)
    totals = [MeterReading.objects.get(installation=i).total_l for i in two]
    assert totals == [98_765, 412_345]
    assert not Slip.objects.waiting().exists()


def test_an_exchange_with_a_figure_doubted_earlier_on_the_same_round_makes_that_one_its_other_half(two, nadia):
    early = a_meter_reading(two[1], total_l=412_345, at=later(days=-3), standing=Standing.IN_DOUBT)
    a_slip(early, kind=Slip.Kind.IMPOSSIBLE, suggested=None, why="", facts={"due_l": 60_000.0})
    reading = a_meter_reading(two[0], total_l=98_765)
    cohort = cohort_of(*two)
    night = read_on(cohort, [reading], mistake=CODE["readings_swapped"], meant=412_345, other=1)
    shortfalls.doubt(cohort, night)
    other = Slip.objects.get(installation=two[1])
    assert (other.kind, other.other, other.suggested, other.facts) == (
        "swapped_readings", two[0], 98_765, {"due_l": 60_000.0},
    )  # fmt: skip
    # The earlier night judged anew by itself knows nothing of the later one, and does not tear the two apart.
    alone = cohort_of(two[1])
    shortfalls.doubt(alone, read_on(alone, [early], mistake=CODE["impossible"]))
    other.refresh_from_db()
    assert (other.kind, other.other) == ("swapped_readings", two[0])
    settle(slip=other, how="as_suggested", by=nadia)
    assert [MeterReading.objects.get(installation=i).total_l for i in two] == [412_345, 98_765]


def test_an_exchange_with_a_good_figure_puts_that_in_doubt_and_one_with_a_settled_figure_is_none(two):
    reading, good = a_meter_reading(two[0], total_l=98_765), a_meter_reading(two[1], total_l=412_345)
    cohort = cohort_of(*two)
    night = read_on(cohort, [reading], mistake=CODE["readings_swapped"], meant=412_345, other=1)
    shortfalls.doubt(cohort, night)
    good.refresh_from_db()
    assert (good.standing, Slip.objects.get(installation=two[1]).other) == (Standing.IN_DOUBT, two[0])
    Slip.objects.all().delete()
    MeterReading.objects.filter(pk=good.pk).update(standing=Standing.CORRECTED)
    shortfalls.doubt(cohort, night)
    slip = Slip.objects.get()
    assert (slip.kind, slip.other, slip.suggested) == ("impossible", None, None)


def test_of_two_who_claim_the_same_figure_one_is_believed(two, organisation):
    three = [*two, an_installation(organisation)]
    readings = [
        a_meter_reading(i, total_l=total, at=later(minutes=n))
        for n, (i, total) in enumerate(zip(three, (98_765, 412_345, 98_700)))
    ]
    cohort = cohort_of(*three)
    night = read_on(cohort, readings, mistake=CODE["readings_swapped"], meant=[412_345, 98_765, 412_345],
                    other=[1, 0, 1])  # fmt: skip
    shortfalls.doubt(cohort, night)
    kinds = [Slip.objects.get(installation=i).kind for i in three]
    assert kinds == ["swapped_readings", "swapped_readings", "impossible"]


def test_readings_of_another_organisation_are_never_named(two, other_organisation):
    stranger = an_installation(other_organisation)
    shortfalls.doubt(*exchanged(two[0], stranger))
    for slip in Slip.objects.all():
        assert (slip.kind, slip.other, slip.suggested) == ("impossible", None, None)


def test_a_meter_that_started_again_is_suggested_with_its_round(two, nadia):
    a_meter_reading(two[0], total_l=960_000, at=later(days=-28))
    reading = a_meter_reading(two[0], total_l=12_000)
    cohort = cohort_of(two[0])
    shortfalls.doubt(cohort, read_on(cohort, [reading], mistake=CODE["rollover"], meant=1_000_000))
    slip = Slip.objects.get()
    assert (slip.kind, slip.suggested, slip.other, slip.at) == ("rollover", 1_000_000, None, NOON)
    settle(slip=slip, how="as_suggested", by=nadia)
    two[0].refresh_from_db()
    assert two[0].meter_rollover_l == 1_000_000


def test_what_belongs_to_another_unit_goes_there_in_one_click(two, nadia):
    reading = a_meter_reading(two[0], total_l=55_000)
    cohort = cohort_of(*two)
    shortfalls.doubt(cohort, read_on(cohort, [reading], mistake=CODE["wrong_serial"], other=1))
    slip = Slip.objects.get()
    assert two[1].unit.serial in slip.reason
    settle(slip=slip, how="as_suggested", by=nadia)
    assert MeterReading.objects.get().installation == two[1]


def test_another_night_says_anew_why_and_forgets_what_was_said_before(two):
    reading = a_meter_reading(two[0], total_l=1_000_000, standing=Standing.IN_DOUBT)
    a_slip(reading, kind=Slip.Kind.BACKWARDS, suggested=None, other=two[1], why="The total was 2,000,000 L.")
    cohort = cohort_of(two[0])
    shortfalls.doubt(cohort, read_on(cohort, [reading], mistake=CODE["slip_of_ten"], meant=100_000))
    slip = Slip.objects.get()
    assert (slip.kind, slip.why, slip.other) == ("slip_of_ten", "", None)
    assert "with a nought less, 100,000" in slip.reason.replace("\u00a0", " ")


def test_a_day_says_what_was_due_that_day(organisation):
    installation = an_installation(organisation, instrument_level="daily")
    days_of(installation, [30_000], first="2024-06-03")
    rows = record.blank(1)
    rows["unit"], rows["day"], rows["since"], rows["expected_l"] = 0, as_number(date(2024, 6, 3)), 1, 3_120
    rows["measured_l"], rows["mistake"], rows["meant"] = 30_000, CODE["slip_of_ten"], 3_000
    cohort = cohort_of(installation)
    cohort.facts["level"][:] = 1
    shortfalls.doubt(cohort, SimpleNamespace(rows=[(int(rows["day"][0]), rows, None, None)]))
    said = Slip.objects.get().reason.replace("\u00a0", " ")
    assert said == (
        "About 3,100 L were due that day. 30,000 L stands here; with a nought less, 3,000 L, it would fit."
    )


def test_what_a_person_settled_is_not_asked_again(two, nadia):
    cohort, stretch = exchanged(*two)
    shortfalls.doubt(cohort, stretch)
    settle(slip=Slip.objects.get(installation=two[0]), how="keep", by=nadia)
    shortfalls.doubt(cohort, stretch)
    assert Slip.objects.get(installation=two[0]).state == "kept"


WEEKS = 14
FIRST = datetime(2024, 3, 10, 9, tzinfo=UTC)


def metered_units(organisation, count):
    """Units near each other whose meters are read each Sunday, and what these show: (installations, totals)."""
    made = side_by_side(organisation, count, instrument_level="meter")
    fleet = read_fleet([i.pk for i in made], 2024).fleet
    days = np.arange(7 * WEEKS)
    sun = np.random.default_rng(4).uniform(4.5, 6.0, len(days))
    given = [chain.expected_days(fleet, np.full(len(days), n), 70 + days, sun).volume_l for n in range(count)]
    return made, np.round(np.stack(given).reshape(count, WEEKS, 7).sum(axis=2).cumsum(axis=1))


@pytest.fixture
def metered(organisation):
    return metered_units(organisation, 2)


def kept(installations, totals):
    for n, installation in enumerate(installations):
        for week, total in enumerate(totals[n]):
            a_meter_reading(installation, at=FIRST + timedelta(days=7 * week), total_l=total)


def judged(installations):
    services.judge([i.pk for i in installations], (FIRST + timedelta(days=7 * WEEKS)).date())


def test_two_readings_exchanged_on_one_day_are_found_by_night_and_judged_right_after_one_click(metered, nadia):
    installations, totals = metered
    shown = totals + np.array([[0], [400_000]])
    written = shown.copy()
    written[:, 9] = shown[::-1, 9]
    kept(installations, written)
    judged(installations)
    slips = list(Slip.objects.waiting())
    assert {s.kind for s in slips} == {"swapped_readings"} and len(slips) == 2
    assert not Shortfall.objects.exists()
    settle(slip=slips[0], how="as_suggested", by=nadia)
    judged(installations)
    assert not Slip.objects.waiting().exists() and not Shortfall.objects.exists()
    for n, installation in enumerate(installations):
        assert list(MeterReading.objects.of(installation).values_list("total_l", flat=True)) == shown[n].tolist()


def test_a_meter_that_started_again_is_found_by_night_and_asked_about_once(metered, nadia):
    installations, totals = metered
    round_l = 1_000_000
    totals[0] = (totals[0] + round_l - totals[0, 8] - 2_000) % round_l
    kept(installations, totals)
    judged(installations)
    slip = Slip.objects.get()
    assert (slip.kind, slip.suggested, slip.installation) == ("rollover", round_l, installations[0])
    assert not Shortfall.objects.exists()
    settle(slip=slip, how="as_suggested", by=nadia)
    judged(installations)
    assert not Slip.objects.waiting().exists() and not Shortfall.objects.exists()
    assert MeterReading.objects.filter(rolled_over=True).count() == 1


def under(installations, totals, week, **moved):
    """Kept, but the second unit's figure of a week stands under the first, which has none of its own that day or
    earlier (`moved`: how much later than its own)."""
    kept(installations, totals)
    first, second = (MeterReading.objects.of(i).get(at=FIRST + timedelta(days=7 * week)) for i in installations)
    if not moved:
        first.delete()
    at = second.at + timedelta(**moved)
    MeterReading.objects.filter(pk=second.pk).update(installation=installations[0], at=at)
    return second.pk


def belongs_to_the_second(installations, reading):
    slip = Slip.objects.get()
    told = (slip.kind, slip.installation, slip.other, slip.meter_reading_id)
    assert told == ("wrong_serial", *installations, reading)
    assert f"it would fit {installations[1].unit.serial}" in slip.reason
    assert not Shortfall.objects.exists()
    return slip


@pytest.mark.parametrize("moved", [{}, {"minutes": 50}, {"hours": -2}], ids=["alone", "after its own", "before it"])
def test_a_total_under_the_wrong_serial_is_said_by_night_to_belong_to_the_other_and_goes_there(metered, nadia, moved):
    installations, totals = metered
    totals += np.array([[0], [4_400_000]])
    reading = under(installations, totals, 9, **moved)
    judged(installations)
    settle(slip=belongs_to_the_second(installations, reading), how="as_suggested", by=nadia)
    judged(installations)
    assert not Slip.objects.waiting().exists() and not Shortfall.objects.exists()
    gone = MeterReading.objects.get(pk=reading)
    assert (gone.installation, gone.written_serial) == (installations[1], installations[0].unit.serial)
    assert gone.standing == Standing.CORRECTED
    assert list(MeterReading.objects.of(installations[1]).values_list("total_l", flat=True)) == totals[1].tolist()


def test_a_total_typed_late_under_the_wrong_serial_is_told_though_the_other_was_judged_already(metered):
    installations, totals = metered
    totals = totals[:, : WEEKS - 1] + np.array([[0], [4_400_000]])
    reading = under(installations, totals, WEEKS - 2)
    MeterReading.objects.filter(pk=reading).update(standing=Standing.SET_ASIDE)
    judged(installations)
    MeterReading.objects.filter(pk=reading).update(standing=Standing.GOOD)
    arrivals.note_day(installations[0].pk, (FIRST + timedelta(days=7 * (WEEKS - 2))).date())
    judged(installations)
    belongs_to_the_second(installations, reading)


def test_a_total_that_fits_another_organisations_unit_only_belongs_to_nobody(metered, other_organisation):
    installations, totals = metered
    totals += np.array([[0], [4_400_000]])
    under(installations, totals, 9)
    Installation.objects.filter(pk=installations[1].pk).update(organisation=other_organisation)
    judged(installations)
    slip = Slip.objects.get()
    assert (slip.installation, slip.kind, slip.other) == (installations[0], "impossible", None)


def test_of_two_that_fit_an_exchange_a_strangers_figure_does_not_stand_in_the_way(organisation, other_organisation):
    (one, stranger, other), totals = metered_units(organisation, 3)
    Installation.objects.filter(pk=stranger.pk).update(organisation=other_organisation)
    shown = totals[[0, 1, 1]] + np.array([[0], [400_000], [400_000]])
    written = shown.copy()
    written[:, 9] = shown[[1, 0, 0], 9]
    kept([one, stranger, other], written)
    judged([one, stranger, other])
    told = {s.installation_id: (s.kind, s.other_id) for s in Slip.objects.all()}
    assert (told[one.pk], told[other.pk]) == (("swapped_readings", other.pk), ("swapped_readings", one.pk))
    assert told[stranger.pk][1] is None


@pytest.mark.parametrize(("how", "sure"), [("keep", True), ("as_suggested", True), ("other", True)])
def test_a_settled_figure_is_taken_as_it_stands_by_the_next_night(two, nadia, how, sure):
    reading = a_meter_reading(two[0], total_l=4_123_450, standing=Standing.IN_DOUBT)
    slip = a_slip(reading, kind=Slip.Kind.SLIP_OF_TEN, suggested=412_345)
    ids, day = np.array([two[0].pk]), as_number(reading.at.astimezone(ZoneInfo(two[0].well.site.zone)).date())
    assert load(ids, day, day)[day][1].sure.tolist() == [False]
    settle(slip=slip, how=how, by=nadia, **({"value": 412_000} if how == "other" else {}))
    assert load(ids, day, day)[day][1].sure.tolist() == [sure]
