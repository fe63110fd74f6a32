"""Figures in doubt are settled by a person."""

import pytest

from fleet.readings.models import Arrival, DayRecord, MeterReading, Slip, Standing
from fleet.readings.services import settle
from fleet.web.refusals import Refused
from tests.makers.readings import NOON, a_meter_reading, a_round, a_slip, an_exchange, days_of, later
from tests.makers.registry import a_unit, an_installation

pytestmark = pytest.mark.django_db

ANSWERS = [  # how, value, the figure that stands then, its standing, the slip's state
    ("as_suggested", None, 100_000, Standing.CORRECTED, "corrected"),
    ("other", 101_000, 101_000, Standing.CORRECTED, "amended"),
    ("keep", None, 1_000_000, Standing.CORRECTED, "kept"),
    ("aside", None, 1_000_000, Standing.SET_ASIDE, "aside"),
]


@pytest.fixture
def slip(organisation):
    return a_slip(a_meter_reading(an_installation(organisation), total_l=1_000_000, standing=1))


@pytest.mark.parametrize(("how", "value", "figure", "standing", "state"), ANSWERS)
def test_each_answer_does_what_it_says(slip, nadia, how, value, figure, standing, state):
    settle(slip=slip, how=how, value=value, by=nadia)
    reading = MeterReading.objects.get()
    slip.refresh_from_db()
    assert (reading.total_l, reading.standing, slip.state, slip.settled_by) == (figure, standing, state, nadia)
    assert Arrival.objects.get().first_day.isoformat() == "2024-06-03"


def test_a_settled_figure_is_not_settled_again(slip, nadia):
    settle(slip=slip, how="keep", by=nadia)
    with pytest.raises(Refused) as refusal:
        settle(slip=slip, how="aside", by=nadia)
    assert refusal.value.code == "already_settled"


REFUSALS = [
    ({"how": "other"}, "no_value"),
    ({"how": "other", "value": -5}, "out_of_range"),
    ({"how": "shrug"}, "unknown_answer"),
]


@pytest.mark.parametrize(("answer", "code"), REFUSALS)
def test_what_is_no_answer_is_refused(slip, nadia, answer, code):
    with pytest.raises(Refused) as refusal:
        settle(slip=slip, by=nadia, **answer)
    assert refusal.value.code == code
    slip.refresh_from_db()
    assert slip.state == "open"


def test_a_technician_may_not_settle_and_otto_finds_nothing(slip, idris, otto):
    for person, code in ((idris, "not_allowed"), (otto, "not_found")):
        with pytest.raises(Refused) as refusal:
            settle(slip=slip, how="keep", by=person)
        assert refusal.value.code == code


def test_a_reading_under_the_wrong_serial_goes_to_the_other_unit(organisation, nadia):
    written, meant = an_installation(organisation), an_installation(organisation)
    reading = a_meter_reading(written, total_l=55_000, standing=1)
    slip = a_slip(reading, kind=Slip.Kind.WRONG_SERIAL, other=meant, suggested=55_000)
    settle(slip=slip, how="as_suggested", by=nadia)
    reading.refresh_from_db()
    assert (reading.installation, reading.written_serial) == (meant, written.unit.serial)
    assert Arrival.objects.count() == 2


def test_a_daily_figure_is_settled_in_its_record(organisation, nadia):
    installation = an_installation(organisation)
    days_of(installation, [30_000], first="2024-06-03")
    slip = Slip.objects.create(
        installation=installation, subject="day", at=NOON, field="volume_l", found=30_000, suggested=3000,
        kind="slip_of_ten",
    )  # fmt: skip
    settle(slip=slip, how="as_suggested", by=nadia)
    record = DayRecord.objects.get()
    assert (record.volume_l, record.standing, record.noon_standing) == (3000, Standing.CORRECTED, Standing.GOOD)


def refused(code, **answer):
    with pytest.raises(Refused) as refusal:
        settle(**answer)
    assert refusal.value.code == code, refusal.value


@pytest.fixture
def pair(organisation):
    return an_exchange(an_installation(organisation), an_installation(organisation))


@pytest.mark.parametrize("clicked", [0, 1])
def test_one_click_exchanges_both_readings_and_settles_both_slips(pair, nadia, clicked):
    settle(slip=pair[clicked], how="as_suggested", by=nadia)
    for slip, total in zip(pair, (98_765, 412_345)):
        slip.refresh_from_db()
        assert (slip.state, slip.settled_by) == ("corrected", nadia)
        assert (slip.meter_reading.total_l, slip.meter_reading.standing) == (total, Standing.CORRECTED)
    assert Arrival.objects.count() == 2
    refused("already_settled", slip=pair[1 - clicked], how="as_suggested", by=nadia)


def test_an_exchange_is_refused_when_the_other_reading_was_settled_otherwise(pair, nadia):
    settle(slip=pair[1], how="keep", by=nadia)
    refused("other_settled", slip=pair[0], how="as_suggested", by=nadia)
    pair[0].meter_reading.refresh_from_db()
    assert (pair[0].meter_reading.total_l, pair[0].meter_reading.standing) == (412_345, Standing.IN_DOUBT)
    settle(slip=pair[0], how="aside", by=nadia)


def test_an_exchange_is_refused_when_its_other_half_is_gone_or_a_figure_has_changed(pair, nadia):
    MeterReading.objects.filter(pk=pair[1].meter_reading_id).update(total_l=5)
    refused("changed", slip=pair[0], how="as_suggested", by=nadia)
    Slip.objects.filter(pk=pair[1].pk).update(kind=Slip.Kind.IMPOSSIBLE)
    refused("other_gone", slip=pair[0], how="as_suggested", by=nadia)
    assert set(MeterReading.objects.values_list("total_l", flat=True)) == {412_345, 5}
    assert Slip.objects.waiting().count() == 2


