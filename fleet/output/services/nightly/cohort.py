"""What does not change from night to night for the installations that are judged together.

A healthy unit needs little: where it is, how it reports, its table. What it is built of is read when it is first judged
and when its causes are asked about, and for those installations only.
"""

from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property
from typing import NamedTuple

import numpy as np

from fleet.output.climates import climates
from fleet.output.fleet_arrays import KINDS, read_fleet
from fleet.output.models import Baseline
from fleet.output.services.nightly import places
from fleet.output.services.nightly.packing import pack_table, unpack_table
from fleet.people.models import Organisation
from fleet.readings import staging
from fleet.readings.models import SpotTest
from sizing import judge, sun
from sizing.causes import table as tables
from sizing.chain.prepare import DAYLIGHT_WARMER_K
from sizing.judge.bank import AGES

USUAL_AIR_C = 30.0  # of a spot test where nobody wrote it down (common practice, no source)


class Built(NamedTuple):
    """What an installation is built of: its row in a fleet; own level (log) by its first tests, and its doubt."""

    fleet: object  # chain.Fleet
    row: int
    level: float
    level_sd: float

    @property
    def age_y(self):
        return float(self.fleet.age_y[self.row])


@dataclass
class Cohort:
    """Arrays go with `ids`. first, last: days since 1970-01-01; `first` as far as `know_first` asked for it."""

    ids: np.ndarray
    year: int
    facts: dict  # arrays by name of FACTS
    table: object  # causes.table.Table
    sites: object  # judge.nightly.Sites
    net: object  # judge.weather.Network
    marks: np.ndarray  # of the baselines: the first 16 digits of their hashes as numbers, 0 where there is none
    last: np.ndarray  # last day on which the unit hung there
    daily: np.ndarray  # reports day by day
    limits: np.ndarray  # log odds that raise a flag, by the organisation's one setting
    rates: object = None
    places: object = None  # Places with a weather record, tellers behind the units in `net`
    sound_from: np.ndarray = None  # day from which a fault could have begun
    first: np.ndarray = None  # first day with a reading, -1 where there is none; UNASKED
    built: dict = field(default_factory=dict)  # place -> Built

    def __len__(self):
        return len(self.ids)

    @cached_property
    def around(self):
        """Who is asked about the season (judge.season.Around): worked out on nights on which it is."""
        return judge.around(self.facts["latitude_deg"], self.facts["longitude_deg"])

    def know_first(self, units):
        """Look up the first readings of these units, as far as they are not known yet."""
        units = np.asarray(units, dtype=int)
        units = units[self.first[units] == UNASKED]
        if units.size:
            self.first[units] = _first_readings(self.ids[units])

    def know_built(self, units):
        """Look up what these units are built of. What cannot be computed is left out."""
        units = [int(u) for u in units if int(u) not in self.built]
        if not units:
            return
        rows = read_fleet(self.ids[units], self.year)
        if not len(rows):
            return
        level, level_sd = first_levels(rows)
        for n, place in enumerate(np.searchsorted(self.ids, rows.ids).tolist()):
            self.built[place] = Built(rows.fleet, n, float(level[n]), float(level_sd[n]))

    def fleets_of(self, units):
        """[(fleet, those of the units that stand in it)]: what was read together is worked out together."""
        found = {}
        for unit in units:
            fleet = self.built[unit].fleet
            found.setdefault(id(fleet), (fleet, []))[1].append(unit)
        return list(found.values())


UNASKED = -2
# A dry-run probe hangs about so far above the pump (common practice, no source); nearer to either than so much the
# water is taken for gone: by so much levels and depths are off.
PROBE_ABOVE_M, NEAR_M = 1.0, 0.5
FACTS = {
    "id": ("bigint", "i.id"),
    "organisation_id": ("bigint", "i.organisation_id"),
    "latitude_deg": ("float8", "s.latitude_deg"),
    "longitude_deg": ("float8", "s.longitude_deg"),
    "people_served": ("int", "s.people_served"),
    "float_switch": ("smallint", "coalesce(t.float_switch, false)::int"),
    "meter_rollover_l": ("float8", "i.meter_rollover_l"),
    "level": ("smallint", "CASE i.instrument_level WHEN 'meter' THEN 0 WHEN 'daily' THEN 1 ELSE 2 END"),
    "kind": ("smallint", "CASE p.kind " + " ".join(f"WHEN '{k}' THEN {n}" for n, k in enumerate(KINDS)) + " END"),
    "dry_from_m": (
        "float8",
        "i.setting_depth_m - coalesce(w.datum_above_ground_m, 0) "
        f"- CASE WHEN i.dry_run_probe THEN {PROBE_ABOVE_M} ELSE 0 END - {NEAR_M}",
    ),
    "last": ("date", "coalesce((upper(i.period) AT TIME ZONE s.zone)::date, '2999-12-31')"),
}


