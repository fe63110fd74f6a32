"""What the nights put forward, as rows that people see: shortfalls, their flags, figures in doubt."""

from datetime import timedelta

import numpy as np
from django.db.models import F

from fleet.output import advice
from fleet.output.models import Flag, Shortfall
from fleet.output.services.nightly.cohort import zones_of
from fleet.output.services.nightly.load import as_date, as_number
from fleet.readings import staging
from fleet.readings.models import DayRecord, MeterReading, Slip, Standing
from fleet.readings.querysets import ONE_ROUND
from fleet.readings.zones import moments
from sizing.judge import mistakes

SOON_DAYS = 14  # a case that came down sooner was never more than a suspicion


def keep(cohort, events):
    """Raise, raise again, update and close. What a person ended stays ended until it is put forward anew."""
    units = sorted({unit for unit, _word in events.log} | set(events.standing))
    if not units:
        return
    people = cohort.facts["people_served"]
    alive = {
        s.installation_id: s
        for s in Shortfall.objects.alive().filter(installation_id__in=[int(cohort.ids[u]) for u in units])
    }
    past = _past([int(cohort.ids[u]) for u, word in events.log if isinstance(word, dict)])
    for unit, word in events.log:
        pk = int(cohort.ids[unit])
        if isinstance(word, dict):
            day = as_date(word["day"])
            if pk not in alive and any(_ended_by_people(s) and s.since <= day <= s.closed_on for s in past.get(pk, ())):
                continue
            shortfall = alive.get(pk) or _again(past.get(pk, ()), day) or Shortfall(installation_id=pk, flagged_on=day)
            _write(shortfall, word, int(people[unit]))
            shortfall.save()
            alive[pk] = shortfall
            Flag.objects.update_or_create(
                installation_id=pk, flagged_on=as_date(word["day"]),
                defaults={"shortfall": shortfall, "causes": word["causes"], "lost_fraction": 1 - word["kept"]},
            )  # fmt: skip
        elif pk in alive:
            day, last = word
            if last is not None:  # what was said of it in the nights before it came down
                _write(alive[pk], last, int(people[unit]))
            _close(alive.pop(pk), as_date(day))
    for unit, word in events.standing.items():
        shortfall = alive.get(int(cohort.ids[unit]))
        if shortfall is not None and shortfall.state != Shortfall.State.CLOSED:
            _write(shortfall, word, int(people[unit]))
            shortfall.save()


def _past(ids):
    """Closed shortfalls of these installations: nights that are judged anew come by them once more."""
    found = {}
    for shortfall in Shortfall.objects.filter(installation_id__in=ids, state=Shortfall.State.CLOSED).order_by("pk"):
        found.setdefault(shortfall.installation_id, []).append(shortfall)
    return found


def _ended_by_people(shortfall):
    return shortfall.ending in (Shortfall.Ending.REPAIRED, Shortfall.Ending.EXPLAINED)


def _again(past, day):
    """The one that was raised on this very day before, open again; None where there is none."""
    for shortfall in past:
        if shortfall.flagged_on == day and not _ended_by_people(shortfall):
            shortfall.ending, shortfall.closed_on = Shortfall.Ending.NONE, None
            return shortfall
    return None


def ended(cohort, first, last):
    """{day number: units} whose shortfall people ended on these days: repaired, or explained."""
    rows = Shortfall.objects.filter(
        installation_id__in=staging.among(cohort.ids), state=Shortfall.State.CLOSED,
        ending__in=(Shortfall.Ending.REPAIRED, Shortfall.Ending.EXPLAINED),
        closed_on__range=(as_date(first), as_date(last)),
    )  # fmt: skip
    found = {}
    for pk, day in rows.values_list("installation_id", "closed_on"):
        found.setdefault(as_number(day), set()).add(int(np.searchsorted(cohort.ids, pk)))
    return found


def withdraw(cohort, cases, last):
    """Close what stands open without a case: it was raised by a figure that has been corrected or set aside since, and
    the nights judged anew put nothing forward."""
    without = [pk for unit, pk in enumerate(cohort.ids.tolist()) if unit not in cases]
    judged = Shortfall.objects.alive().filter(
        installation_id__in=staging.among(without), flagged_on__lte=as_date(last),
        installation__judgement__case={}, installation__judgement__through__gte=F("flagged_on"),
    )  # fmt: skip
    for shortfall in judged.select_for_update(of=("self",)):
        shortfall.state, shortfall.ending = Shortfall.State.CLOSED, Shortfall.Ending.WITHDRAWN
        shortfall.closed_on = as_date(last)
        shortfall.save()


