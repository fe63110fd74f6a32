"""What the sun did on real days: files of open weather services, reduced to daily irradiation and air.

A typical year tells what is usual; these tell what was. Only the file's content is taken, never a path or an address.
"""

import io
import json
from typing import NamedTuple

import numpy as np

from sizing.checks import Refusal, one_of, within
from sizing.climate.files import _whole_days

__all__ = ["RECORD_KINDS", "DailyWeather", "daily_weather", "read_daily_weather"]

RECORD_KINDS = ("power_json", "pvgis_hourly", "cams_csv", "nsrdb_csv")
_MISSING_POWER = -999.0


class DailyWeather(NamedTuple):
    """Place of the record and its whole days, in the standard time of the place's meridian.

    date (d,) datetime64[D]; ghi_kwh_m2 (d,) on level ground; air_c (d,) mean or NaN. left_out: days dropped because
    hours were missing or impossible.
    """

    latitude_deg: float
    longitude_deg: float
    date: np.ndarray
    ghi_kwh_m2: np.ndarray
    air_c: np.ndarray
    left_out: int


def read_daily_weather(content, kind):
    """Days from the content (bytes or text) of an hourly record.

    kind: one of RECORD_KINDS, the formats that the solar library reads or fetches. Raises Refusal naming what is wrong:
    a content that is not of that kind, a place off the globe, no whole day. Days with missing or impossible hours are
    dropped and counted.
    """
    one_of(kind, RECORD_KINDS, "kind")
    if not isinstance(content, bytes | str):
        raise Refusal("content", type(content).__name__, because="the file's bytes or text are needed")
    raw = content.encode() if isinstance(content, str) else content
    try:
        when, ghi, air, latitude, longitude = _READERS[kind](raw.decode("utf-8-sig", errors="replace"))
    except Refusal:
        raise
    except Exception as wrong:  # the library's readers raise whatever their parsing trips over
        raise Refusal("content", f"{raw[:40]!r}", because=f"not readable as {kind}: {wrong}") from wrong
    return _daily(when, ghi, air, latitude, longitude)


def daily_weather(frame, latitude_deg, longitude_deg):
    """Days of a frame as the library's fetchers return it: index with a time zone, columns ghi and perhaps temp_air.

    Returns DailyWeather; raises Refusal where no day is whole.
    """
    return _daily(*_columns(frame), latitude_deg, longitude_deg)


def _daily(when, ghi, air, latitude, longitude):
    latitude = float(within(latitude, -90, 90, "latitude_deg"))
    longitude = float(within(longitude, -180, 360, "longitude_deg"))
    longitude = longitude - 360 if longitude > 180 else longitude
    local = when + np.timedelta64(round(longitude / 15), "h")
    date, daily, daily_air, left_out = _whole_days(local, ghi, air, latitude)
    if not date.size:
        raise Refusal("content", f"{left_out} days", because="no day of it is whole: hours are missing or impossible")
    return DailyWeather(latitude, longitude, date, daily, daily_air, left_out)


def _columns(frame):
    when = frame.index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]")
    ghi = frame["ghi"].to_numpy(np.float64)
    air = frame["temp_air"].to_numpy(np.float64) if "temp_air" in frame else np.full(ghi.size, np.nan)
    return when, np.where(np.isfinite(ghi), ghi, -1.0), air


def _power(text):
    """The service's own answer, as the library's fetcher asks for it (hours in UTC, labelled at their beginning)."""
    answer = json.loads(text)
    hours = answer["properties"]["parameter"]
    longitude, latitude = answer["geometry"]["coordinates"][:2]
    missing = answer.get("header", {}).get("fill_value", _MISSING_POWER)
    names = list(hours["ALLSKY_SFC_SW_DWN"])
    when = np.array([f"{n[:4]}-{n[4:6]}-{n[6:8]}T{n[8:10]}" for n in names], dtype="datetime64[s]")
    ghi = np.array([hours["ALLSKY_SFC_SW_DWN"][n] for n in names], dtype=float)
    air = np.array([hours.get("T2M", {}).get(n, np.nan) for n in names], dtype=float)
    return when, np.where(ghi == missing, -1.0, ghi), np.where(air == missing, np.nan, air), latitude, longitude


def _pvgis(text):
    from pvlib import iotools

    kind = "json" if text.lstrip().startswith("{") else "csv"
    frame, meta = iotools.read_pvgis_hourly(io.StringIO(text), pvgis_format=kind)
    parts = [c for c in ("poa_direct", "poa_sky_diffuse", "poa_ground_diffuse") if c in frame]
    frame["ghi"] = frame[parts].sum(axis=1) if parts else frame["poa_global"]  # on level ground the plane is the ground
    inputs = meta["inputs"]
    place = inputs.get("location", inputs)
    tilt = inputs.get("Slope", "0") if kind == "csv" else inputs["mounting_system"]["fixed"]["slope"]["value"]
    if float(str(tilt).split()[0]) != 0:
        raise Refusal("content", f"tilt {tilt}", because="ask the service for level ground: slope 0")
    return *_columns(frame), place["latitude"], place["longitude"]


def _cams(text):
    from pvlib import iotools

    if "\n# Observation period" not in f"\n{text}":  # the library looks for this line and would look for ever
        raise Refusal("content", f"{text[:40]!r}", because="not readable as cams_csv: no line of column names")
    frame, meta = iotools.read_cams(io.StringIO(text))
    if meta["time_step"] not in {"1min", "15min", "1h"}:
        raise Refusal("content", meta["time_step"], because="hourly values or finer are needed")
    return *_columns(frame), meta["latitude"], meta["longitude"]


def _nsrdb(text):
    from pvlib import iotools

    frame, meta = iotools.read_nsrdb_psm4(io.StringIO(text))
    return *_columns(frame), meta["latitude"], meta["longitude"]


_READERS = {"power_json": _power, "pvgis_hourly": _pvgis, "cams_csv": _cams, "nsrdb_csv": _nsrdb}
