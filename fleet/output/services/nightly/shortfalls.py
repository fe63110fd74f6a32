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
}


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
            kind = KINDS.get(mistakes.NAMES[row["mistake"]], Slip.Kind.IMPOSSIBLE)
            meant = None if not np.isfinite(row["meant"]) else float(row["meant"])
            place = None if totals is None else np.flatnonzero(totals.unit == unit)
            is_total = np.isfinite(row["hour"]) or (place is not None and len(place) and np.isnan(row["own_kwh_m2"])
                                                    and cohort.facts["level"][unit] == 0)  # fmt: skip
            if is_total and place is not None and len(place):
                if facts["standing"][place[0]] == Standing.CORRECTED or kind == Slip.Kind.DUPLICATE:
                    continue
                reading = int(facts["reading"][place[0]])
                doubted_totals.append(reading)
                slips.append(
                    Slip(
                        installation_id=pk,
                        subject=Slip.Subject.METER,
                        meter_reading_id=reading,
                        field="total_l",
                        found=float(totals.total_l[place[0]]),
                        suggested=meant,
                        kind=kind,
                        at=None,
                    )  # fmt: skip
                )
            else:
                doubted_days.append((pk, as_date(day)))
                at = moments([np.datetime64(as_date(day))], [43200], [0], [zones[pk]])[0]
                slips.append(
                    Slip(
                        installation_id=pk,
                        subject=Slip.Subject.DAY,
                        field="volume_l",
                        suggested=meant,
                        kind=kind,
                        found=float(row["measured_l"]) if np.isfinite(row["measured_l"]) else None,
                        at=_moment(at),
                    )  # fmt: skip
                )
    _store(slips, doubted_days, doubted_totals)


def _moment(epoch):
    from datetime import UTC, datetime

    return datetime.fromtimestamp(int(epoch), UTC)


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
    Slip.objects.bulk_create(
        slips, update_conflicts=True, unique_fields=["installation", "subject", "at", "field"],
        update_fields=["found", "suggested", "kind"],
    )  # fmt: skip
    totals = [s.meter_reading_id for s in slips if s.meter_reading_id]
    MeterReading.objects.filter(pk__in=totals, standing=Standing.GOOD).update(standing=Standing.IN_DOUBT)
    fresh = {(s.installation_id, s.at) for s in slips if s.subject == Slip.Subject.DAY}
    if fresh:
        for pk, day in doubted_days:
            DayRecord.objects.filter(installation_id=pk, day=day, standing=Standing.GOOD).update(
                standing=Standing.IN_DOUBT
            )