def test_an_exchange_asks_for_the_right_to_settle_and_is_nothing_to_strangers(pair, idris, otto):
    refused("not_allowed", slip=pair[0], how="as_suggested", by=idris)
    refused("not_found", slip=pair[0], how="as_suggested", by=otto)


def test_a_meter_that_started_again_keeps_its_figure_and_the_round_is_remembered(organisation, nadia):
    installation = an_installation(organisation)
    slip = a_round(installation)
    settle(slip=slip, how="as_suggested", by=nadia)
    installation.refresh_from_db()
    reading = slip.meter_reading
    reading.refresh_from_db()
    assert installation.meter_rollover_l == 1_000_000
    assert (reading.total_l, reading.standing, reading.rolled_over) == (12_000, Standing.CORRECTED, True)
    assert Slip.objects.get().state == "corrected"
    assert Arrival.objects.get().first_day.isoformat() == "2024-06-10"


def test_the_round_settles_every_total_that_it_explains_and_no_other(organisation, nadia):
    installation = an_installation(organisation)
    slip = a_round(installation, totals=(960_000, 12_000, 40_000, 4_000, 900_000, 30_000))
    for reading in list(MeterReading.objects.order_by("at"))[2:]:
        if reading.total_l != 900_000:
            a_slip(reading, kind=Slip.Kind.BACKWARDS, suggested=None)
        else:
            MeterReading.objects.filter(pk=reading.pk).update(standing=Standing.GOOD)
    elsewhere = a_slip(a_meter_reading(an_installation(organisation), standing=1), kind=Slip.Kind.BACKWARDS)
    settle(slip=slip, how="as_suggested", by=nadia)
    states = [(r.total_l, r.standing, r.rolled_over) for r in MeterReading.objects.of(installation).order_by("at")]
    assert states == [
        (960_000, Standing.GOOD, False),
        (12_000, Standing.CORRECTED, True),
        (40_000, Standing.CORRECTED, False),  # goes on from there
        (4_000, Standing.IN_DOUBT, False),  # less, and far from the end of the round
        (900_000, Standing.GOOD, False),
        (30_000, Standing.CORRECTED, True),  # the next time round
    ]
    assert set(Slip.objects.waiting().values_list("found", flat=True)) == {4_000, elsewhere.found}


def test_a_round_that_cannot_be_is_refused(organisation, nadia, idris):
    installation = an_installation(organisation)
    slip = a_round(installation)
    refused("not_allowed", slip=slip, how="as_suggested", by=idris)
    Slip.objects.update(suggested=100_000)
    refused("round_too_small", slip=slip, how="as_suggested", by=nadia)
    Slip.objects.update(suggested=1_000_000)
    installation.meter_rollover_l = 10_000_000
    installation.save()
    refused("round_known", slip=slip, how="as_suggested", by=nadia)
    installation.meter_rollover_l = None
    installation.save()
    MeterReading.objects.filter(total_l=960_000).update(total_l=9_600)
    refused("not_less", slip=slip, how="as_suggested", by=nadia)
    installation.refresh_from_db()
    assert installation.meter_rollover_l is None
    assert Slip.objects.get().state == "open"


def test_a_total_kept_as_written_or_corrected_makes_no_round(organisation, nadia):
    installation = an_installation(organisation)
    slip = a_round(installation)
    settle(slip=slip, how="other", value=970_000, by=nadia)
    installation.refresh_from_db()
    assert installation.meter_rollover_l is None
    assert not MeterReading.objects.filter(rolled_over=True).exists()


WORDS = [  # kind, found, suggested, a piece of why, a piece of what one click does
    ("slip_of_ten", 1_506_370, 150_637, "with a nought less, 150,637", "The figure becomes 150,637"),
    ("slip_of_ten", 15_063, 150_630, "with a nought more, 150,630", "The figure becomes 150,630"),
    ("swapped_digits", 510_637, 150_637, "with two digits changed over, 150,637", "The figure becomes 150,637"),
    ("rollover", 12_345, 1_000_000, "starts again after 1,000,000", "remember that for this meter"),
    ("swapped_readings", 12_345, 98_765, "which stands for MATE-1", "Exchange with MATE-1’s 98,765"),
    ("wrong_serial", 12_345, 12_345, "it would fit MATE-1", "The figure goes to MATE-1"),
    ("impossible", 900_000, None, "no slip of the pen would explain it", ""),
]


@pytest.mark.parametrize(("kind", "found", "suggested", "why", "will"), WORDS)
def test_each_slip_says_what_was_due_what_stands_what_would_fit_and_what_one_click_does(
    organisation, kind, found, suggested, why, will
):
    other = None
    if "MATE-1" in why:
        other = an_installation(unit=a_unit(organisation, serial="MATE-1"))
    slip = a_slip(
        a_meter_reading(an_installation(organisation), total_l=found, standing=1), kind=kind, suggested=suggested,
        other=other, why="", facts={"due_l": 84_123.4, "days": 28.0},
    )  # fmt: skip
    said = slip.reason.replace("\u00a0", " ")
    assert said.startswith("About 84,000 L were due in the 28 days since the last good figure. ")
    assert f"{found:,} L" in said and why in said
    assert will in slip.will.replace("\u00a0", " ") and bool(slip.will) == bool(will)


def test_a_reading_before_the_one_that_waits_does_not_count_as_less(organisation, nadia):
    slip = a_round(an_installation(organisation))
    a_meter_reading(slip.installation, at=later(days=3), total_l=5_000)
    refused("not_less", slip=slip, how="as_suggested", by=nadia)
