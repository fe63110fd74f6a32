"""Tests that were taken on visits, as evidence of the nights: loaded in bulk, worked out for those units that have any.

Nothing of them is stored: a test that comes late, is corrected or set aside is there, or is not, when its nights are
judged again. Tests at commissioning and after work are no figures; they set the own level, and a unit is taken as sound
on their day: what was tested before it tells of what was.
"""

from collections import defaultdict

import numpy as np

from fleet.output.services.nightly.cohort import zones_of
from fleet.output.services.nightly.load import as_date
from fleet.output.services.spot import EIGHTY, FLOW_SIGMA, LEVEL_SIGMA_M, SUN_SIGMA
from fleet.readings import staging
from fleet.readings.zones import local
from sizing import array, chain, judge
from sizing.causes import onsite as told
from sizing.causes.odds import REMEMBERED_DAYS
from sizing.judge import onsite
from sizing.judge.record import OBSERVATION

USUAL_AIR_C, USUAL_CELL_C = 30.0, 45.0  # where nobody wrote them down (common practice, no source)
UNKNOWN_SUN, UNKNOWN_FLOW = 0.08, 0.04  # sigmas, where nobody wrote down how sun or flow were got
SUN_BY, FLOW_BY = list(SUN_SIGMA), list(FLOW_SIGMA)
VISIT = 0
PLAIN = (
    "irradiance_w_m2", "module_isc_a", "cell_c", "air_c", "static_level_m", "pumping_level_m", "flow_l_min",
    "meter_flow_l_min", "array_voltage_v", "array_current_a", "watched_min",
)  # fmt: skip
COLUMNS = {
    "id": ("bigint", "q.installation_id"),
    "epoch_s": ("bigint", "extract(epoch FROM q.at)"),
    # Work after which no water came has put nothing right: it tells of the unit as it is.
    "kind": ("smallint", f"CASE WHEN q.kind = 'visit' OR q.flow_l_min = 0 THEN {VISIT} ELSE 1 END"),
    "main_full": ("smallint", "coalesce(q.main_was_full, false)::int"),
    "sun_by": ("smallint", "CASE q.sun_by " + " ".join(f"WHEN '{how}' THEN {n}" for n, how in enumerate(SUN_BY))
               + " ELSE -1 END"),
    "flow_by": ("smallint", "CASE q.flow_by " + " ".join(f"WHEN '{how}' THEN {n}" for n, how in enumerate(FLOW_BY))
                + " ELSE -1 END"),
    **{name: ("float8", f"q.{name}") for name in PLAIN},
}  # fmt: skip
SOURCE = """
FROM readings_spottest q WHERE q.installation_id = ANY(%s) AND q.at >= %s::date - 1 AND q.at < %s::date + 2
AND q.standing IN (0, 2) AND (q.kind = 'after_work' OR q.kind = 'visit' AND q.flow_l_min IS NOT NULL)
"""


class Tests:
    """Tests of a cohort up to some last night. `on`: {day: units} of the tests taken on visits."""

    def __init__(self, cohort, first, last):
        self.cohort = cohort
        known = staging.fetch(
            COLUMNS, SOURCE, [cohort.ids.tolist(), as_date(first - REMEMBERED_DAYS), as_date(last)],
            order="q.installation_id, q.at, q.id",
        )  # fmt: skip
        unit = np.searchsorted(cohort.ids, known["id"])
        day = _local_days(known)
        self._tests, self._worked, self.on = {}, defaultdict(list), defaultdict(set)
        for n, (u, d, kind) in enumerate(zip(unit.tolist(), day.tolist(), known["kind"].tolist(), strict=True)):
            if kind == VISIT:
                self._tests.setdefault(u, []).append(n)
                self.on[d].add(u)
            else:
                self._worked[u].append(d)
        self._known, self._day = known, day
        self._rows, self._words = {}, {}

    def of(self, unit, day, sound):
        """Observations of a unit's tests up to a day, as far as they were taken after the day it was last sound."""
        if unit not in self._tests:
            return NOTHING
        rows = self._worked_out(unit)
        return rows[(rows["day"] <= day) & (rows["day"] > self._put_right(unit, day, sound))]

    def words(self, unit, day, sound):
        """What a page says of the same tests: [{day, flow, low, high, bucket}], L/min, plain values."""
        if unit not in self._tests:
            return []
        self._worked_out(unit)
        after = self._put_right(unit, day, sound)
        return [word for number, word in self._words[unit] if after < number <= day]

    def _put_right(self, unit, day, sound):
        return max([d for d in self._worked.get(unit, ()) if d <= day] + [sound])

    def _worked_out(self, unit):
        if unit not in self._rows:
            some = [u for u in self._tests if u not in self._rows]
            self.cohort.know_built(some)
            for u in some:
                self._rows[u], self._words[u] = NOTHING, []
            for fleet, units in self.cohort.fleets_of([u for u in some if u in self.cohort.built]):
                self._work_out(fleet, units)
        return self._rows[unit]

    def _work_out(self, fleet, units):
        cohort, place = self.cohort, [n for u in units for n in self._tests[u]]
        of = np.array([u for u in units for _n in self._tests[u]])
        built = [cohort.built[u] for u in of.tolist()]
        level, level_sd = (np.array([getattr(b, name) for b in built]) for name in ("level", "level_sd"))
        tests = as_tests(fleet, np.array([b.row for b in built]), {k: v[place] for k, v in self._known.items()},
                         self._day[place])  # fmt: skip
        due = onsite.due(fleet, tests)
        usual, drawn = zip(
            *(usual_and_drawn_l(cohort, u, d) for u, d in zip(of.tolist(), tests.day.tolist(), strict=True))
        )  # fmt: skip
        usual, drawn = np.array(usual), np.array(drawn)
        rows = onsite.as_observations(tests, due, level, usual, drawn)
        for u in units:
            mine = rows[rows["unit"] == cohort.built[u].row]
            mine["unit"] = u
            self._rows[u] = mine
        for n in np.flatnonzero(due.counts).tolist():
            with_days, alike = told.carried(level_sd[n])
            sigma = np.sqrt(due.variance[n] + max(level_sd[n] ** 2 + 2 * with_days + alike, 0.0))
            middle = due.flow_l_min[n] * np.exp(level[n] + told.carried_mean(level[n]))
            self._words[int(of[n])].append((int(tests.day[n]), {
                "day": as_date(tests.day[n]).isoformat(), "flow": round(float(tests.flow_l_min[n]), 2),
                "low": round(float(middle * np.exp(-EIGHTY * sigma)), 2),
                "high": round(float(middle * np.exp(EIGHTY * sigma)), 2), "bucket": bool(tests.bucket[n]),
            }))  # fmt: skip


