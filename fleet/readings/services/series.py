"""Samples finer than daily: one row an installation and day, merged by second, and the day worked out of them."""

from collections import Counter
from datetime import timedelta

import numpy as np
from django.db import connection, transaction

from fleet.readings import arrivals, staging
from fleet.readings.models import DaySeries
from fleet.readings.partitions import make_for
from fleet.readings.services import cover, logger_clock
from fleet.readings.services.days import Kept, keep_days, take_back

CHANNELS = ("flow_l_min", "irradiance_w_m2", "voltage_v", "current_a", "level_m")
HALF_QUARTER_S = 450
SAMPLES_AT_ONCE = 1_000_000


def keep_series(*, installations, days, seconds, columns, replacing=None):
    """Keep samples. Returns `Kept` in rows of installation and day.

    installations (n,) ids; days (n,) local; seconds (n,) since the local day began; columns {name of CHANNELS: (n,)},
    NaN where a sample lacks it. A sample that comes again replaces the one of the same second. The day's volume,
    irradiation and noon figures are worked out from the samples where no daily figure was reported, its sums where the
    samples cover the day (`cover`); noon is the middle of the bright hours, so that no clock has to be right to the
    minute. replacing (`dropping.Replacing`): what stood of the days that come is dropped first, not merged with.
    """
    installations = np.asarray(installations, dtype=np.int64)
    days = np.asarray(days).astype("datetime64[D]")
    seconds = np.asarray(seconds, dtype=np.int32)
    columns = {name: np.asarray(columns[name], dtype=float) for name in CHANNELS if name in columns}
    kept = Kept()
    if not len(days) or not columns:
        return kept
    make_for("readings_dayseries", days)
    if not _in_order(installations, days, seconds):  # a logger's file usually is, and sorting costs half of its intake
        order = np.lexsort((np.arange(len(days)), seconds, days, installations))
        installations, days, seconds = installations[order], days[order], seconds[order]
        columns = {name: values[order] for name, values in columns.items()}
    # The same second twice in one intake: the later line counts.
    last = np.ones(len(days), dtype=bool)
    last[:-1] = ~_same(installations, days, seconds)
    if not last.all():
        installations, days, seconds = installations[last], days[last], seconds[last]
        columns = {name: values[last] for name, values in columns.items()}
    starts = np.flatnonzero(np.append(True, (installations[1:] != installations[:-1]) | (days[1:] != days[:-1])))
    ends = np.append(starts[1:], len(days))
    piece = 0
    while piece < len(starts):
        until = max(piece + 1, int(np.searchsorted(ends, starts[piece] + SAMPLES_AT_ONCE, side="right")))
        first, last = starts[piece], ends[until - 1]
        part = slice(first, last)
        own = {name: values[part] for name, values in columns.items()}
        kept += _keep(installations[part], days[part], seconds[part], own, starts[piece:until] - first,
                      ends[piece:until] - first, replacing)  # fmt: skip
        piece = until
    return kept


def _in_order(installations, days, seconds):
    """Whether the samples come by installation, day and second already (the same second twice may stand there)."""
    unit, day, second = (column[1:].astype(np.int64) - column[:-1].astype(np.int64) for column in
                         (installations, days, seconds))  # fmt: skip
    return bool(np.all((unit > 0) | ((unit == 0) & ((day > 0) | ((day == 0) & (second >= 0))))))


def _same(installations, days, seconds):
    return (installations[1:] == installations[:-1]) & (days[1:] == days[:-1]) & (seconds[1:] == seconds[:-1])


