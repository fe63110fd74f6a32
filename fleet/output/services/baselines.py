"""What each installation should give, kept with the hash of what it rests on; computed anew when that changes."""

import json
from dataclasses import dataclass

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from fleet.output.climates import climates
from fleet.output.fleet_arrays import METHOD, read_fleet
from fleet.output.models import Baseline
from sizing import chain
from sizing.chain.prepare import DAYLIGHT_WARMER_K

AT_ONCE = 1000  # installations; bounds the memory of a worker
PARTS = ("climate", "model", "instrument")  # that a range is made of
CARD_SUN = np.arange(200, 1101, 100.0)  # W/m², in the plane of the modules
CARD_LEVELS = np.array([-6.0, -3.0, 0.0, 3.0, 6.0])  # m around the record


@dataclass
class Counted:
    """What became of the installations asked about."""

    computed: int = 0
    same: int = 0
    in_trouble: int = 0

    def __add__(self, other):
        return Counted(self.computed + other.computed, self.same + other.same, self.in_trouble + other.in_trouble)


def baselines(installation_ids, *, year=None, progress=None):
    """See to it that the baselines of these installations are up to date. Returns `Counted`.

    `year`: the arrays are as old as in the middle of it; left out: this year. `progress(done, total)` is told.
    """
    ids = sorted(int(i) for i in installation_ids)
    year = year or timezone.now().year
    counted = Counted()
    for start in range(0, len(ids), AT_ONCE):
        counted += _bring_up_to_date(ids[start : start + AT_ONCE], year)
        if progress:
            progress(min(start + AT_ONCE, len(ids)), len(ids))
    return counted


def _bring_up_to_date(ids, year):
    rows = read_fleet(ids, year)
    kept = dict(Baseline.objects.filter(pk__in=ids).values_list("pk", "inputs_hash"))
    trouble, made = dict(rows.trouble), []
    same = 0
    if len(rows):
        sun, reasons, sources = climates(rows)
        trouble |= {int(rows.ids[row]): reason for row, reason in reasons.items()}
        hashes = rows.hashes(sun.day_ghi_kwh_m2_day, sun.air_c, sun.band)
        wanted = [row for row, pk in enumerate(rows.ids.tolist()) if row not in reasons and kept.get(pk) != hashes[row]]
        same = len(rows) - len(reasons) - len(wanted)
        if wanted:
            made = _compute(rows, np.array(wanted), sun, sources, hashes)
    broken = [
        Baseline(installation_id=pk, inputs_hash="", computed_at=timezone.now(), method=METHOD, trouble=reason)
        for pk, reason in trouble.items()
    ]
    _store(made + broken)
    return Counted(computed=len(made), same=same, in_trouble=len(broken))


def _compute(rows, wanted, sun, sources, hashes):
    fleet = rows.fleet.take(wanted)
    names = ("ghi_kwh_m2_day", "day_ghi_kwh_m2_day", "air_c", "air_band_k", "band")
    made = chain.baseline(fleet, sun._replace(**{name: getattr(sun, name)[wanted] for name in names}))
    cards = _cards(fleet, sun.air_c[wanted] + DAYLIGHT_WARMER_K)
    now = timezone.now()
    return [
        Baseline(
            installation_id=int(rows.ids[row]),
            inputs_hash=hashes[row],
            computed_at=now,
            method=METHOD,
            volume_l_day=_round(made.volume_l_day[n]),
            low_l_day=_round(made.low_l_day[n]),
            high_l_day=_round(made.high_l_day[n]),
            range_l_day={part: _round(getattr(made, f"{part}_l_day")[n]) for part in PARTS},
            by_kind_l_day=[_round(month) for month in made.by_kind_l[n]],
            start_hour=_round(made.start_h[n], 2),
            stop_hour=_round(made.stop_h[n], 2),
            card=cards[n],
            climate_source=sources[row][:200],
            climate_band=float(sun.band[row]),
            assumed=list(rows.assumed.get(int(rows.ids[row]), ())),
        )
        for n, row in enumerate(wanted.tolist())
    ]


