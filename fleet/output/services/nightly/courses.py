"""Days by quarter hours of the units whose causes are asked: read from the samples as they stand, for those units only.

Nothing of it is stored with the evaluations: a night reads what it needs of the few units it asks about, so that
samples which came late or were put right count as they are, and bringing readings in costs no more than before.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from fleet.output.services.nightly.load import as_date, as_number
from fleet.readings import staging
from fleet.readings.services import cover, logger_clock
from sizing import sun
from sizing.causes import channels, shape
from sizing.judge import day_of_year

SAMPLES = ("flow_l_min", "current_a", "irradiance_w_m2")
PLACE = 5 + len(SAMPLES)  # of the latitude in a row


class Courses:
    """Courses by unit, fetched when a unit is first asked about, through the last day of a stretch of nights."""

    def __init__(self, ids, first, last):
        self.ids, self.first, self.last = ids, first, last
        self.rows = {}  # unit -> (days, flow, current, sun), or None where it keeps no samples
        self.due = {}  # (unit, month) -> shape.Due

    def know(self, units):
        missing = [unit for unit in units if unit not in self.rows]
        if missing:
            places = dict(zip(self.ids[missing].tolist(), missing))
            self.rows |= dict.fromkeys(missing)
            self.rows |= {places[pk]: course for pk, course in read(list(places), self.first, self.last).items()}

    def of(self, unit, built, day):
        """The shape.Course, up to a day, of a unit that was made known, or None. built: its cohort.Built."""
        if self.rows[unit] is None:
            return None
        month = int(np.datetime64(int(day), "D").astype("datetime64[M]").astype(int) % 12)
        if (unit, month) not in self.due:
            self.due[unit, month] = shape.due(built.fleet, built.row, month)
        return shape.course(*self.rows[unit], self.due[unit, month], day)


def read(ids, first, last):
    """{installation: (days, flow, current, sun)} of those that keep samples, as the nights first..last count them; all
    but the days (days, quarters)."""
    counting = (
        f"s.day BETWEEN %s AND %s AND (s.day > %s OR (s.day - DATE '1970-01-01') %% {shape.EVERY} = 0) "
        "AND s.installation_id = ANY(%s)"
    )
    ages = (channels.NOON_DAYS, first - last, shape.NEWEST_DAYS)
    rows = _by_installation(counting, [*(as_date(first - age) for age in ages), ids])
    found = {}
    for pk, some in rows.items():
        good, ahead_h = _by_the_sun(some)
        if good.any():
            some, ahead_h = [row for row, use in zip(some, good, strict=True) if use], ahead_h[good]
            found[pk] = (np.array([as_number(row[1]) for row in some]), *in_quarters(some, ahead_h))
    return found


def _by_the_sun(rows):
    """Which days of one logger may be used, and how many hours its clock was ahead of the sun on each."""
    latitude, longitude, zone = (np.full(len(rows), rows[0][at]) for at in (PLACE, 2, 3))
    days = [row[1] for row in rows]
    light = cover.Light.at(latitude, longitude, zone, np.array(days, dtype="datetime64[D]"))
    return logger_clock.put_right(days, [logger_clock.sampled((row[4], row[5], row[7])) for row in rows], light)


def in_quarters(rows, ahead_h):
    """SAMPLES by quarter hours of sun time, each (days, quarters)."""
    hour = np.concatenate([_sun_time(row) - ahead for row, ahead in zip(rows, ahead_h, strict=True)])
    place = np.repeat(np.arange(len(rows)), [len(row[4]) for row in rows])
    return [
        shape.by_quarters(place, hour, np.concatenate([_floats(row[at], len(row[4])) for row in rows]), len(rows))
        for at in range(5, 5 + len(SAMPLES))
    ]


def _by_installation(where, params):
    rows = staging.fetch_rows(
        f"SELECT s.installation_id, s.day, i.longitude_deg, i.zone, s.second, {', '.join('s.' + n for n in SAMPLES)}, "
        "i.latitude_deg FROM readings_dayseries s JOIN (SELECT i.id, t.latitude_deg, t.longitude_deg, t.zone "
        "FROM registry_installation i JOIN registry_well w ON w.id = i.well_id "
        "JOIN registry_site t ON t.id = w.site_id) i "
        f"ON i.id = s.installation_id WHERE {where} "
        "AND (s.flow_l_min IS NOT NULL OR s.current_a IS NOT NULL) ORDER BY s.installation_id, s.day", params,
    )  # fmt: skip
    found = {}
    for row in rows:
        found.setdefault(row[0], []).append(row)
    return found


def _sun_time(row):
    """Hours of sun time of a day's samples; the clock as it stood on that day, summer time and all."""
    _pk, day, longitude_deg, zone, second, *_ = row
    before_utc_h = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).utcoffset().total_seconds() / 3600
    shift = longitude_deg / 15 - before_utc_h + sun.equation_of_time_min(day_of_year(as_number(day))) / 60
    return np.array(second) / 3600 + shift


def _floats(values, n):
    return np.full(n, np.nan) if values is None else np.array(values, dtype=float)
