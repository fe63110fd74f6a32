"""Night by night, in one go, or twice over: the rows that judging leaves are the same, whatever the units report by."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.core.management import call_command
from django.db import connection

from fleet.output import services
from fleet.output.models import Baseline, Evaluation, Flag, Judgement, Shortfall, Snapshot
from fleet.readings import arrivals
from fleet.readings.models import MeterReading, Slip, Standing
from fleet.readings.services import keep_meter_readings, settle, take_back
from fleet.registry.models import Installation, Tank
from tests.makers.registry import a_module_type, a_pump_type, a_site, a_unit, a_well, an_installation
from tests.output.test_judge import FIRST, keep, sound_days

pytestmark = pytest.mark.django_db
DAYS = 36
EVALUATED = (
    "installation_id", "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by", "baseline_hash",
    "span_days", "observation",
)  # fmt: skip
SHORT = (
    "installation_id", "state", "ending", "flagged_on", "since", "since_low", "since_high", "lost_l_day",
    "lost_fraction", "probability", "causes", "checks", "parts", "danger", "weight", "closed_on",
)  # fmt: skip


@pytest.fixture
def mixed(organisation):
    """Three loggers with a cell, three that report days (one with a float switch, one hung late), one meter."""
    kind, module = a_pump_type(organisation), a_module_type(organisation)
    made = []
    for n, level in enumerate(["logger"] * 3 + ["daily"] * 3 + ["meter"]):
        well = a_well(a_site(organisation, latitude_deg=3.1 + n * 0.01, longitude_deg=35.6))
        made.append(
            an_installation(unit=a_unit(organisation, pump_type=kind), well=well, module_type=module,
                            instrument_level=level)
        )  # fmt: skip
    Tank.objects.exclude(well=made[4].well).update(float_switch=False)
    when, sun, litres = sound_days(made, DAYS)
    sun[3:] = np.nan
    litres[1, 12:] *= 0.5  # half its water gone
    litres[3, 8:20] = 0  # stands still, and runs again
    litres[0, 18] *= 10  # a slip of ten
    litres[5, :9] = np.nan  # hung there later
    keep(made[:5], when, sun[:5], litres[:5])
    keep(made[5:6], when[9:], sun[5:6, 9:], litres[5:6, 9:])
    read = np.arange(0, DAYS, 7)
    noon = [int(datetime(d.year, d.month, d.day, 9, tzinfo=UTC).timestamp()) for d in when[read].tolist()]
    keep_meter_readings(
        installations=np.full(len(read), made[6].pk), epoch_s=np.array(noon), days=when[read],
        totals=1000 + np.cumsum(litres[6])[read], hour_known=np.ones(len(read), dtype=bool),
    )  # fmt: skip
    return made


def left():
    """All that judging leaves, as plain values; running sums by themselves, for they may round differently."""
    rows = {
        "evaluations": [
            tuple(bytes(v) if isinstance(v, memoryview) else v for v in row)
            for row in Evaluation.objects.order_by("installation_id", "day").values_list(*EVALUATED)
        ],
        "shortfalls": list(Shortfall.objects.order_by("installation_id", "flagged_on").values_list(*SHORT)),
        "flags": list(Flag.objects.order_by("installation_id", "flagged_on").values_list("installation_id",
                                                                                         "flagged_on", "causes")),
        "slips": list(Slip.objects.order_by("installation_id", "at").values_list("installation_id", "at", "kind",
                                                                                 "found", "suggested")),
        "judged": list(Judgement.objects.order_by("pk").values_list("pk", "through", "case", "trouble", "sound_since")),
    }  # fmt: skip
    states = [(pk, bytes(state)) for pk, state in Judgement.objects.order_by("pk").values_list("pk", "state")]
    snapshots = [
        ((pk, day), bytes(state))
        for pk, day, state in Snapshot.objects.order_by("installation_id", "day").values_list(
            "installation_id", "day", "state"
        )
    ]
    return rows, states + snapshots


def forget():
    for model in (Flag, Shortfall, Snapshot, Slip, Judgement):
        model.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM output_evaluation")


def assert_same(one, other):
    for name, rows in one[0].items():
        assert rows == other[0][name], name
    states, again = dict(one[1]), dict(other[1])
    both = states.keys() & again.keys()  # the night thirty days back is remembered besides the weekly ones
    assert {key for key in both if isinstance(key, int)} == set(Judgement.objects.values_list("pk", flat=True))
    assert len(both) > 4 * Judgement.objects.count()
    for key in sorted(both, key=str):
        assert states[key][:8] == again[key][:8]
        numbers, others = (np.frombuffer(state[8:]) for state in (states[key], again[key]))
        np.testing.assert_allclose(numbers, others, rtol=1e-9, err_msg=str(key))


def test_judging_night_by_night_leaves_the_rows_of_judging_in_one_go(mixed):
    through = (FIRST + timedelta(days=DAYS - 1)).isoformat()
    call_command("judge", "--through", through, "--day-by-day", verbosity=0)
    nights = left()
    assert nights[0]["flags"] and nights[0]["slips"]  # else there is nothing to compare
    assert {row[7] for row in nights[0]["evaluations"]} >= {"own", "fleet"}
    assert {row[9] for row in nights[0]["evaluations"]} >= {1, 7}
    call_command("judge", "--through", through, verbosity=0)
    assert_same(nights, left())
    forget()
    call_command("judge", "--through", through, verbosity=0)
    assert_same(nights, left())
    call_command("judge", "--through", through, "--anew", verbosity=0)
    again = left()
    assert again[0]["evaluations"] == nights[0]["evaluations"]


def test_a_fleet_of_which_some_were_judged_further_than_others_ends_the_same(mixed):
    ids, last = [one.pk for one in mixed], FIRST + timedelta(days=DAYS - 1)
    services.judge(ids, last)
    once = left()
    forget()
    services.judge(ids, FIRST + timedelta(days=14))
    services.judge(ids, last, stretch=5)
    assert_same(once, left())


def test_what_a_healthy_unit_is_built_of_is_not_read_again_each_night(mixed, monkeypatch):
    from fleet.output.services.nightly import cohort

    ids = [one.pk for one in mixed]
    services.judge(ids, FIRST + timedelta(days=5))
    read = []
    monkeypatch.setattr(cohort, "read_fleet", lambda ids, year: read.append(list(ids)))
    services.judge([pk for pk in ids if pk not in (mixed[1].pk, mixed[6].pk)], FIRST + timedelta(days=6))
    assert read == []


def test_a_unit_whose_build_was_corrected_is_judged_by_a_new_table(mixed):
    ids, one = [row.pk for row in mixed], mixed[0]
    services.judge(ids, FIRST + timedelta(days=5))
    before = bytes(Baseline.objects.get(pk=one.pk).table)
    Installation.objects.filter(pk=one.pk).update(strings=2)
    services.baselines(ids, year=FIRST.year)
    assert Baseline.objects.get(pk=one.pk).table is None
    assert bytes(Baseline.objects.get(pk=mixed[2].pk).table)
    services.judge(ids, FIRST + timedelta(days=6))
    assert bytes(Baseline.objects.get(pk=one.pk).table) != before


def test_a_figure_that_was_set_aside_leaves_no_trace_in_what_was_judged(mixed):
    ids, last, meter = [one.pk for one in mixed], FIRST + timedelta(days=DAYS - 1), mixed[6]
    readings = list(MeterReading.objects.filter(installation=meter).order_by("at"))
    MeterReading.objects.filter(pk=readings[3].pk).update(total_l=readings[3].total_l - 3000)
    MeterReading.objects.filter(pk=readings[-1].pk).update(total_l=readings[-1].total_l - 2000)
    services.judge(ids, last)
    false = Evaluation.objects.filter(installation=meter, observation__isnull=False).count()
    for reading in (readings[-1], readings[3]):
        MeterReading.objects.filter(pk=reading.pk).update(standing=Standing.SET_ASIDE)
        arrivals.note_day(meter.pk, (reading.at + timedelta(hours=3)).date())
    services.judge(ids, last)
    assert Evaluation.objects.filter(installation=meter, observation__isnull=False).count() == false - 2
    rows = Evaluation.objects.filter(installation=meter).order_by("day")
    after = list(rows.values_list("day", "span_days", "measured_l"))
    forget()
    services.judge(ids, last)
    assert after == list(rows.all().values_list("day", "span_days", "measured_l"))


@pytest.mark.parametrize("how", ["as_suggested", "keep"])
def test_a_settling_taken_back_leaves_what_the_nights_had_left_before_it(mixed, nadia, how):
    some, last = [one.pk for one in mixed], FIRST + timedelta(days=DAYS - 1)
    services.judge(some, last)
    before = left()
    slip = Slip.objects.get(installation=mixed[0], subject="day")
    settle(slip=slip, how=how, by=nadia)
    services.judge(some, last)
    assert _measured(left()) != _measured(before)
    slip.refresh_from_db()
    take_back(decision=slip.decision, by=nadia)
    services.judge(some, last)
    after = left()
    assert _measured(after) == _measured(before)
    for name in ("shortfalls", "slips", "flags"):
        assert [row[:4] for row in after[0][name]] == [row[:4] for row in before[0][name]], name
    due = [np.array([row[2] for row in one[0]["evaluations"]], float) for one in (before, after)]
    # The unit alone goes back, under the sky that its neighbours told: near to, not just as in the nights of all.
    np.testing.assert_allclose(due[1], due[0], rtol=0.02, equal_nan=True)
    slip.refresh_from_db()
    assert slip.state == Slip.State.OPEN


def _measured(nights):
    return [(row[0], row[1], row[5]) for row in nights[0]["evaluations"]]
