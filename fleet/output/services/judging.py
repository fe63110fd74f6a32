"""The nightly judgement: which installations are due, in which batches, and one batch judged up to a day.

A batch may be judged twice, by two workers, after a kill in the middle, or many days late: each stretch of days is one
transaction that starts from what the rows say and ends by moving `through` on.
"""

import logging
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from fleet.output.models import Judgement, Shortfall, Snapshot
from fleet.output.services.baselines import baselines
from fleet.output.services.learning import taught_rates
from fleet.output.services.nightly import cases as cases_of
from fleet.output.services.nightly import cohort as cohorts
from fleet.output.services.nightly import run, shortfalls, store
from fleet.output.services.nightly.load import as_date, as_number
from fleet.output.services.nightly.packing import pack_states, unpack_states
from fleet.output.services.spot_slips import look_at_tests
from fleet.readings import staging
from fleet.readings.models import Arrival
from fleet.readings.zones import yesterday
from fleet.registry.models import Installation

log = logging.getLogger(__name__)

STRETCH = 28  # days that one transaction covers at most
BATCH = 1600  # installations at most; neighbours stand in one batch, because they tell each other the weather
CLAIM = timedelta(minutes=20)
SNAPSHOT_EVERY = 7


@dataclass
class Judged:
    """What a call did."""

    installations: int = 0
    days: int = 0
    asked: int = 0
    in_trouble: int = 0

    def __add__(self, other):
        return Judged(
            self.installations + other.installations, self.days + other.days, self.asked + other.asked,
            self.in_trouble + other.in_trouble,
        )  # fmt: skip


def judge(installation_ids, through, *, stretch=STRETCH, progress=None):
    """Judge these installations up to the local day `through`, from where each stands. Returns `Judged`.

    Neighbours should be in one call. Days after `through` that were judged before are left as they are.
    """
    ids = np.array(sorted({int(i) for i in installation_ids}), dtype=np.int64)
    done = Judged()
    if not len(ids):
        return done
    _bring_baselines(ids, through.year)
    cohort, trouble = cohorts.load(ids, through.year)
    _keep_trouble(trouble, through)
    done.in_trouble = len(trouble)
    if cohort is None:
        return done
    cohort.rates = taught_rates(cohort)
    look_at_tests(cohort.ids)
    _go_back(cohort)
    last = as_number(through)
    done.installations = len(cohort)
    while True:
        days, asked, finished = _one_stretch(cohort, last, stretch)
        done.days += days
        done.asked += asked
        if progress:
            progress(done.days)
        if finished:
            return done


def _bring_baselines(ids, year):
    """Only those that have none: what changed is brought up to date by the sweep."""
    missing = [row[0] for row in staging.fetch_rows(
        "SELECT id FROM unnest(%s::bigint[]) id WHERE NOT EXISTS "
        "(SELECT 1 FROM output_baseline b WHERE b.installation_id = id)", [ids.tolist()])]  # fmt: skip
    if missing:
        baselines(missing, year=year)


@transaction.atomic
def _keep_trouble(trouble, through):
    if trouble:
        Judgement.objects.bulk_create(
            [Judgement(installation_id=pk, through=through, trouble=why[:300]) for pk, why in trouble.items()],
            update_conflicts=True, unique_fields=["installation"], update_fields=["through", "trouble"],
        )  # fmt: skip


def _may_be_done_again():
    """This transaction is not waited for on the disk: after a power cut the last of the night's work, in whole
    transactions, is found not done and done again. What people and their telephones send never goes this way."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = off")


@transaction.atomic
def _go_back(cohort):
    """Readings that came late, or were settled, send their installation back to the day before them."""
    _may_be_done_again()
    ids = cohort.ids.tolist()
    late = Arrival.objects.select_for_update().filter(pk__in=staging.among(ids)).order_by("pk")
    arrived = dict(late.values_list("pk", "first_day"))
    if not arrived:
        return
    behind = {
        j.pk: j for j in Judgement.objects.select_for_update().filter(pk__in=list(arrived), through__isnull=False)
        if j.through >= arrived[j.pk]
    }  # fmt: skip
    for pk, judgement in behind.items():
        snapshot = Snapshot.objects.filter(installation_id=pk, day__lt=arrived[pk]).order_by("-day").first()
        judgement.through = snapshot.day if snapshot else None
        judgement.state = snapshot.state if snapshot else None
        judgement.case = snapshot.case if snapshot else {}
        if judgement.sound_since and (not snapshot or judgement.sound_since > snapshot.day):
            judgement.sound_since = None
    Judgement.objects.bulk_update(behind.values(), ["through", "state", "case", "sound_since"], batch_size=500)
    if behind:
        through = [j.through or date.min for j in behind.values()]
        with connection.cursor() as cursor:
            cursor.execute(FORGET, [list(behind), through])
    Arrival.objects.filter(pk__in=list(arrived)).delete()


# What was said of readings after the day that is gone back to; a period's days from before it count with the period.
FORGET = """
    DELETE FROM output_evaluation e USING unnest(%s::bigint[], %s::date[]) AS b (id, through)
    WHERE e.installation_id = b.id AND e.day > coalesce((
        SELECT max(o.day) FROM output_evaluation o
        WHERE o.installation_id = b.id AND o.day <= b.through AND o.observation IS NOT NULL), b.through)
