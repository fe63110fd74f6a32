"""Weather files in the formats that the solar library reads, reduced to days.

Only the file's content is taken, never a path or an address: the library would fetch an address from the network.
"""

import io
from typing import NamedTuple

import numpy as np

from sizing import sun
from sizing.checks import Reasons, Refusal, one_of, within
from sizing.climate.air import default_air_c
from sizing.climate.days import KINDS, day_kinds
from sizing.climate.places import Climate

__all__ = ["FILE_KINDS", "WeatherFile", "read_weather_file"]

FILE_KINDS = ("epw", "tmy3", "pvgis_csv", "nsrdb_csv")
FILE_BAND = 0.06  # a judgement: a typical year is one composed year
_MIN_DAYS = 20  # of a month; less does not tell its kinds of day
_LABELLED_AT_END = {"tmy3"}  # the hour's label is its end; elsewhere its beginning or middle


class WeatherFile(NamedTuple):
    """Place of the file; its whole days in local sun's standard time, and the climate they make.

    date (d,) datetime64[D] as labelled (a typical year mixes years), ghi_kwh_m2_day (d,), air_c (d,) mean or NaN.
    left_out: how many days were dropped because hours were missing or impossible.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    date: np.ndarray
    ghi_kwh_m2_day: np.ndarray
    air_c: np.ndarray
    left_out: int
    climate: Climate


def read_weather_file(content, kind, *, source="weather file"):
    """Days and climate from the content (bytes or text) of an hourly or finer weather file.

    kind: one of FILE_KINDS. Days with missing or impossible hours are dropped and counted. Raises Refusal naming what
    is wrong: a content that is not of that kind, a month with fewer than 20 whole days, a place off the globe.
    """
    one_of(kind, FILE_KINDS, "kind")
    if not isinstance(content, bytes | str):
        raise Refusal("content", type(content).__name__, because="the file's bytes or text are needed")
    raw = content.encode() if isinstance(content, str) else content
    try:
        frame, place = _parse(raw, kind)
        when = frame.index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]")
        ghi = frame["ghi"].to_numpy(np.float64)
        air = frame["temp_air"].to_numpy(np.float64) if "temp_air" in frame else np.full(ghi.size, np.nan)
    except Refusal:
        raise
    except Exception as wrong:  # the library's readers raise whatever their parsing trips over
        raise Refusal("content", f"{raw[:40]!r}", because=f"not readable as {kind}: {wrong}") from wrong
    latitude = float(within(place[0], -90, 90, "latitude_deg"))
    longitude = float(within(place[1], -180, 360, "longitude_deg"))
    altitude = float(within(place[2], -500, 6000, "altitude_m"))
    local = when + np.timedelta64(round(longitude / 15), "h")
    if kind in _LABELLED_AT_END:
        local = local - np.timedelta64(1, "s")
    date, daily, daily_air, left_out = _whole_days(local, ghi, air, latitude)
    climate = _climate(latitude, altitude, date, daily, daily_air, source)
    return WeatherFile(latitude, longitude, altitude, date, daily, daily_air, left_out, climate)


def _parse(raw, kind):
    """The library's frame with columns ghi and temp_air, and (latitude, longitude, altitude)."""
    from pvlib import iotools

    text = io.StringIO(raw.decode("utf-8-sig", errors="replace"))
    if kind == "epw":
        frame, meta = iotools.read_epw(text)
    elif kind == "tmy3":
        frame, meta = iotools.read_tmy3(text)
    elif kind == "nsrdb_csv":
        frame, meta = iotools.read_nsrdb_psm4(text)
    else:
        frame, meta = iotools.read_pvgis_tmy(io.BytesIO(raw), pvgis_format="csv")
        meta = meta["inputs"] | {"altitude": meta["inputs"]["elevation"]}
    return frame, (meta["latitude"], meta["longitude"], meta["altitude"])


def _whole_days(local, ghi, air, latitude):
    order = np.argsort(local, kind="stable")
    local, ghi, air = local[order], ghi[order], air[order]
    dates, first, count = np.unique(local.astype("datetime64[D]"), return_index=True, return_counts=True)
    expected = int(np.median(count))
    if expected < 24:
        raise Refusal("content", f"{expected} values a day", because="hourly values or finer are needed")
    impossible = ~((ghi >= 0) & (ghi <= 1600))  # 9999 and the like stand for missing
    sums = np.add.reduceat(np.where(impossible, 0, ghi), first) * (24 / expected) / 1000
    spoilt = np.add.reduceat(impossible.astype(np.int64), first)
    above = sun.extraterrestrial_kwh_m2_day(latitude, sun.day_of_year(dates))
    good = (count == expected) & (spoilt == 0) & (sums <= np.maximum(above, 0.05))
    warm = (air > -60) & (air < 60)
    heat = np.add.reduceat(np.where(warm, air, 0), first)
    known = np.add.reduceat(warm.astype(np.int64), first)
    mean_air = np.where(known >= 0.8 * expected, heat / np.maximum(known, 1), np.nan)
    return dates[good], sums[good], mean_air[good], int(np.sum(~good))


def _climate(latitude, altitude, date, daily, daily_air, source):
    month = date.astype("datetime64[M]").astype(np.int64) % 12
    mean, kinds, air = np.empty(12), np.empty((12, KINDS)), np.empty(12)
    fallback, fallback_band = default_air_c(np.clip(latitude, -66, 66), altitude)
    air_known = True
    for m in range(12):
        here = month == m
        if here.sum() < _MIN_DAYS:
            raise Refusal("content", f"{here.sum()} whole days in month {m + 1}", because=f"{_MIN_DAYS} are needed")
        mean[m], kinds[m] = daily[here].mean(), day_kinds(daily[here])
        felt = daily_air[here][np.isfinite(daily_air[here])]
        if felt.size < _MIN_DAYS:
            air_known = False
        air[m] = felt.mean() if felt.size else np.nan
    if not air_known:
        air = fallback
    return Climate(
        mean,
        kinds,
        air,
        np.asarray(1.0) if air_known else fallback_band,
        np.asarray(FILE_BAND),
        "file",
        source,
        source if air_known else "default by latitude and altitude, fitted to ITU-R P.1510",
        Reasons(),
    )
