"""The readings of some days, in bulk, as the judgement takes them."""

from datetime import timedelta

import numpy as np

from fleet.readings import staging
from sizing.judge.record import Days, Totals

SETTLED = 2  # Standing.CORRECTED
DAY_ZERO = np.datetime64("1970-01-01")


def as_number(day):
    """Days since 1970-01-01 of a date."""
    return int((np.datetime64(day) - DAY_ZERO).astype(int))


def as_date(number):
    return (DAY_ZERO + int(number)).astype(object)


def load(ids, first, last):
    """{day number: (Days or None, Totals or None, facts of the totals)} of the days first..last, both included.

    Figures set aside by a person are not there. Units are places in `ids`, which are sorted; several totals of a unit
    on one day stand in the order of their hours.
    """
    days = _days(ids, as_date(first), as_date(last))
    totals = _totals(ids, as_date(first), as_date(last))
    nights = {}
    for number in range(first, last + 1):
        nights[number] = (days.get(number), *totals.get(number, (None, None)))
    return nights


def _groups(numbers):
    """(number, slice) of each run of equal numbers of a sorted array."""
    if not len(numbers):
        return
    starts = np.flatnonzero(np.append(True, numbers[1:] != numbers[:-1]))
    for start, end in zip(starts, np.append(starts[1:], len(numbers))):
        yield int(numbers[start]), slice(start, end)


def _days(ids, first, last):
    noon = "CASE WHEN noon_standing IN (0, 2) THEN noon_{} END"  # good, or corrected by a person
    got = staging.fetch(
        {
            "id": ("bigint", "installation_id"),
            "day": ("date", "day"),
            "volume_l": ("float8", "CASE WHEN standing <> 3 THEN volume_l END"),
            "irradiation_kwh_m2": ("float8", "irradiation_kwh_m2"),
            "noon_w_m2": ("float8", noon.format("irradiance_w_m2")),
            "noon_v": ("float8", noon.format("voltage_v")),
            "noon_a": ("float8", noon.format("current_a")),
            "noon_level_m": ("float8", noon.format("level_m")),
            "tank_full": ("float8", "tank_full_seen::int"),
            "sure": ("smallint", f"(standing = {SETTLED})::int"),
        },
        "FROM readings_dayrecord WHERE installation_id = ANY(%s) AND day BETWEEN %s AND %s",
        [ids.tolist(), first, last],
    )
    number = (got["day"] - DAY_ZERO).astype(np.int64)
    order = np.lexsort((got["id"], number))
    unit = np.searchsorted(ids, got["id"][order])
    names = ("volume_l", "irradiation_kwh_m2", "noon_w_m2", "noon_v", "noon_a", "noon_level_m", "tank_full")
    columns = [*(got[name][order] for name in names), got["sure"][order] > 0]
    return {day: Days(unit[part], *(column[part] for column in columns)) for day, part in _groups(number[order])}


def _totals(ids, first, last):
    got = staging.fetch(
        {
            "id": ("bigint", "x.installation_id"),
            "day": ("date", "x.at_::date"),
            "hour": ("float8", "CASE WHEN x.hour_known THEN extract(epoch FROM x.at_::time) / 3600 END"),
            "total": ("float8", "x.total_l"),
            "tick": ("float8", "x.tank_full_seen::int"),
            "reading": ("bigint", "x.id"),
            "new_meter": ("smallint", "x.new_meter::int"),
            "standing": ("smallint", "x.standing"),
        },
        """FROM (SELECT m.*, m.at AT TIME ZONE s.zone AS at_ FROM readings_meterreading m
                 JOIN registry_installation i ON i.id = m.installation_id JOIN registry_well w ON w.id = i.well_id
                 JOIN registry_site s ON s.id = w.site_id
                 WHERE m.installation_id = ANY(%s) AND m.standing <> 3 AND m.at >= %s AND m.at < %s) x
           WHERE x.at_::date BETWEEN %s AND %s""",
        [ids.tolist(), first - timedelta(days=1), last + timedelta(days=3), first, last],
    )
    number = (got["day"] - DAY_ZERO).astype(np.int64)
    order = np.lexsort((got["hour"], got["id"], number))
    unit = np.searchsorted(ids, got["id"][order])
    hour, total, tick = (got[name][order] for name in ("hour", "total", "tick"))
    facts = {name: got[name][order] for name in ("reading", "new_meter", "standing")}
    found = {}
    for day, part in _groups(number[order]):
        began = np.flatnonzero(facts["new_meter"][part] > 0) + part.start
        pick = part
        if len(began):  # what the old meter showed before another was put in that day is followed by nothing
            pick = [n for n in range(part.start, part.stop) if not ((unit[began] == unit[n]) & (began > n)).any()]
        found[day] = (
            Totals(unit[pick], hour[pick], total[pick], tick[pick], facts["standing"][pick] == SETTLED),
            {name: values[pick] for name, values in facts.items()},
        )
    return found
