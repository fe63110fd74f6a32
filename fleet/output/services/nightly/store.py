"""What some nights leave behind, in the rows: evaluations, evidence, snapshots, figures in doubt, flags, shortfalls."""

import numpy as np
from django.db import connection
from django.utils import timezone

from fleet.output.models import Judgement, Snapshot
from fleet.output.services.nightly.cases import plain
from fleet.output.services.nightly.load import DAY_ZERO, as_date
from fleet.output.services.nightly.packing import pack_states
from fleet.output.services.nightly.places import FROM_PLACES
from fleet.output.services.nightly.run import idle
from fleet.readings import staging
from fleet.readings.partitions import make_for
from sizing.judge import record

SUN_BY = ("", "own", "fleet", "climate")  # as staged: a small number
KEEP_ALL_DAYS = 70  # snapshots of every week so long; older ones of every fourth week


def evaluations(cohort, stretch):
    """Upsert a row for each day that a reading covers. Returns how many."""
    if not stretch.rows:
        return 0
    rows = np.concatenate([rows for _day, rows, _totals, _facts in stretch.rows])
    columns = spread(rows)
    make_for("output_evaluation", columns["day"])
    hashes = np.array(cohort.hashes, dtype=object)
    staged = {
        "installation_id": ("bigint", cohort.ids[columns["unit"]]),
        "day": ("date", columns["day"]),
        "expected_l": ("float8", columns["expected_l"]),
        "low_l": ("float8", columns["low_l"]),
        "high_l": ("float8", columns["high_l"]),
        "measured_l": ("float8", columns["measured_l"]),
        "idle": ("bool", columns["idle"].astype(np.int8)),
        "sun": ("smallint", columns["sun"]),
        "span": ("smallint", columns["span"]),
        "observation": ("bytea", columns["observation"]),
    }
    ids = [int(i) for i in cohort.ids]
    with connection.cursor() as cursor:
        staging.stage(cursor, "judged", staged)
        staging.stage_texts(cursor, "judged_hash", ids, hashes)
        # Where a unit has both, a day's own figure counts for more than its share of a meter's period.
        kept = "output_evaluation.span_days = 1 AND EXCLUDED.span_days > 1"
        names = ("expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by", "span_days", "baseline_hash")
        sets = ", ".join(f"{n} = CASE WHEN {kept} THEN output_evaluation.{n} ELSE EXCLUDED.{n} END" for n in names)
        cursor.execute(
            "INSERT INTO output_evaluation (installation_id, day, expected_l, low_l, high_l, measured_l, idle, sun_by, "
            "span_days, baseline_hash, observation) SELECT j.installation_id, j.day, j.expected_l, j.low_l, j.high_l, "
            "j.measured_l, j.idle, (ARRAY['', 'own', 'fleet', 'climate', 'import'])[j.sun + 1], j.span, "
            "coalesce(h.words, ''), j.observation FROM judged j LEFT JOIN judged_hash h ON h.id = j.installation_id "
            "ORDER BY j.installation_id, j.day "
            f"ON CONFLICT (installation_id, day) DO UPDATE SET {sets}, "
            "observation = coalesce(EXCLUDED.observation, output_evaluation.observation)"
        )
        return cursor.rowcount


def spread(rows):
    """One entry for each unit and day that the observations cover, a period's figures shared evenly over its days."""
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
        "sun": np.select([told < 0, told >= FROM_PLACES, told > 0], [1, 4, 2], 3),
        "span": np.minimum(span[of], 32767),
        "observation": remembered[last],
    }


def judgements(cohort, stretch, through):
    """Upsert the evidence as it stands after the day `through` (numbers (n,)); snapshots besides."""
    packed = pack_states(stretch.state)
    now = timezone.now()
    level = np.exp(np.clip(stretch.state.level, -3, 3))
    made = [
        Judgement(
            installation_id=int(pk), through=as_date(through[n]), state=packed[n],
            case=plain(stretch.cases[n]) if n in stretch.cases else {}, level_ratio=float(level[n]),
            recent_ratio=None if np.isnan(stretch.recent[n]) else float(stretch.recent[n]), judged_at=now, trouble="",
            sound_since=_sound(cohort, n),
        )
        for n, pk in enumerate(cohort.ids)
    ]  # fmt: skip
    Judgement.objects.bulk_create(
        made, batch_size=1000, update_conflicts=True, unique_fields=["installation"],
        update_fields=[
            "through", "state", "case", "level_ratio", "recent_ratio", "judged_at", "trouble", "sound_since",
        ],
    )  # fmt: skip
    snapshots = []
    for day, (units, state, cases) in stretch.snapshots.items():
        raw = pack_states(state)
        snapshots += [
            Snapshot(installation_id=int(cohort.ids[u]), day=as_date(day), state=raw[n], case=cases.get(u, {}))
            for n, u in enumerate(units.tolist())
        ]
    if snapshots:
        Snapshot.objects.bulk_create(
            snapshots, batch_size=2000, update_conflicts=True, unique_fields=["installation_id", "day"],
            update_fields=["state", "case"],
        )  # fmt: skip
        with connection.cursor() as cursor:
            oldest = as_date(int(through.max()) - KEEP_ALL_DAYS)
            cursor.execute(
                "DELETE FROM output_snapshot WHERE installation_id = ANY(%s) AND day < %s "
                "AND ((day - DATE '1970-01-01') %% 28) <> 0",
                [cohort.ids.tolist(), oldest],
            )


def _sound(cohort, n):
    """The day from which a fault could have begun, where that is later than the first reading."""
    return as_date(cohort.sound_from[n]) if cohort.sound_from[n] > max(cohort.first[n], 0) else None