def load(ids, year):
    """The Cohort of these installations, those of which nothing can be computed left out; {id: why} of the latter."""
    facts = staging.fetch(
        FACTS,
        """FROM registry_installation i JOIN registry_well w ON w.id = i.well_id
           JOIN registry_site s ON s.id = w.site_id JOIN registry_unit u ON u.id = i.unit_id
           JOIN registry_pumptype p ON p.id = u.pump_type_id
           LEFT JOIN registry_tank t ON t.well_id = w.id WHERE i.id = ANY(%s)""",
        [[int(i) for i in ids]], order="i.id",
    )  # fmt: skip
    table, good, marks, trouble = _tables(facts["id"], year)
    if table is None:
        return None, trouble
    facts = {name: values[good] for name, values in facts.items()}
    lat, lon = facts["latitude_deg"], facts["longitude_deg"]
    around = places.load(np.unique(facts["organisation_id"]).tolist(), lat, lon)
    by_record = np.ones(len(around), bool)
    net = judge.network(
        np.append(lat, around.latitude_deg), np.append(lon, around.longitude_deg),
        np.append(facts["level"] > 0, by_record), has_cell=np.append(facts["level"] == 2, by_record),
    )  # fmt: skip
    daily = facts["level"] > 0
    sites = judge.Sites(
        facts["float_switch"] > 0, facts["meter_rollover_l"], facts["level"] == 2, facts["dry_from_m"],
        facts["organisation_id"], np.stack([lat, lon], axis=1),
    )  # fmt: skip
    alarms = dict(Organisation.objects.values_list("pk", "false_alarms_per_100_unit_years"))
    return Cohort(
        ids=facts["id"], year=year, facts=facts, table=table, sites=sites,
        net=net,
        last=facts["last"].astype("datetime64[D]").astype(np.int64), daily=daily,
        limits=judge.limit(
            np.array([alarms[o] for o in facts["organisation_id"].tolist()]), daily, sites.has_cell
        ),
        places=around,
        first=np.full(len(facts["id"]), UNASKED), marks=marks[good],
    ), trouble  # fmt: skip


def _tables(ids, year):
    """(Table of those that have one or of which one can be made, which these are (bool), marks, {id: why not})."""
    kept = {
        pk: (raw, mark)
        for pk, raw, mark in staging.fetch_rows(
            """SELECT installation_id, "table", CASE WHEN inputs_hash ~ '^[0-9a-f]{16}' THEN
               ('x' || left(inputs_hash, 16))::bit(64)::bigint ELSE 0 END
               FROM output_baseline WHERE installation_id = ANY(%s) AND trouble = ''""",
            [ids.tolist()],
        )
    }
    packed = [kept.get(pk, (None, 0))[0] for pk in ids.tolist()]
    marks = np.array([kept.get(pk, (None, 0))[1] for pk in ids.tolist()], dtype=np.int64)
    table, good = unpack_table(packed)
    if good.all():
        return table, good, marks, {}
    rows = read_fleet(ids[~good], year)
    trouble = dict(rows.trouble)
    if len(rows):
        made, reasons = _make_tables(rows)
        trouble |= reasons
        packed = [made.get(pk, raw if ok else None) for pk, raw, ok in zip(ids.tolist(), packed, good.tolist())]
        table, good = unpack_table(packed)
    return table, good, marks, trouble


def _make_tables(rows):
    """Tables of these rows, stored with their baseline: ({id: bytes}, {id: why there is none})."""
    sun_here, reasons, _sources = climates(rows)
    above = sun.extraterrestrial_kwh_m2_day(rows.fleet.latitude_deg[:, None], tables.MID_MONTH)
    usual = tables.scale(np.clip(sun_here.ghi_kwh_m2_day / above, 0.1, 0.8))
    shift = rows.fleet.longitude_deg / 15 - _offsets(rows.zones)
    spread = tables.spread_of(sun_here.day_ghi_kwh_m2_day, above)
    packed = pack_table(tables.build(rows.fleet, usual, shift, sun_here.air_c + DAYLIGHT_WARMER_K, spread=spread))
    made = {pk: packed[n] for n, pk in enumerate(rows.ids.tolist()) if n not in reasons}
    for pk, raw in made.items():
        Baseline.objects.filter(pk=pk).update(table=raw)
    return made, {int(rows.ids[n]): why for n, why in reasons.items()}


