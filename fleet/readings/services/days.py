"""Daily records in bulk: merged column by column with what stands there, and the same rows twice change nothing."""

from dataclasses import dataclass

import numpy as np
from django.db import connection, transaction

from fleet.readings import arrivals, staging
from fleet.readings.models import Standing
from fleet.readings.partitions import make_for
from fleet.readings.services.noons import look_at_noons

VOLUME = ("volume_l", "tank_full_seen")
SUN = ("irradiation_kwh_m2",)
NOON = ("noon_irradiance_w_m2", "noon_voltage_v", "noon_current_a", "noon_level_m")
FIELDS = VOLUME + SUN + NOON
KINDS = dict.fromkeys(FIELDS, "float8") | {"tank_full_seen": "bool"}
STAGED_AT_ONCE = 500_000  # rows; bounds the memory of a worker


@dataclass
class Kept:
    """What became of the rows of one intake."""

    new: int = 0
    changed: int = 0
    same: int = 0

    def __add__(self, other):
        return Kept(self.new + other.new, self.changed + other.changed, self.same + other.same)


def merged(installations, days, columns):
    """One row for each installation and day: the last value that is not missing, column by column.

    Returns installations, days, columns, sorted by both.
    """
    order = np.lexsort((np.arange(len(days)), days, installations))  # stable: the later row of a file wins
    installations, days = installations[order], days[order]
    starts = np.ones(len(days), dtype=bool)
    starts[1:] = (installations[1:] != installations[:-1]) | (days[1:] != days[:-1])
    if starts.all():
        return installations, days, {name: values[order] for name, values in columns.items()}
    group = np.cumsum(starts) - 1
    first = np.flatnonzero(starts)
    found = {}
    for name, values in columns.items():
        values = values[order]
        there = values >= 0 if KINDS[name] == "bool" else ~np.isnan(values)
        last = np.full(len(first), -1, dtype=np.int64)
        np.maximum.at(last, group[there], np.flatnonzero(there))
        empty = -1 if KINDS[name] == "bool" else np.nan
        found[name] = np.where(last >= 0, values[last], empty).astype(values.dtype)
    return installations[first], days[first], found


def keep_days(*, installations, days, columns, derived=False):
    """Keep daily figures. Returns `Kept`.

    installations: (n,) ids; days: (n,) datetime64[D], each in its site's own calendar; columns: {name of FIELDS: (n,)}
    with NaN (or -1 for yes/no) where nothing was reported. What is missing leaves what stands there. A figure that a
    person has corrected or set aside stays as that person left it. `derived` figures give way to reported ones. Noon
    figures that look like a slip wait for a person (`noons`).
    """
    installations = np.asarray(installations, dtype=np.int64)
    days = np.asarray(days).astype("datetime64[D]")
    columns = {
        name: np.asarray(columns[name], dtype=np.int8 if KINDS[name] == "bool" else float)
        for name in FIELDS
        if name in columns
    }
    kept = Kept()
    if not len(days) or not columns:
        return kept
    make_for("readings_dayrecord", days)
    for start in range(0, len(days), STAGED_AT_ONCE):
        part = slice(start, start + STAGED_AT_ONCE)
        one = merged(installations[part], days[part], {name: values[part] for name, values in columns.items()})
        kept += _keep(*one, derived)
        if not derived and any(name in columns for name in NOON):
            look_at_noons(*one[:2])
    return kept


def _keep(installations, days, columns, derived):
    staged = {"installation_id": ("bigint", installations), "day": ("date", days)}
    staged |= {name: (KINDS[name], values) for name, values in columns.items()}
    names = ", ".join(columns)
    flag = "true" if derived else "false"
    with transaction.atomic(), connection.cursor() as cursor:
        staging.stage(cursor, "came", staged)
        new = arrivals.note(
            cursor,
            f"INSERT INTO readings_dayrecord (installation_id, day, {names}, standing, noon_standing, derived) "
            f"SELECT installation_id, day, {names}, 0, 0, {flag} FROM came "
            f"ON CONFLICT (installation_id, day) DO NOTHING RETURNING installation_id, day",
        )
        if new == len(days):
            return Kept(new=new)
        sets = [f"{name} = {_value(name, derived)}" for name in columns]
        if set(columns) & set(VOLUME):
            sets.append(f"standing = CASE WHEN {_moves('volume_l', columns, derived)} THEN 0 ELSE t.standing END")
        if not derived and "volume_l" in columns:
            sets.append("derived = t.derived AND c.volume_l IS NULL")
        noon = [name for name in NOON if name in columns]
        if noon:
            moved = " OR ".join(_moves(name, columns, derived) for name in noon)
            sets.append(f"noon_standing = CASE WHEN {moved} THEN 0 ELSE t.noon_standing END")
        differs = " OR ".join(f"t.{name} IS DISTINCT FROM {_value(name, derived)}" for name in columns)
        changed = arrivals.note(
            cursor,
            f"UPDATE readings_dayrecord t SET {', '.join(sets)} FROM came c "
            f"WHERE t.installation_id = c.installation_id AND t.day = c.day "
            f"AND t.day BETWEEN %s AND %s AND ({differs}) RETURNING t.installation_id, t.day",
            [str(days.min()), str(days.max())],
        )
    return Kept(new=new, changed=changed, same=len(days) - new - changed)


def take_back(*, installations, days, name):
    """A figure that was worked out of samples which, as is known now, tell of a part of the day only."""
    if not len(days):
        return 0
    settled = f"standing NOT IN ({int(Standing.CORRECTED)}, {int(Standing.SET_ASIDE)}) AND " if name in VOLUME else ""
    with transaction.atomic(), connection.cursor() as cursor:
        return arrivals.note(
            cursor,
            f"UPDATE readings_dayrecord t SET {name} = NULL "
            "FROM unnest(%s::bigint[], %s::date[]) AS c (installation_id, day) "
            "WHERE t.installation_id = c.installation_id AND t.day = c.day AND t.day BETWEEN %s AND %s "
            f"AND t.derived AND {settled}t.{name} IS NOT NULL RETURNING t.installation_id, t.day",
            [installations.tolist(), [str(day) for day in days], str(days.min()), str(days.max())],
        )


def _value(name, derived):
    """The figure that will stand: what came, unless nothing came or a person has settled what stands there."""
    settled = f"({int(Standing.CORRECTED)}, {int(Standing.SET_ASIDE)})"
    standing = "t.noon_standing" if name in NOON else "t.standing" if name == "volume_l" else None
    came = f"coalesce(c.{name}, t.{name})"
    if derived and name == "volume_l":
        came = f"CASE WHEN t.derived OR t.{name} IS NULL THEN {came} ELSE t.{name} END"
    elif derived:  # what was worked out of the first pieces of a day gives way to what the whole of it says
        came = f"CASE WHEN t.derived THEN {came} ELSE coalesce(t.{name}, c.{name}) END"
    return f"CASE WHEN {standing} IN {settled} THEN t.{name} ELSE {came} END" if standing else came


def _moves(name, columns, derived):
    return f"t.{name} IS DISTINCT FROM {_value(name, derived)}" if name in columns else "false"