def _write(shortfall, word, people):
    causes = word["causes"]
    middle, low, high = (
        (*word["onset"], *word["onset"], *word["onset"])[:3] if len(word["onset"]) < 3 else word["onset"]
    )
    shortfall.state = Shortfall.State.OPEN if word["is_fault"] else Shortfall.State.NOTED
    # What raised the flag was there by then, however the newer readings date it.
    days = [min(as_date(day), shortfall.flagged_on) for day in (middle, low, high)]
    shortfall.since, shortfall.since_low, shortfall.since_high = days
    lost = word["lost"] if len(word["lost"]) >= 3 else [word["lost"][0]] * 3
    shortfall.lost_l_day, shortfall.lost_low_l_day, shortfall.lost_high_l_day = lost[:3]
    shortfall.lost_fraction = round(1 - word["kept"], 4)
    shortfall.probability = min(max(word["probability"], 0.0), 1.0)
    shortfall.causes = causes
    shortfall.evidence = {
        "misread": word.get("misread", 0.0), "tests": word.get("tests", []), "season": word.get("season", 1.0),
        "came": word.get("came"),
    }  # fmt: skip
    shortfall.checks = word.get("checks") or advice.checks(causes)
    shortfall.parts = advice.parts(causes)
    shortfall.danger = advice.danger(causes)
    shortfall.people_served = people
    shortfall.weight = shortfall.danger * 1e9 + shortfall.lost_l_day * max(people, 1)


def _close(shortfall, day):
    soon = day - shortfall.flagged_on < timedelta(days=SOON_DAYS)
    shortfall.state = Shortfall.State.CLOSED
    shortfall.ending = Shortfall.Ending.WITHDRAWN if soon else Shortfall.Ending.RECOVERED
    shortfall.closed_on = day
    shortfall.save()


KINDS = {
    "slip_of_ten": Slip.Kind.SLIP_OF_TEN,
    "digits_swapped": Slip.Kind.SWAPPED_DIGITS,
    "readings_swapped": Slip.Kind.SWAPPED_READINGS,
    "wrong_serial": Slip.Kind.WRONG_SERIAL,
    "duplicate": Slip.Kind.DUPLICATE,
    "impossible": Slip.Kind.IMPOSSIBLE,
    "rollover": Slip.Kind.ROLLOVER,
    "wrong_unit": Slip.Kind.WRONG_UNIT,
}
WITH_ANOTHER = (Slip.Kind.SWAPPED_READINGS, Slip.Kind.WRONG_SERIAL)


def doubt(cohort, stretch):
    """Mark the figures in doubt, with what would fit; a person settles them. What was settled is not asked again."""
    slips, doubted_days, doubted_totals = [], [], []
    found = [rows["unit"][rows["mistake"] > 0] for _day, rows, _totals, _facts in stretch.rows]
    zones = zones_of(cohort.ids[np.unique(np.concatenate(found))]) if any(map(len, found)) else {}
    for day, rows, totals, facts in stretch.rows:
        wrong = np.flatnonzero((rows["mistake"] > 0) & (rows["mistake"] < len(mistakes.NAMES)))
        for n in wrong.tolist():
            row = rows[n]
            unit = int(row["unit"])
            pk = int(cohort.ids[unit])
            place = _place_of_total(rows, n, totals)
            if place is not None:
                if facts["standing"][place] == Standing.CORRECTED or mistakes.NAMES[row["mistake"]] == "duplicate":
                    continue
                reading = int(facts["reading"][place])
                doubted_totals.append(reading)
                slip = _slip(cohort, row, float(totals.total_l[place]))
                slip.subject, slip.meter_reading_id, slip.field = Slip.Subject.METER, reading, "total_l"
                if row["since"] > 0:
                    slip.facts["days"] = round(float(row["since"]), 1)
            else:
                doubted_days.append((pk, as_date(day)))
                at = moments([np.datetime64(as_date(day))], [43200], [0], [zones[pk]])[0]
                slip = _slip(cohort, row, float(row["measured_l"]) if np.isfinite(row["measured_l"]) else None)
                slip.subject, slip.field, slip.at = Slip.Subject.DAY, "volume_l", _moment(at)
            slips.append(slip)
    _store(slips, doubted_days, doubted_totals)


def _place_of_total(rows, n, totals):
    """Place in `totals` of the figure that the n-th row is about, None where it is a day's volume: a night tells of a
    unit's totals in their order first."""
    if totals is None:
        return None
    unit = rows["unit"][n]
    places = np.flatnonzero(totals.unit == unit)
    turn = int((rows["unit"][:n] == unit).sum())
    return int(places[turn]) if turn < len(places) else None