def _offsets(zones):
    """Hours that each zone's clock is before UTC in January; summer time moves a meter's hour by one, no more."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    known = {z: datetime(2024, 1, 15, tzinfo=ZoneInfo(z)).utcoffset().total_seconds() / 3600 for z in set(zones)}
    return np.array([known[z] for z in zones])


def _first_readings(ids):
    """First day with a reading of each of these, in days since 1970-01-01; -1 where there is none.

    A test on a visit that stands before all other readings says what may have begun since the unit was last tested as
    sound, or since it hangs there, as far back as a loss is looked for.
    """
    got = staging.fetch(
        {"id": ("bigint", "x.id"), "first": ("date", "x.first")},
        """FROM (
             SELECT i.id, coalesce(least(r.day, CASE WHEN v.at IS NOT NULL AND (r.day IS NULL OR v.day < r.day) THEN
               least(v.day, greatest(v.day - %s, coalesce(
                 (SELECT max(q.at AT TIME ZONE s.zone)::date FROM readings_spottest q WHERE q.installation_id = i.id
                  AND q.kind <> 'visit' AND q.standing IN (0, 2) AND coalesce(q.flow_l_min, 1) > 0 AND q.at < v.at),
                 (lower(i.period) AT TIME ZONE s.zone)::date))) END), '1900-01-01') AS first
             FROM registry_installation i JOIN registry_well w ON w.id = i.well_id
             JOIN registry_site s ON s.id = w.site_id
             CROSS JOIN LATERAL (SELECT least(
               (SELECT d.day FROM readings_dayrecord d WHERE d.installation_id = i.id ORDER BY d.day LIMIT 1),
               (SELECT (m.at AT TIME ZONE s.zone)::date FROM readings_meterreading m WHERE m.installation_id = i.id
                ORDER BY m.at LIMIT 1)) AS day) r
             LEFT JOIN LATERAL (SELECT q.at, (q.at AT TIME ZONE s.zone)::date AS day FROM readings_spottest q
               WHERE q.installation_id = i.id AND q.kind = 'visit' AND q.standing IN (0, 2)
               AND q.flow_l_min IS NOT NULL ORDER BY q.at LIMIT 1) v ON true
             WHERE i.id = ANY(%s)) x""",
        [int(AGES[-1]), ids.tolist()],
        order="x.id",
    )
    first = got["first"].astype("datetime64[D]").astype(np.int64)
    return np.where(got["first"] > np.datetime64("1950-01-01"), first, -1)


def sound_or_hung(ids, number):
    """Local day (n,) on which each was last tested as sound before a day, or on which it was hung; work after which no
    water came has put nothing right."""
    got = staging.fetch(
        {"id": ("bigint", "i.id"), "day": ("date", "coalesce(q.day, (lower(i.period) AT TIME ZONE s.zone)::date)")},
        """FROM registry_installation i JOIN registry_well w ON w.id = i.well_id
           JOIN registry_site s ON s.id = w.site_id
           LEFT JOIN LATERAL (SELECT max(q.at AT TIME ZONE s.zone)::date AS day FROM readings_spottest q
             WHERE q.installation_id = i.id AND q.kind <> 'visit' AND q.standing IN (0, 2)
             AND coalesce(q.flow_l_min, 1) > 0 AND q.at < %s::date) q ON true WHERE i.id = ANY(%s)""",
        [np.datetime64(int(number), "D").item() + timedelta(days=1), ids.tolist()], order="i.id",
    )  # fmt: skip
    return got["day"].astype("datetime64[D]").astype(np.int64)


def zones_of(ids):
    """{installation: its zone's name}."""
    return dict(
        staging.fetch_rows(
            "SELECT i.id, s.zone FROM registry_installation i JOIN registry_well w ON w.id = i.well_id "
            "JOIN registry_site s ON s.id = w.site_id WHERE i.id = ANY(%s)",
            [[int(i) for i in ids]],
        )
    )


def first_levels(rows):
    """Own level (log) and its doubt from the tests at commissioning (n,), where there are any."""
    ids = rows.ids.tolist()
    place = {pk: n for n, pk in enumerate(ids)}
    tests = list(
        SpotTest.objects.filter(
            installation_id__in=staging.among(ids), kind__in=["commissioning", "after_work"], standing__in=(0, 2),
            irradiance_w_m2__gt=0, flow_l_min__gt=0,
        ).order_by("at").values_list("installation_id", "irradiance_w_m2", "air_c", "static_level_m", "flow_l_min")
    )  # fmt: skip
    if not tests:
        return judge.first_level(rows.fleet, [], [], [], [], [])
    unit = np.array([place[t[0]] for t in tests])
    columns = np.array([[np.nan if v is None else v for v in t[1:]] for t in tests], dtype=float)
    sun_w, air, static, flow = columns.T
    # A test without a dip of its own was mostly taken on the same morning as one that has one.
    first = np.full(len(ids), np.nan)
    for n in range(len(tests) - 1, -1, -1):
        if np.isfinite(static[n]):
            first[unit[n]] = static[n]
    return judge.first_level(
        rows.fleet, unit, sun_w, np.where(np.isfinite(air), air, USUAL_AIR_C), flow,
        np.where(np.isfinite(static), static, first[unit]),
    )  # fmt: skip