"""


@transaction.atomic
def _one_stretch(cohort, last, stretch):
    """Some days of all that are behind: (unit-days judged, how often causes were asked about, whether all is done)."""
    _may_be_done_again()
    rows = {pk: row for pk, *row in staging.fetch_rows(STANDING, [cohort.ids.tolist()])}
    standing = [rows.get(pk, NOT_JUDGED) for pk in cohort.ids.tolist()]
    stored, good = unpack_states([s[1] for s in standing])
    through = np.array([s[0] if ok else -1 for s, ok in zip(standing, good.tolist())], dtype=np.int64)
    new = np.flatnonzero(~good | (through < 0))
    cohort.know_first(new)
    through[new] = np.where(cohort.first[new] >= 0, cohort.first[new] - 1, last)
    if stored is not None and good.all():
        state = stored
    else:
        state = _state_of_all(cohort, np.flatnonzero(~good), np.flatnonzero(good), stored)
    behind = through < np.minimum(last, cohort.last)
    if not behind.any():
        _store_nothing_new(cohort, rows, last)
        return 0, 0, True
    first = int(through[behind].min()) + 1
    end = min(first + stretch - 1, last)
    cases = {n: cases_of.revived(s[2]) for n, s in enumerate(standing) if s[2] and good[n]}
    recent, cohort.sound_from = (np.array([s[n] for s in standing], dtype=kind) for n, kind in ((3, float), (4, int)))
    made = run.nights(
        cohort, state, cases, through, recent, first, end, shortfalls.ended(cohort, first, end),
        lambda day: day % SNAPSHOT_EVERY == 0 or day == last - 30,
    )
    store.evaluations(cohort, made)
    after = np.maximum(through, end)
    store.judgements(cohort, made, after)
    shortfalls.doubt(cohort, made)
    shortfalls.keep(cohort, made.events)
    if end >= last:
        shortfalls.withdraw(cohort, made.cases, last)
    days = int(np.clip(end - np.maximum(through, first - 1), 0, None).sum())
    return days, made.asked, end >= last


# Days as numbers since 1970-01-01; locked, so that another worker waits and then finds nothing left to do.
STANDING = """
    SELECT installation_id, coalesce(through - DATE '1970-01-01', -1), state, NULLIF("case", '{}'),
           coalesce(recent_ratio, 'NaN'), coalesce(sound_since - DATE '1970-01-01', -1)
    FROM output_judgement WHERE installation_id = ANY(%s) ORDER BY installation_id FOR UPDATE
"""
NOT_JUDGED = (-1, None, None, float("nan"), -1)


def _state_of_all(cohort, new, known, stored):
    """The State of all: that of `known` as stored, that of `new` as on the night before their first reading."""
    fresh = run.fresh_state(cohort, new)
    if stored is None:
        return fresh
    return fresh.take(np.zeros(len(cohort), dtype=int)).put(new, fresh).put(known, stored)


def _store_nothing_new(cohort, rows, last):
    """Installations without a reading yet are not looked at again before the next day."""
    day = as_date(last)
    waiting = [
        Judgement(installation_id=int(pk), through=day)
        for pk, first in zip(cohort.ids.tolist(), cohort.first.tolist())
        if first == -1 and rows.get(pk, NOT_JUDGED)[0] < last
    ]
    Judgement.objects.bulk_create(
        waiting, update_conflicts=True, unique_fields=["installation"], update_fields=["through"]
    )


# -- what is due --------------------------------------------------------------------------------------------------


def batches(installations):
    """Ids cut into batches of neighbours: halves of halves by the longer side, [(ids, zones)] for `due`.

    `installations`: tuples (id, latitude, longitude, …). The same places give the same batches.
    """
    places = np.array([(row[1], row[2]) for row in installations], dtype=float).reshape(-1, 2)
    ids = np.array([row[0] for row in installations], dtype=np.int64)
    waiting, cut = [np.arange(len(ids))], []
    while waiting:
        part = waiting.pop()
        if len(part) <= BATCH:
            if len(part):
                cut.append(sorted(ids[part].tolist()))
            continue
        width = np.ptp(places[part], axis=0) * (1.0, np.cos(np.radians(places[part, 0].mean())))
        order = part[np.lexsort((ids[part], places[part, int(np.argmax(width))]))]
        waiting += [order[: len(order) // 2], order[len(order) // 2 :]]
    return sorted(cut)


def due(now=None):
    """[(ids, day)]: batches where some installation's local yesterday, or something that came late, is not judged."""
    now = now or timezone.now()
    found = []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT i.organisation_id, i.id, s.latitude_deg, s.longitude_deg, s.zone, j.through, a.first_day, "
            "j.claimed_until FROM registry_installation i JOIN registry_well w ON w.id = i.well_id "
            "JOIN registry_site s ON s.id = w.site_id LEFT JOIN output_judgement j ON j.installation_id = i.id "
            "LEFT JOIN readings_arrival a ON a.installation_id = i.id "
            "WHERE upper_inf(i.period) OR j.through IS NULL OR a.first_day IS NOT NULL "
            "ORDER BY i.organisation_id, i.id"
        )
        rows = cursor.fetchall()
    ends = {zone: yesterday(zone, now) for zone in {row[4] for row in rows}}
    by_organisation = {}
    for organisation, *row in rows:
        by_organisation.setdefault(organisation, []).append(row)
    for installations in by_organisation.values():
        known = {row[0]: row for row in installations}
        for ids in batches(installations):
            some = [known[pk] for pk in ids]
            day = min(ends[row[3]] for row in some)
            behind = any(row[4] is None or row[4] < day or (row[5] is not None and row[5] <= row[4]) for row in some)
            claimed = any(row[6] is not None and row[6] > now for row in some)
            if behind and not claimed:
                found.append((ids, day))
    return found