def _keep(installations, days, seconds, columns, starts, ends, replacing=None):
    cut = list(zip(starts.tolist(), ends.tolist()))
    staged = {
        "installation_id": ("bigint", installations[starts]),
        "day": ("date", days[starts]),
        "second": ("int[]", [seconds[a:b] for a, b in cut]),
    }
    for name, values in columns.items():
        there = np.logical_or.reduceat(~np.isnan(values), starts)[: len(starts)] if len(starts) else []
        staged[name] = ("float8[]", [values[a:b] if any_ else None for (a, b), any_ in zip(cut, there)])
    names = ", ".join(columns)
    merged = [f"{name} = readings_merge(t.second, t.{name}, c.second, c.{name})" for name in columns]
    untouched = [name for name in CHANNELS if name not in columns]
    merged += [f"{name} = readings_merge(t.second, t.{name}, c.second, NULL)" for name in untouched]
    with transaction.atomic(), connection.cursor() as cursor:
        staging.stage(cursor, "came_series", staged)
        dropped = replacing.make_room(cursor, list(columns)) if replacing else 0
        new = arrivals.note(
            cursor,
            f"INSERT INTO readings_dayseries (installation_id, day, second, {names}) "
            f"SELECT installation_id, day, second, {names} FROM came_series "
            f"ON CONFLICT (installation_id, day) DO NOTHING RETURNING installation_id, day",
        )
        changed = 0
        if new < len(starts):
            merges = {name: f"readings_merge(t.second, t.{name}, c.second, c.{name})" for name in columns}
            differs = " OR ".join(f"t.{name} IS DISTINCT FROM {value}" for name, value in merges.items())
            changed = arrivals.note(
                cursor,
                f"UPDATE readings_dayseries t SET second = readings_seconds(t.second, c.second), {', '.join(merged)} "
                f"FROM came_series c WHERE t.installation_id = c.installation_id AND t.day = c.day "
                f"AND t.day BETWEEN %s AND %s "
                f"AND ((NOT t.second @> c.second) OR {differs}) RETURNING t.installation_id, t.day",
                [str(days[starts].min()), str(days[starts].max())],
            )
        if new < len(starts):
            _rework_merged(installations[starts], days[starts])
        else:
            _work_out(installations, days, seconds, columns, starts, ends)
    return Kept(new=new - dropped, changed=changed + dropped, same=len(starts) - new - changed)


def _rework_merged(installations, days):
    """Days that were put together from pieces are added up from what stands there now."""
    rows = DaySeries.objects.filter(
        installation_id__in=np.unique(installations).tolist(), day__range=(str(days.min()), str(days.max()))
    )
    _rework(rows, set(zip(installations.tolist(), days.astype(object).tolist())))


def _rework(series, wanted=None, running=(), clocks=None):
    """Days are added up anew from their samples; wanted: only these (installation, day)."""
    rows = series.values_list("installation_id", "day", "second", *CHANNELS)
    rows = sorted((row for row in rows if wanted is None or row[:2] in wanted), key=lambda row: row[:2])
    if rows and (laid := laid_out(rows))[3]:
        _work_out(*laid, running, clocks)


def laid_out(rows):
    """Rows (installation, day, second, *CHANNELS) one after another, as `_work_out` takes them."""
    lengths = np.array([len(row[2]) for row in rows])
    ends = np.cumsum(lengths)
    starts = ends - lengths
    columns = {
        name: np.concatenate([np.full(len(r[2]), np.nan) if r[at] is None else np.array(r[at], float) for r in rows])
        for at, name in enumerate(CHANNELS, start=3)
    }
    return (
        np.repeat([r[0] for r in rows], lengths),
        np.repeat(np.array([r[1] for r in rows], dtype="datetime64[D]"), lengths),
        np.concatenate([np.array(r[2], dtype=np.int32) for r in rows]),
        {name: values for name, values in columns.items() if not np.isnan(values).all()},
        starts,
        ends,
    )


def beside_the_volume(installations, days, seconds, columns, starts, ends):
    """Irradiation and noon figures (days,) that these samples give, by name; what is known by now of a clock that is
    wrong is taken into account."""
    whose, when = installations[starts], days[starts]
    found = {}
    if "irradiance_w_m2" in columns:
        sun = cover.Channel(columns["irradiance_w_m2"], seconds, starts, ends)
        found["irradiation_kwh_m2"] = np.maximum(sun.total(len(starts)), 0) / 3.6e6
    ahead = _ahead(_wrong_hours(whose, when), whose, when)
    return found | _noon_figures(columns, seconds, starts, ends, ahead)


