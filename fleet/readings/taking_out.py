"""Kept readings out again, in the columns they come in with: what is written here can be read here.

Times carry their zone; a day stands alone where nobody wrote the hour down. Volumes worked out from a finer series are
left out: they come again with the series.
"""

from datetime import UTC, date, datetime, timedelta
from itertools import chain
from zoneinfo import ZoneInfo

from fleet.readings.models import DayRecord, DaySeries, MeterReading, SpotTest
from fleet.readings.zones import midnight

SERIAL, ZONE = "installation__unit__serial", "installation__well__site__zone"
NOON = {"irradiance_w_m2": "noon_irradiance_w_m2", "voltage_v": "noon_voltage_v", "current_a": "noon_current_a",
        "level_m": "noon_level_m"}  # fmt: skip
SERIES = ("flow_l_min", "irradiance_w_m2", "voltage_v", "current_a", "level_m")
AT_ONCE = 5000


def _of(model, organisation, *order):
    return model.objects.filter(installation__organisation=organisation).order_by(SERIAL, *order)


def _days(rows, since, through):
    if since:
        rows = rows.filter(day__gte=since)
    return rows.filter(day__lte=through) if through else rows


def _moments(rows, since, through):
    """A day wider on both sides; which day it was at the site is looked at row by row."""
    if since:
        rows = rows.filter(at__gte=datetime(since.year, since.month, since.day, tzinfo=UTC) - timedelta(days=1))
    if through:
        rows = rows.filter(at__lt=datetime(through.year, through.month, through.day, tzinfo=UTC) + timedelta(days=2))
    return rows


def _within(day, since, through):
    return (since is None or day >= since) and (through is None or day <= through)


def daily(organisation, since=None, through=None):
    names = ("volume_l", "irradiation_kwh_m2", "tank_full_seen")
    rows = _days(_of(DayRecord, organisation, "day"), since, through).filter(derived=False)
    for serial, day, *values in rows.values_list(SERIAL, "day", *names).iterator(AT_ONCE):
        if any(value is not None for value in values):
            yield {"serial": serial, "at": day} | dict(zip(names, values, strict=True))


def noon(organisation, since=None, through=None):
    rows = _days(_of(DayRecord, organisation, "day"), since, through)
    for serial, day, *values in rows.values_list(SERIAL, "day", *NOON.values()).iterator(AT_ONCE):
        if any(value is not None for value in values):
            yield {"serial": serial, "at": day} | dict(zip(NOON, values, strict=True))


def meter(organisation, since=None, through=None):
    rows = _moments(_of(MeterReading, organisation, "at"), since, through)
    names = ("at", "hour_known", "total_l", "tank_full_seen")
    for serial, zone, at, hour_known, total, full in rows.values_list(SERIAL, ZONE, *names).iterator(AT_ONCE):
        day = at.astimezone(ZoneInfo(zone)).date()
        if _within(day, since, through):
            yield {"serial": serial, "at": at if hour_known else day, "total_l": total, "tank_full_seen": full}


def series(organisation, since=None, through=None):
    """A row a moment. The seconds of a kept day count from its beginning at the site."""
    rows = _days(_of(DaySeries, organisation, "day"), since, through)
    for serial, zone, day, seconds, *columns in rows.values_list(SERIAL, ZONE, "day", "second", *SERIES).iterator(500):
        began = midnight(zone, (day - date(1970, 1, 1)).days)
        for n, second in enumerate(seconds):
            values = {name: column[n] if column else None for name, column in zip(SERIES, columns, strict=True)}
            yield {"serial": serial, "at": datetime.fromtimestamp(began + second, UTC)} | values


def mixed(organisation, since=None, through=None):
    kinds = {"meter": meter, "daily": daily, "noon": noon}
    return chain.from_iterable(
        ({"kind": kind} | row for row in rows(organisation, since, through)) for kind, rows in kinds.items()
    )


def spot_tests(organisation, names, since=None, through=None):
    """`names`: the columns wanted. One fill of the bucket has its own two columns; of several only the flow is told."""
    rows = _moments(_of(SpotTest, organisation, "at"), since, through).select_related(
        "installation__unit", "installation__well__site"
    )
    renamed = {"voltage_v": "array_voltage_v", "current_a": "array_current_a"}
    for test in rows.iterator(AT_ONCE):
        if not _within(test.at.astimezone(ZoneInfo(test.installation.well.site.zone)).date(), since, through):
            continue
        fill = test.repeats[0] if len(test.repeats) == 1 else {}
        own = {"serial": test.installation.unit.serial, "bucket_l": fill.get("litres"), "seconds": fill.get("seconds")}
        own["no_water"] = True if test.watched_min is not None else None
        yield own | {name: getattr(test, renamed.get(name, name)) for name in names if name not in own}