NOTHING = np.zeros(0, OBSERVATION)


def _local_days(known):
    """Local day (t,) of each test; most cohorts have few, and none costs no more than having asked."""
    if not len(known["id"]):
        return np.zeros(0, np.int64)
    of = zones_of(np.unique(known["id"]).tolist())
    zones = sorted(set(of.values()))
    zone_of = np.array([zones.index(of[pk]) for pk in known["id"].tolist()])
    days, _seconds = local(known["epoch_s"], zone_of, zones)
    return np.asarray(days).astype("datetime64[D]").astype(np.int64)


def as_tests(fleet, row, known, day):
    """onsite.Tests of rows as they were loaded; row: their places in the fleet."""
    sun, sun_sd = known["irradiance_w_m2"].copy(), np.array([*SUN_SIGMA.values(), UNKNOWN_SUN])[known["sun_by"]]
    by_module = np.isnan(sun) & np.isfinite(known["module_isc_a"])
    if by_module.any():
        cell = np.where(np.isnan(known["cell_c"]), USUAL_CELL_C, known["cell_c"])[by_module]
        sun[by_module] = array.irradiance_from_short_circuit(
            np.minimum(known["module_isc_a"][by_module], 100), np.clip(cell, -20, 110), fleet.i_sc_a[row[by_module]],
            fleet.alpha_isc_pct_k[row[by_module]],
        )
    air = np.clip(np.where(np.isnan(known["air_c"]), USUAL_AIR_C, known["air_c"]), -60, 70)
    month = day.astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    flow = known["flow_l_min"]
    drawn = flow * (fleet.drawdown_b_m_per_l_min[row] + fleet.drawdown_c[row] * flow)
    by_pumping = np.maximum(known["pumping_level_m"] - drawn, 0.0)
    dipped = np.isfinite(known["static_level_m"]) | np.isfinite(by_pumping)
    rest = np.where(np.isfinite(known["static_level_m"]), known["static_level_m"], by_pumping)
    level = np.maximum(np.where(dipped, rest, fleet.static_level_m[row, month]), 0.0)
    sun = np.nan_to_num(sun)
    told = (known["flow_by"] >= 0) & ~_watched_too_shortly(fleet, row, known, sun, air, level)
    return onsite.Tests(
        row=row, day=day, sun_w_m2=sun, sun_sd=np.where(by_module, SUN_SIGMA["module_isc"], sun_sd),
        air_c=air, static_level_m=level,
        level_sd_m=np.where(dipped, LEVEL_SIGMA_M[True], LEVEL_SIGMA_M[False]), dipped=dipped,
        flow_l_min=np.where(told, flow, np.nan),
        flow_sd=np.array([*FLOW_SIGMA.values(), UNKNOWN_FLOW])[known["flow_by"]],
        bucket=known["flow_by"] == FLOW_BY.index("bucket"), beside_l_min=known["meter_flow_l_min"],
        volts=known["array_voltage_v"], amps=known["array_current_a"], pumping_level_m=known["pumping_level_m"],
        rest_m=known["static_level_m"],
    )  # fmt: skip


def _watched_too_shortly(fleet, row, known, sun, air, level):
    """Tests (t,) at which no water came in less time than an empty rising main takes to fill: they tell of no flow."""
    short = np.isfinite(known["watched_min"]) & (known["main_full"] == 0)
    which = np.flatnonzero(short)
    if len(which):
        some = fleet.take(np.asarray(row, int)[which])
        fills = chain.first_water(some, np.clip(sun[which], 0, 2000), air[which], np.clip(level[which], 0, 1000))
        short[which] = known["watched_min"][which] < fills
    return short


def usual_and_drawn_l(cohort, unit, day):
    """Litres of a usual day of that season by the chain, and as people draw them where a float switch limits, else
    NaN."""
    doy, one = judge.day_of_year(day), cohort.table.take(np.array([unit]))
    usual = float(one.water(np.array([0]), doy, one.prior(doy))[0][0])
    if not cohort.sites.float_switch[unit]:
        return usual, np.nan
    built = cohort.built[unit]
    need = built.fleet.need_l_day[built.row].mean()
    return usual, float(need) if np.isfinite(need) else usual
