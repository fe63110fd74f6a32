"""From moments to a site's own calendar day, for arrays."""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

QUARTER = 900  # every zone's clock changes at a quarter hour of UTC


@lru_cache(maxsize=200_000)
def _offset(zone, quarter):
    moment = datetime.fromtimestamp(quarter * QUARTER, UTC).astimezone(ZoneInfo(zone))
    return int(moment.utcoffset().total_seconds())


@lru_cache(maxsize=200_000)
def midnight(zone, day_number):
    """The moment (seconds since 1970) at which the local day begins; `day_number` counts days from 1970-01-01."""
    day = datetime(1970, 1, 1) + timedelta(days=day_number)
    return int(day.replace(tzinfo=ZoneInfo(zone)).timestamp())


def _by_pair(function, zone_of, numbers, zones):
    """`function(zone, number)` for each row, asked once for each pair that differs."""
    answer = np.zeros(len(numbers), dtype=np.int64)
    for index in np.unique(zone_of):
        rows = np.flatnonzero(zone_of == index)
        distinct, back = np.unique(numbers[rows], return_inverse=True)
        found = np.fromiter((function(zones[index], int(n)) for n in distinct), dtype=np.int64, count=len(distinct))
        answer[rows] = found[back]
    return answer


def local(epoch_s, zone_of, zones):
    """The local day (datetime64[D]) and the seconds elapsed since it began.

    `epoch_s`: seconds since 1970 UTC (n,); `zone_of`: index into `zones` (n,); `zones`: list of IANA names.
    """
    epoch_s = np.floor(np.asarray(epoch_s, dtype=float)).astype(np.int64)
    zone_of = np.asarray(zone_of, dtype=np.int64)
    offset = _by_pair(_offset, zone_of, epoch_s // QUARTER, zones)
    day = (epoch_s + offset) // 86400
    began = _by_pair(midnight, zone_of, day, zones)
    return day.astype("datetime64[D]"), (epoch_s - began).astype(np.int32)


def moments(days, second, zone_of, zones):
    """Seconds since 1970 UTC of `second` seconds after each local day began. The reverse of `local`."""
    number = np.asarray(days).astype("datetime64[D]").astype(np.int64)
    return _by_pair(midnight, np.asarray(zone_of, dtype=np.int64), number, zones) + np.asarray(second)


def yesterday(zone, now):
    """The last local day that has ended at the moment `now` (aware)."""
    return now.astimezone(ZoneInfo(zone)).date() - timedelta(days=1)