def _work_out(installations, days, seconds, columns, starts, ends, running=(), clocks=None):
    """The day's volume, irradiation and noon figures, from samples in order of installation, day and second. running:
    installations that are known already to write only while water flows; clocks: what is known already of clocks that
    are wrong (`logger_clock.wrong_hours`)."""
    whose, when = installations[starts], days[starts]
    light, found, young = cover.Light.over(whose, when), {}, []
    told = {}
    if clocks is None and {"flow_l_min", "irradiance_w_m2"} & set(columns):
        lacks = _lacks_light(columns, seconds, starts, ends, light) & ~np.isin(whose, list(running))
        told = clocks = _wrong_hours(whose[lacks], when[lacks])
    ahead = _ahead(clocks or {}, whose, when)
    by_clock = light.by_clock(np.nan_to_num(ahead))
    if "flow_l_min" in columns:
        flow = cover.Channel(columns["flow_l_min"], seconds, starts, ends)
        volume, whole = np.maximum(flow.total(len(starts)), 0) / 60, _whole(flow, light, len(starts))
        whole |= np.isin(whose, list(running)) | np.isfinite(ahead) & _whole(flow, by_clock, len(starts))
        if not whole.all():
            habit = cover.writing_only_while_running(np.unique(whose[~whole]), when.min().item(), when.max().item())
            whole |= np.isin(whose, list(habit))
            young = [pk for pk, known in habit.items() if known <= 2 * cover.HABIT_DAYS]  # its first days count now
        found["volume_l"] = np.where(whole, volume, np.nan)
        part = ~whole & ~np.isnan(volume)
        take_back(installations=whose[part], days=when[part], name="volume_l")
    if "irradiance_w_m2" in columns:
        sun = cover.Channel(columns["irradiance_w_m2"], seconds, starts, ends)
        irradiation, whole = np.maximum(sun.total(len(starts)), 0) / 3.6e6, _whole(sun, light, len(starts))
        whole |= np.isfinite(ahead) & _whole(sun, by_clock, len(starts))
        found["irradiation_kwh_m2"] = np.where(whole, irradiation, np.nan)
        part = ~whole & ~np.isnan(irradiation)
        take_back(installations=whose[part], days=when[part], name="irradiation_kwh_m2")
    found |= _noon_figures(columns, seconds, starts, ends, ahead)
    if found:
        keep_days(installations=whose, days=when, columns=found, derived=True)
    if young:
        _rework(DaySeries.objects.filter(installation_id__in=young, day__gte=when.min().item() - timedelta(days=
                cover.REMEMBERED_DAYS), day__lt=when.max().item()), running=young)  # fmt: skip
    if told:
        _count_first_days(told, whose, when)


def _noon_figures(columns, seconds, starts, ends, ahead):
    noon, found = _around_noon(columns, seconds, starts, ends, np.nan_to_num(ahead)), {}
    pairs = {"irradiance_w_m2": "noon_irradiance_w_m2", "voltage_v": "noon_voltage_v", "current_a": "noon_current_a"}
    for name, target in (pairs | {"level_m": "noon_level_m"}).items():
        if name in columns:
            known = noon & ~np.isnan(columns[name])
            count = np.add.reduceat(known.astype(int), starts)
            added = np.add.reduceat(np.where(known, columns[name], 0.0), starts)
            with np.errstate(invalid="ignore"):
                found[target] = np.where(count > 0, added / np.maximum(count, 1), np.nan)
    return found


def _lacks_light(columns, seconds, starts, ends, light):
    """Days of which a channel does not tell the whole by a clock that is right (days,)."""
    lacks = np.zeros(len(starts), bool)
    for name in ("flow_l_min", "irradiance_w_m2"):
        if name in columns:
            lacks |= ~_whole(cover.Channel(columns[name], seconds, starts, ends), light, len(starts))
    return lacks


def _wrong_hours(whose, when):
    if not len(whose):
        return {}
    return logger_clock.wrong_hours(np.unique(whose), when.min().item(), when.max().item())


def _ahead(clocks, whose, when):
    """Hours that each day's clock is ahead of the sun, NaN where that is not known, or the day runs over midnight."""
    if not clocks:
        return np.full(len(whose), np.nan)
    told = (clocks.get(key) for key in zip(whose.tolist(), when.astype(object).tolist(), strict=True))
    return np.array([np.nan if off is None or off.split else off.hours for off in told])


def _count_first_days(told, whose, when):
    """Days that were kept before it was known that the clock is wrong count now, as soon as it is."""
    known = Counter(pk for pk, _day in told)
    came = set(zip(whose.tolist(), when.astype(object).tolist(), strict=True))
    first = {key for key in told if key not in came and known[key[0]] <= 2 * logger_clock.DAYS}
    if first:
        days = [day for _pk, day in first]
        some = {pk for pk, _day in first}
        rows = DaySeries.objects.filter(installation_id__in=some, day__range=(min(days), max(days)))
        _rework(rows, first, clocks=told)


def _whole(channel, light, count):
    """Which of the days this channel's samples cover (count,); those without a sample are no part of a day."""
    whole = np.ones(count, dtype=bool)
    whole[channel.days] = channel.light_covered(light) >= cover.LEAST_COVERED
    return whole


def _around_noon(columns, seconds, starts, ends, ahead_h):
    """Samples of the quarter hour around the middle of the bright hours (of the day where sun is unknown, by a clock
    that is so many hours ahead)."""
    middle = 43200.0 + 3600 * ahead_h
    sun = columns.get("irradiance_w_m2")
    if sun is not None:
        weight = np.nan_to_num(np.maximum(sun, 0))
        whole = np.add.reduceat(weight, starts)
        bright = whole > 0
        centre = np.add.reduceat(weight * seconds, starts) / np.where(bright, whole, 1)
        middle = np.where(bright, centre, middle)
    return np.abs(seconds - np.repeat(middle, ends - starts)) <= HALF_QUARTER_S
