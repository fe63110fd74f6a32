"""What some nights leave behind, in the rows: evaluations, evidence, snapshots, figures in doubt, flags, shortfalls."""

import json

import numpy as np
from django.db import connection
from django.utils import timezone

from fleet.output.services.nightly.cases import plain
from fleet.output.services.nightly.load import DAY_ZERO, as_date
from fleet.output.services.nightly.packing import pack_states
from fleet.output.services.nightly.places import FROM_PLACES
from fleet.output.services.nightly.run import idle
from fleet.readings import staging
from fleet.readings.partitions import make_for
from sizing import judge
from sizing.judge import record

SUN_BY = ("", "own", "fleet", "climate")  # as staged: a small number
KEEP_ALL_DAYS = 70  # snapshots of every week so long; older ones of every fourth week


def evaluations(cohort, stretch):
    """Upsert a row for each day that a reading covers. Returns how many."""
    if not stretch.rows:
        return 0
    rows = np.concatenate([rows[rows["since"] != 0] for _day, rows, _totals, _facts in stretch.rows])
    if not len(rows):
        return 0
    columns = spread(rows, judge.well_was_dry(cohort.sites, rows))
    make_for("output_evaluation", columns["day"])
    staged = {
        "installation_id": ("bigint", cohort.ids[columns["unit"]]),
        "day": ("date", columns["day"]),
        "expected_l": ("float8", columns["expected_l"]),
        "low_l": ("float8", columns["low_l"]),
        "high_l": ("float8", columns["high_l"]),
        "measured_l": ("float8", columns["measured_l"]),
        "idle": ("bool", columns["idle"].astype(np.int8)),
        "dry": ("bool", columns["dry"].astype(np.int8)),
        "sun": ("smallint", columns["sun"]),
        "span": ("smallint", columns["span"]),
        "mark": ("bigint", cohort.marks[columns["unit"]]),
        "observation": ("bytea", columns["observation"]),
    }
    with connection.cursor() as cursor:
        staging.stage_again(cursor, "judged", staged)
        # Where a unit has both, a day's own figure counts for more than its share of a meter's period.
        kept = "output_evaluation.span_days = 1 AND EXCLUDED.span_days > 1"
        names = ("expected_l", "low_l", "high_l", "measured_l", "idle", "dry", "sun_by", "span_days", "baseline_hash")
        sets = ", ".join(f"{n} = CASE WHEN {kept} THEN output_evaluation.{n} ELSE EXCLUDED.{n} END" for n in names)
        cursor.execute(
            "INSERT INTO output_evaluation (installation_id, day, expected_l, low_l, high_l, measured_l, idle, dry, "
            "sun_by, span_days, baseline_hash, observation) SELECT j.installation_id, j.day, j.expected_l, j.low_l, "
            "j.high_l, j.measured_l, j.idle, j.dry, "
            "(ARRAY['', 'own', 'fleet', 'climate', 'import'])[j.sun + 1], j.span, "
            "CASE j.mark WHEN 0 THEN '' ELSE lpad(to_hex(j.mark), 16, '0') END, j.observation FROM judged j "
            "ORDER BY j.installation_id, j.day "
            f"ON CONFLICT (installation_id, day) DO UPDATE SET {sets}, "
            "observation = coalesce(EXCLUDED.observation, output_evaluation.observation)"
        )
        return cursor.rowcount