def _slip(cohort, row, found):
    """A row in doubt as a slip that does not know yet which reading it is about."""
    unit, other = int(row["unit"]), int(row["other"])
    kind = KINDS.get(mistakes.NAMES[row["mistake"]], Slip.Kind.IMPOSSIBLE)
    meant = float(row["meant"]) if np.isfinite(row["meant"]) else None
    if kind in WITH_ANOTHER:
        owner = cohort.facts["organisation_id"]
        unknown = kind == Slip.Kind.SWAPPED_READINGS and meant is None
        if other < 0 or unknown or owner[other] != owner[unit]:  # nobody is shown, or settles, what belongs to others
            kind, other, meant = Slip.Kind.IMPOSSIBLE, -1, None
        elif kind == Slip.Kind.WRONG_SERIAL:
            meant = found
    due = float(row["expected_l"])
    return Slip(
        installation_id=int(cohort.ids[unit]), other_id=int(cohort.ids[other]) if other >= 0 else None,
        found=found, suggested=meant, kind=kind, facts={"due_l": round(due, 1)} if np.isfinite(due) else {},
    )  # fmt: skip


def _moment(epoch):
    from datetime import UTC, datetime

    return datetime.fromtimestamp(int(epoch), UTC)


def _other_halves(slips):
    """What is missing of exchanges whose halves were not judged in the same night: those that stand in `slips` are made
    halves, those that do not are returned. An exchange with what a person settled is none."""
    mine = {(s.installation_id, s.at): s for s in slips if s.subject == Slip.Subject.METER}
    halves = [s for s in mine.values() if s.kind == Slip.Kind.SWAPPED_READINGS]
    waiting = Slip.objects.waiting().filter(
        kind=Slip.Kind.SWAPPED_READINGS, subject=Slip.Subject.METER, other_id__in={pk for pk, _at in mine}
    )
    halves += [s for s in waiting if (s.installation_id, s.at) not in mine]
    more = []
    near = _readings_near(halves)
    for half in sorted(halves, key=lambda s: (s.at, s.installation_id)):
        judged_now = (half.installation_id, half.at) in mine
        reading = next(iter(near(half)), None)
        other = mine.get((reading.installation_id, reading.at)) if reading else None
        taken = other is not None and other.other_id not in (None, half.installation_id)
        if reading is None or taken:
            if judged_now:
                half.kind, half.other_id, half.suggested = Slip.Kind.IMPOSSIBLE, None, None
            continue
        if other is None and not judged_now:
            continue
        if other is None:
            before = Slip.objects.filter(meter_reading=reading, field="total_l").first()
            other = Slip(
                installation_id=reading.installation_id, subject=Slip.Subject.METER, meter_reading_id=reading.pk,
                at=reading.at, field="total_l", found=reading.total_l, facts=before.facts if before else {},
            )  # fmt: skip
            mine[reading.installation_id, reading.at] = other
            more.append(other)
        half.suggested = reading.total_l
        other.kind, other.other_id, other.suggested = half.kind, half.installation_id, half.found
    return more


def _readings_near(halves):
    """A function of a half: readings of the other unit on that round that show what would fit and wait for nobody's
    word, the nearest first."""
    if not halves:
        return lambda _half: []
    found = {}
    for reading in MeterReading.objects.filter(
        installation_id__in={s.other_id for s in halves}, at__range=_around(halves),
        standing__in=(Standing.GOOD, Standing.IN_DOUBT),
    ):  # fmt: skip
        found.setdefault(reading.installation_id, []).append(reading)

    def near(half):
        fits = [
            r for r in found.get(half.other_id, ())
            if abs(r.at - half.at) <= ONE_ROUND and np.isclose(r.total_l, half.suggested, rtol=1e-6, atol=0)
        ]  # fmt: skip
        return sorted(fits, key=lambda r: (abs(r.at - half.at), r.pk))

    return near


def _around(halves):
    moments = [half.at for half in halves]
    return min(moments) - ONE_ROUND, max(moments) + ONE_ROUND


def _store(slips, doubted_days, doubted_totals):
    if not slips:
        return
    readings = MeterReading.objects.in_bulk(doubted_totals)
    settled = set()
    for slip in slips:
        if slip.meter_reading_id:
            slip.at = readings[slip.meter_reading_id].at
    known = Slip.objects.filter(installation_id__in={s.installation_id for s in slips}).settled()
    settled = set(known.values_list("installation_id", "subject", "at", "field"))
    slips = [s for s in slips if (s.installation_id, s.subject, s.at, s.field) not in settled]
    slips += _other_halves(slips)
    Slip.objects.bulk_create(
        slips, update_conflicts=True, unique_fields=["installation", "subject", "at", "field"],
        update_fields=["found", "suggested", "kind", "other", "facts", "why"],
    )  # fmt: skip
    totals = [s.meter_reading_id for s in slips if s.meter_reading_id]
    MeterReading.objects.filter(pk__in=totals, standing=Standing.GOOD).update(standing=Standing.IN_DOUBT)
    fresh = {(s.installation_id, s.at) for s in slips if s.subject == Slip.Subject.DAY}
    if fresh:
        for pk, day in doubted_days:
            DayRecord.objects.filter(installation_id=pk, day=day, standing=Standing.GOOD).update(
                standing=Standing.IN_DOUBT
            )