def claim(ids, now=None):
    """Say that a worker is at it; False where another is."""
    now = now or timezone.now()
    if Judgement.objects.filter(pk__in=staging.among(ids), claimed_until__gt=now).exists():
        return False  # at once: the insert below would wait for that worker's open transaction
    first = min(ids)  # stands for its batch: one row written, not a thousand
    with transaction.atomic():
        _may_be_done_again()
        Judgement.objects.bulk_create([Judgement(installation_id=first)], ignore_conflicts=True)
        free = Judgement.objects.filter(pk__in=staging.among(ids))
        if free.filter(claimed_until__gt=now).exists():
            return False
        # Of two that come at the same moment the second waits here for the first, and then finds it taken.
        return free.filter(pk=first).exclude(claimed_until__gt=now).update(claimed_until=now + CLAIM) == 1


@transaction.atomic
def release(ids):
    _may_be_done_again()
    Judgement.objects.filter(pk=min(ids)).update(claimed_until=None)


def judge_again(*, installations):
    """Everything judged of these is worked out anew from their first reading: after a change of what they are."""
    ids = [int(i) for i in installations]
    with transaction.atomic():
        Snapshot.objects.filter(installation_id__in=ids).delete()
        Judgement.objects.filter(pk__in=ids).update(through=None, state=None, case={})


def judge_through(*, organisation, through, say=None, day_by_day=False):
    """All installations of an organisation up to a day. Returns `Judged`.

    `day_by_day`: each day in a transaction of its own, as the nights would have done; the answer is the same.
    """
    places = list(
        Installation.objects.filter(organisation=organisation)
        .order_by("id")
        .values_list("id", "well__site__latitude_deg", "well__site__longitude_deg")
    )
    done = Judged()
    for ids in batches(places):
        done += judge(ids, through, stretch=1 if day_by_day else STRETCH)
        if say:
            say(f"judged {done.installations} of {len(places)} installations through {through}")
    return done


def all_ids(organisation=None):
    """Every installation of an organisation, or of all."""
    found = Installation.objects.all()
    if organisation is not None:
        found = found.filter(organisation=organisation)
    return list(found.order_by("id").values_list("id", flat=True))


def end_shortfall(*, shortfall, ending, words="", on=None):
    """A visit ended it: the case is taken down with it, and the evidence starts anew from that day."""
    with transaction.atomic():
        row = Shortfall.objects.select_for_update().get(pk=shortfall.pk)
        if row.state == Shortfall.State.CLOSED:
            return row
        row.state, row.ending, row.explained = Shortfall.State.CLOSED, ending, words[:300]
        row.closed_on = on or timezone.now().date()
        row.save()
        judgement = Judgement.objects.select_for_update().filter(pk=row.installation_id).first()
        if judgement is not None:
            state, good = unpack_states([judgement.state])
            if good.any():
                calm = state.with_(suspect=np.zeros(1), evidence=np.zeros_like(state.evidence))
                judgement.state = pack_states(calm)[0]
            judgement.case, judgement.sound_since = {}, row.closed_on
            judgement.save(update_fields=["state", "case", "sound_since"])
    return row