def spread(rows, dry):
    """One entry for each unit and day that the observations cover, a period's figures shared evenly over its days.
    dry: which of them had no water in the well."""
    span = np.where(np.isfinite(rows["since"]), np.maximum(np.rint(rows["since"]), 1), 1).astype(np.int64)
    period = np.repeat(np.arange(len(rows)), span)
    ahead = np.arange(len(period)) - np.repeat(np.cumsum(span) - span, span)
    day = rows["day"][period].astype(np.int64) - ahead
    raw = rows.tobytes()
    size = record.OBSERVATION.itemsize
    unit = rows["unit"][period].astype(np.int64)
    # Of several words on one day the shortest period's, and of those the latest, is put down; all are remembered.
    order = np.lexsort((np.arange(len(period)), -span[period], day, unit))
    last = np.append((unit[order][1:] != unit[order][:-1]) | (day[order][1:] != day[order][:-1]), True)
    remembered, waiting = np.full(len(order), None, dtype=object), []
    for place in np.flatnonzero((ahead[order] == 0) | last):
        if ahead[order[place]] == 0:
            at = period[order[place]]
            waiting.append(raw[at * size : (at + 1) * size])
        if last[place]:
            remembered[place] = b"".join(waiting) or None
            waiting = []
    pick = order[last]
    of = period[pick]
    share = 1.0 / span[of]
    sound = (rows["mistake"] == 0)[of]
    told = rows["told_by"][of]
    return {
        "unit": unit[pick],
        "day": DAY_ZERO + day[pick],
        "expected_l": rows["expected_l"][of].astype(float) * share,
        "low_l": rows["low_l"][of].astype(float) * share,
        "high_l": rows["high_l"][of].astype(float) * share,
        "measured_l": np.where(sound, rows["measured_l"][of].astype(float) * share, np.nan),
        "idle": idle(rows)[of],
        "dry": (dry & ~idle(rows))[of],
        "sun": np.select([told < 0, told >= FROM_PLACES, told > 0], [1, 4, 2], 3),
        "span": np.minimum(span[of], 32767),
        "observation": remembered[last],
    }


def judgements(cohort, stretch, through):
    """Upsert the evidence as it stands after the day `through` (numbers (n,)); snapshots besides."""
    cohort.know_first(np.flatnonzero(cohort.sound_from >= 0))
    sound = np.where(cohort.sound_from > np.maximum(cohort.first, 0), cohort.sound_from, -1)
    staged = {
        "installation_id": ("bigint", cohort.ids),
        "through": ("date", DAY_ZERO + through),
        "level_ratio": ("float8", np.exp(np.clip(_level_now(stretch.state, through), -3, 3))),
        "recent_ratio": ("float8", stretch.recent),
        "sound": ("int", sound),
        "state": ("bytea", pack_states(stretch.state)),
    }
    cases = {int(cohort.ids[unit]): plain(case) for unit, case in stretch.cases.items()}
    with connection.cursor() as cursor:
        staging.stage_again(cursor, "judged_state", staged)
        sets = ", ".join(f"{n} = EXCLUDED.{n}" for n in KEPT)
        cursor.execute(
            f"INSERT INTO output_judgement (installation_id, {', '.join(KEPT)}) SELECT j.installation_id, j.through, "
            "j.state, coalesce(%s::jsonb -> j.installation_id::text, '{}'), j.level_ratio, j.recent_ratio, %s, '', "
            "CASE WHEN j.sound >= 0 THEN DATE '1970-01-01' + j.sound END FROM judged_state j "
            f"ORDER BY j.installation_id ON CONFLICT (installation_id) DO UPDATE SET {sets}",
            [json.dumps(cases), timezone.now()],
        )
    snapshots(cohort, stretch, through)


def _level_now(state, through):
    """Log of own healthy output over the calculation's, at this time of the year (n,)."""
    return state.level + judge.offset(state, through)


KEPT = ("through", "state", '"case"', "level_ratio", "recent_ratio", "judged_at", "trouble", "sound_since")


def snapshots(cohort, stretch, through):
    if not stretch.snapshots:
        return
    with connection.cursor() as cursor:
        for day, (units, state, cases) in stretch.snapshots.items():
            known = {int(cohort.ids[unit]): case for unit, case in cases.items()}
            staging.stage_again(
                cursor, "judged_snapshot",
                {"installation_id": ("bigint", cohort.ids[units]), "state": ("bytea", pack_states(state))},
            )  # fmt: skip
            cursor.execute(
                'INSERT INTO output_snapshot (installation_id, day, state, "case") SELECT j.installation_id, %s, '
                "j.state, coalesce(%s::jsonb -> j.installation_id::text, '{}') FROM judged_snapshot j ORDER BY "
                'j.installation_id ON CONFLICT (installation_id, day) DO UPDATE SET state = EXCLUDED.state, "case" = '
                'EXCLUDED."case"',
                [as_date(day), json.dumps(known)],
            )
        cursor.execute(
            "DELETE FROM output_snapshot WHERE installation_id = ANY(%s) AND day < %s "
            "AND ((day - DATE '1970-01-01') %% 28) <> 0",
            [cohort.ids.tolist(), as_date(int(through.max()) - KEEP_ALL_DAYS)],
        )
