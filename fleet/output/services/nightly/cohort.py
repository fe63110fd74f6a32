"""What does not change from night to night for the installations that are judged together."""

from dataclasses import dataclass

import numpy as np

from fleet.output.climates import climates
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Baseline
from fleet.output.services.nightly import places
from fleet.output.services.nightly.packing import pack_table, unpack_table
from fleet.people.models import Organisation
from fleet.readings import staging
from fleet.readings.models import SpotTest
from sizing import judge, sun
from sizing.causes import table as tables
from sizing.chain.prepare import DAYLIGHT_WARMER_K

USUAL_AIR_C = 30.0  # of a spot test where nobody wrote it down (common practice, no source)


@dataclass
class Cohort:
    """Arrays go with `ids`. first: first day with a reading (days since 1970-01-01), -1 where there is none."""

    ids: np.ndarray
    rows: object  # FleetRows
    table: object  # causes.table.Table
    sites: object  # judge.nightly.Sites
    net: object  # judge.weather.Network
    first: np.ndarray
    last: np.ndarray  # last day on which the unit hung there
    level: np.ndarray  # log of own output over the chain's, by the tests at commissioning
    level_sd: np.ndarray
    hashes: list
    daily: np.ndarray  # reports day by day
    limits: np.ndarray  # log odds that raise a flag, by the organisation's one setting
    rates: object = None
    places: object = None  # Places with a weather record, tellers behind the units in `net`
    sound_from: np.ndarray = None  # day from which a fault could have begun

    @property
    def fleet(self):
        return self.rows.fleet

    def __len__(self):
        return len(self.ids)


def load(ids, year):
    """The Cohort of these installations, those of which nothing can be computed left out; {id: why} of the latter."""
    rows = read_fleet(ids, year)
    trouble = dict(rows.trouble)
    if not len(rows):
        return None, trouble
    kept = {
        pk: (table, digest)
        for pk, table, digest in Baseline.objects.filter(pk__in=rows.ids.tolist(), trouble="").values_list(
            "pk", "table", "inputs_hash"
        )
    }
    packed = [kept.get(pk, (None, ""))[0] for pk in rows.ids.tolist()]
    table, good = unpack_table(packed)
    if not good.all():
        made, reasons = _make_tables(rows, np.flatnonzero(~good))
        trouble |= {int(rows.ids[row]): why for row, why in reasons.items()}
        packed = [made.get(n, p if good[n] else None) for n, p in enumerate(packed)]
        table, good = unpack_table(packed)
    if table is None:
        return None, trouble
    if not good.all():
        rows = take(rows, good)
    level, level_sd = first_levels(rows)
    first, last = _spans(rows)
    facts = rows.facts
    sites = judge.Sites(
        rows.fleet.float_switch.astype(bool), facts["meter_rollover_l"], facts["level"] == 2,
    )  # fmt: skip
    lat, lon = rows.fleet.latitude_deg, rows.fleet.longitude_deg
    around = places.load(np.unique(facts["organisation_id"]).tolist(), lat, lon)
    net = judge.network(
        np.append(lat, around.latitude_deg), np.append(lon, around.longitude_deg),
        np.append(facts["level"] > 0, np.ones(len(around), bool)),
    )  # fmt: skip
    daily = facts["level"] > 0
    alarms = dict(Organisation.objects.values_list("pk", "false_alarms_per_100_unit_years"))
    return Cohort(
        ids=rows.ids, rows=rows, table=table, sites=sites, net=net, first=first, last=last, level=level,
        level_sd=level_sd, hashes=[kept.get(pk, (None, ""))[1][:16] for pk in rows.ids.tolist()],
        daily=daily, limits=judge.limit(
            np.array([alarms[o] for o in facts["organisation_id"].tolist()]), daily, sites.has_cell
        ),
        places=around,
    ), trouble  # fmt: skip


def take(rows, which):
    """Some rows of a FleetRows."""
    place = np.flatnonzero(which)
    return type(rows)(
        ids=rows.ids[place], fleet=rows.fleet.take(place), facts={k: v[place] for k, v in rows.facts.items()},
        zones=[rows.zones[n] for n in place], pump_kinds=rows.pump_kinds[place], own_ghi=rows.own_ghi[place],
        own_air=rows.own_air[place], trouble=rows.trouble, assumed=rows.assumed,
    )  # fmt: skip


def _make_tables(rows, missing):
    """Tables of these rows, stored with their baseline: ({row: bytes}, {row: why there is none})."""
    part = take(rows, np.isin(np.arange(len(rows)), missing))
    sun_here, reasons, _sources = climates(part)
    above = sun.extraterrestrial_kwh_m2_day(part.fleet.latitude_deg[:, None], tables.MID_MONTH)
    usual = tables.scale(np.clip(sun_here.ghi_kwh_m2_day / above, 0.1, 0.8))
    shift = part.fleet.longitude_deg / 15 - _offsets(part.zones)
    table = tables.build(part.fleet, usual, shift, sun_here.air_c + DAYLIGHT_WARMER_K)
    packed = pack_table(table)
    made = {int(row): packed[n] for n, row in enumerate(missing) if n not in reasons}
    for row, raw in made.items():
        Baseline.objects.filter(pk=int(rows.ids[row])).update(table=raw)
    return made, {int(missing[n]): why for n, why in reasons.items()}


def _offsets(zones):
    """Hours that each zone's clock is before UTC in January; summer time moves a meter's hour by one, no more."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    known = {z: datetime(2024, 1, 15, tzinfo=ZoneInfo(z)).utcoffset().total_seconds() / 3600 for z in set(zones)}
    return np.array([known[z] for z in zones])


def _spans(rows):
    """First day with a reading and last day of hanging, in days since 1970-01-01."""
    ids = rows.ids.tolist()
    got = staging.fetch(
        {"id": ("bigint", "x.id"), "first": ("date", "x.first"), "last": ("date", "x.last")},
        """FROM (
             SELECT i.id, coalesce(least(
               (SELECT d.day FROM readings_dayrecord d WHERE d.installation_id = i.id ORDER BY d.day LIMIT 1),
               (SELECT (m.at AT TIME ZONE s.zone)::date FROM readings_meterreading m WHERE m.installation_id = i.id
                ORDER BY m.at LIMIT 1)), '1900-01-01') AS first,
               coalesce((upper(i.period) AT TIME ZONE s.zone)::date, '2999-12-31') AS last
             FROM registry_installation i JOIN registry_well w ON w.id = i.well_id
             JOIN registry_site s ON s.id = w.site_id WHERE i.id = ANY(%s)) x""",
        [ids],
        order="x.id",
    )
    first = got["first"].astype("datetime64[D]").astype(np.int64)
    return np.where(got["first"] > np.datetime64("1950-01-01"), first, -1), got["last"].astype(np.int64)


def first_levels(rows):
    """Own level (log) and its doubt from the tests at commissioning (n,), where there are any."""
    ids = rows.ids.tolist()
    place = {pk: n for n, pk in enumerate(ids)}
    tests = list(
        SpotTest.objects.filter(
            installation_id__in=ids, kind__in=["commissioning", "after_work"], standing__in=(0, 2),
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