def _cards(fleet, air):
    """What a sound unit reads at some suns and levels, for the phone at the well: it reads between them."""
    record = fleet.static_level_m.mean(axis=1)
    levels = np.clip(record[:, None] + CARD_LEVELS, 0.1, np.maximum(fleet.setting_depth_m - 0.5, 0.2)[:, None])
    spot = chain.spot(
        fleet,
        np.broadcast_to(CARD_SUN[None, None, :], (fleet.n, len(CARD_LEVELS), len(CARD_SUN))),
        np.broadcast_to(air.mean(axis=1)[:, None, None], (fleet.n, len(CARD_LEVELS), len(CARD_SUN))),
        np.broadcast_to(levels[:, :, None], (fleet.n, len(CARD_LEVELS), len(CARD_SUN))),
    )
    return [
        {
            "irradiance_w_m2": CARD_SUN.tolist(),
            "static_level_m": _round(levels[n], 2),
            "air_c": round(float(air[n].mean()), 1),
            "flow_l_min": [_round(row, 3) for row in spot.flow_l_min[n]],
            "array_voltage_v": [_round(row, 2) for row in spot.array_voltage_v[n]],
            "array_current_a": [_round(row, 3) for row in spot.array_current_a[n]],
            "pumping_level_m": [_round(row, 2) for row in spot.pumping_level_m[n]],
        }
        for n in range(fleet.n)
    ]


def _round(values, digits=1):
    return [None if not np.isfinite(v) else round(float(v), digits) for v in values]


FIELDS = [
    "inputs_hash", "computed_at", "method", "volume_l_day", "low_l_day", "high_l_day", "range_l_day", "by_kind_l_day",
    "start_hour", "stop_hour", "card", "climate_source", "climate_band", "trouble", "assumed", "table",
]  # fmt: skip


def _store(rows):
    """One upsert; a trouble that stands there already with the same reason is left alone."""
    if rows:
        with transaction.atomic():
            Baseline.objects.bulk_create(
                rows, batch_size=500, update_conflicts=True, unique_fields=["installation"], update_fields=FIELDS
            )


# Watched table -> its installations, by the rows that changed (ids as text in the trail).
TOUCHES = {
    "registry_installation": "i.id",
    "registry_site": "s.id",
    "registry_well": "w.id",
    "registry_unit": "u.id",
    "registry_pumptype": "u.pump_type_id",
    "registry_moduletype": "i.module_type_id",
    "registry_cable": "i.cable_id",
    "registry_pipe": "i.pipe_id",
}
# The same for rows that hang on one of those: the column of theirs that names it.
HANGS_ON = {
    "registry_pumppoint": ("pump_type_id", "u.pump_type_id"),
    "registry_unitpoint": ("unit_id", "u.id"),
    "registry_staticlevel": ("well_id", "w.id"),
    "registry_tank": ("well_id", "w.id"),
    "registry_monthlyclimate": ("site_id", "s.id"),
    "readings_spottest": ("installation_id", "i.id"),
}
JOINED = (
    "FROM registry_installation i JOIN registry_well w ON w.id = i.well_id JOIN registry_site s ON s.id = w.site_id "
    "JOIN registry_unit u ON u.id = i.unit_id "
)


def changed_since(trail_id):
    """Installations whose inputs may have changed after that entry of the trail, and the trail's last entry now."""
    found = set()
    with connection.cursor() as cursor:
        cursor.execute("SELECT max(id) FROM trail_change")
        last = cursor.fetchone()[0] or 0
        cursor.execute(
            'SELECT "table", row_id, coalesce(after, before), before FROM trail_change '
            'WHERE id > %s AND id <= %s AND "table" = ANY(%s)',
            [trail_id, last, [*TOUCHES, *HANGS_ON]],
        )
        touched = {}
        for table, row_id, *states in cursor.fetchall():
            if table in TOUCHES:
                touched.setdefault(TOUCHES[table], set()).add(int(row_id))
                continue
            column, key = HANGS_ON[table]
            named = {v[column] for v in map(_as_dict, states) if v and column in v}
            if named:
                touched.setdefault(key, set()).update(int(n) for n in named)
            else:
                # A changed row names only what changed; who it hangs on stands in the row itself.
                cursor.execute(f"SELECT {column} FROM {table} WHERE id = %s", [row_id])
                touched.setdefault(key, set()).update(r[0] for r in cursor.fetchall())
        for key, ids in touched.items():
            cursor.execute(f"SELECT i.id {JOINED} WHERE {key} = ANY(%s)", [sorted(ids)])
            found.update(r[0] for r in cursor.fetchall())
    return found, last


def _as_dict(value):
    return json.loads(value) if isinstance(value, str) else value
