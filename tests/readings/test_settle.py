"""Figures in doubt are settled by a person."""

import pytest

from fleet.readings.models import Arrival, DayRecord, MeterReading, Slip, Standing
from fleet.readings.services import settle
from fleet.web.refusals import Refused
from tests.makers.readings import NOON, a_meter_reading, a_slip, days_of
from tests.makers.registry import an_installation

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
