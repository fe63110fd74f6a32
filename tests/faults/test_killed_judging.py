"""The night's judgement killed in the middle, called twice, or ten nights late: the same rows in the end."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fleet.output import services, tasks
from fleet.output.models import Baseline, Evaluation, Flag, Judgement, Shortfall, Snapshot
from tests.faults.conftest import FIRST
from tests.faults.places import halt, standing, until

pytestmark = pytest.mark.django_db(transaction=True)
LAST = FIRST + timedelta(days=59)
AFTER_THE_LAST = datetime(LAST.year, LAST.month, LAST.day, 12, tzinfo=UTC) + timedelta(days=1)


class Figures:
    """A stored state; its running sums may round differently where batches were cut differently."""

    def __init__(self, raw):
        self.head, self.values = bytes(raw)[:8], np.frombuffer(bytes(raw)[8:])

    def __eq__(self, other):
        return self.head == other.head and np.allclose(
            self.values, other.values, rtol=1e-9, atol=1e-12, equal_nan=True
        )

    __hash__ = None


def everything():
    """All that the nights left behind but keys and moments of writing."""
    return {
        "evaluations": list(
            Evaluation.objects.order_by("installation_id", "day").values_list(
                "installation_id", "day", "expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by", "span_days",
                "baseline_hash",
            )
        ),
        "judgements": [
            (pk, through, Figures(state), case, recent)
            for pk, through, state, case, recent in Judgement.objects.order_by("pk").values_list(
                "pk", "through", "state", "case", "recent_ratio"
            )
        ],
        "snapshots": [
            (pk, day, Figures(state), case)
            for pk, day, state, case in Snapshot.objects.order_by("installation_id", "day").values_list(
                "installation_id", "day", "state", "case"
            )
        ],
        "flags": list(Flag.objects.order_by("installation_id", "flagged_on").values_list("installation", "flagged_on")),
        "shortfalls": list(
            Shortfall.objects.order_by("installation_id").values_list(
                "installation", "state", "since", "flagged_on", "lost_l_day", "probability", "causes"
            )
        ),
    }  # fmt: skip


def as_before_the_first_night():
    for model in (Flag, Shortfall, Snapshot, Judgement, Evaluation):
        model.objects.all()._raw_delete("default") if model is Evaluation else model.objects.all().delete()


@pytest.fixture
def ids(few):
    return [unit.pk for unit in few]


@pytest.fixture
def undisturbed(ids):
    """What an undisturbed run leaves; the tables are as before it again."""
    services.judge(ids, LAST)
    left = everything()
    assert len(left["evaluations"]) == 240 and len(left["shortfalls"]) == 1
    as_before_the_first_night()
    return left


def judged():
    return Judgement.objects.filter(through=LAST, claimed_until=None).count() == 4


def test_killed_in_the_middle_and_found_by_the_sweep_it_ends_as_if_nothing_had_been(
    ids, undisturbed, by_broker, workers
):
    worker = workers()
    with halt("output_snapshot", f"NEW.day > DATE '{FIRST + timedelta(days=35)}'") as go_on:
        tasks.judge_batch.delay(ids, LAST.isoformat())
        until(standing, what="the worker is in the middle of the second stretch")
        worker.kill()
        go_on()
    # One stretch was kept, of the other nothing.
    assert set(Judgement.objects.values_list("through", flat=True)) == {FIRST + timedelta(days=27)}
    workers()
    assert services.sweep(AFTER_THE_LAST)["batches"] == 0, "the dead worker's claim still stands"
    claims = Judgement.objects.filter(claimed_until__isnull=False)
    claims.update(claimed_until=AFTER_THE_LAST - timedelta(minutes=1))  # it has run out
    assert services.sweep(AFTER_THE_LAST)["batches"] == 1
    until(judged, what="all are judged")
    assert everything() == undisturbed


def test_a_hand_of_the_worker_that_is_killed_gives_its_task_to_the_next(ids, undisturbed, by_broker, workers):
    worker = workers()
    with halt("output_snapshot", f"NEW.day > DATE '{FIRST + timedelta(days=35)}'") as go_on:
        tasks.judge_batch.delay(ids, LAST.isoformat())
        until(standing, what="the worker is in the middle of the second stretch")
        worker.kill_its_hand()
        go_on()
    until(judged, what="all are judged")
    assert "WorkerLostError" in worker.said() or "exited prematurely" in worker.said()
    assert everything() == undisturbed


def test_the_same_call_twice_at_once_and_again_later_changes_nothing(ids, undisturbed, by_broker, workers):
    worker = workers(concurrency=2)
    with halt("output_snapshot", on="INSERT"):
        tasks.judge_batch.delay(ids, LAST.isoformat())
        until(standing, what="one is at it")
        tasks.judge_batch.delay(ids, LAST.isoformat())
        until(lambda: worker.said().count("succeeded in") == 1, what="the second has come and gone")
        assert standing() == 1
    until(judged, what="all are judged")
    assert everything() == undisturbed
    tasks.judge_batch.delay(ids, LAST.isoformat())
    until(lambda: worker.said().count("succeeded in") == 3, what="the third has ended")
    assert everything() == undisturbed


def test_ten_nights_missed_leave_the_same_rows_as_ten_nights_kept(ids):
    def nights(first, last):
        for day in range(first, last + 1):
            tasks.judge_batch(ids, (FIRST + timedelta(days=day)).isoformat())

    nights(0, 39)
    kept = everything()
    as_before_the_first_night()
    nights(0, 29)
    tasks.judge_batch(ids, (FIRST + timedelta(days=39)).isoformat())  # the machine was off for ten nights
    late = everything()
    assert {name: late[name] for name in ("evaluations", "flags", "shortfalls", "judgements")} == {
        name: kept[name] for name in ("evaluations", "flags", "shortfalls", "judgements")
    }


def test_calls_for_baselines_that_the_broker_lost_are_given_out_again(ids, by_broker):
    Baseline.objects.all().delete()
    by_broker.kill()
    assert services.sweep()["baselines"] == 4
    by_broker.start()
    services.baselines(ids)  # as if a worker had made them meanwhile
    now = datetime.now(UTC) + timedelta(minutes=10)
    assert services.sweep(now)["baselines"] == 4, "nobody heard the first call, so it is not taken for made"
    assert services.sweep(now + timedelta(days=1))["baselines"] == 4, "each day all are looked at once more"
