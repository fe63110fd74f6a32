"""Sun and air by place: the coarse default, or a site's own twelve values."""

from typing import NamedTuple

import numpy as np

from sizing import sun
from sizing.checks import Reasons, Refusal, known, within
from sizing.climate.air import default_air_c
from sizing.climate.days import CLEAREST, KINDS, cell_shapes, pooled_shape, scaled_days
from sizing.climate.tables import climate_table

__all__ = ["Climate", "default_climate", "own_climate"]

DEFAULT_SOURCE = (
    "coarse default by place: NASA MERRA-2 2011-2015 on a 3 degree grid (Gelaro et al. 2017, Journal of Climate "
    "30:5419; histograms of Pfenninger & Staffell 2016, Energy 114:1251); tends high, by 8 % on average"
)
DEFAULT_AIR_SOURCE = "default by latitude and altitude, fitted to ITU-R P.1510"

# One sigma of a month's irradiation, relative. Flat country 12 %; to it comes twice the relative spread of the nine
# cells around, because the default is worst where the climate changes over one cell (high ground, coasts), and 10 %
# more beside open sea. Judged on 11 published stations and 10 remembered ones; see tests/published/test_climate.py.
_FLAT, _PER_SPREAD, _SEA = 0.12, 2.0, 0.10
OWN_BAND = 0.05  # a judgement: a few years of good data against the years to come
_MIN_WEIGHT = 0.25  # of the surrounding cells; less, and the place is an island that the grid does not know


class Climate(NamedTuple):
    """ghi_kwh_m2_day (..., 12): month's mean global horizontal irradiation.
    day_ghi_kwh_m2_day (..., 12, 9): mean of each ninth of the month's days, dullest first.
    air_c (..., 12): month's mean air temperature, day and night; air_band_k (...): its one sigma.
    band (...): one sigma of the month's irradiation, relative.
    label: "default", "own" or "file"; source, air_source: where the values come from, in words for a page.
    reasons: Reasons, why rows of a batch are missing (NaN).
    """

    ghi_kwh_m2_day: np.ndarray
    day_ghi_kwh_m2_day: np.ndarray
    air_c: np.ndarray
    air_band_k: np.ndarray
    band: np.ndarray
    label: str
    source: str
    air_source: str
    reasons: Reasons


def default_climate(latitude_deg, longitude_deg, altitude_m=np.nan):
    """The coarse default for places: never use it silently; show label, source and band beside what rests on it.

    Shapes: arguments broadcast to (...). Refuses a single place off the globe or without a cell (small islands, high
    latitudes): ask for twelve values or a weather file then. Among many, such rows are NaN with their reason.
    """
    reasons = Reasons()
    lat, lon, altitude = _places(latitude_deg, longitude_deg, altitude_m, reasons)
    table = climate_table()
    cells, weights = _around(table, lat, lon)
    weight = weights.sum(axis=-1)
    found = (weight >= _MIN_WEIGHT) & np.isfinite(lat + lon)
    if lat.ndim == 0 and not found:
        raise _no_cell(lat, lon)
    _book(reasons, ~found & np.isfinite(lat + lon), lambda at: str(_no_cell(lat[at], lon[at])))
    share = np.where(found[..., None], weights / np.maximum(weight, 1e-9)[..., None], 0.0)
    ghi = _mixed(table.ghi_kwh_m2_day, cells, share)
    shape = _mixed(cell_shapes(), cells, share)
    ghi = np.where(found[..., None], ghi, np.nan)
    days = scaled_days(ghi, shape, _brightest(lat))
    air, air_band = default_air_c(np.where(np.abs(lat) <= 66, lat, np.nan), altitude)
    return Climate(
        ghi, days, air, air_band, _band(table, lat, lon, found), "default", DEFAULT_SOURCE, DEFAULT_AIR_SOURCE, reasons
    )


def own_climate(
    latitude_deg, longitude_deg, ghi_kwh_m2_day, air_c=None, *, altitude_m=np.nan, source="own table",
    day_ghi_kwh_m2_day=None,
):  # fmt: skip
    """A site's own twelve monthly means, with its own kinds of day or those of its surroundings drawn to them.

    day_ghi_kwh_m2_day (..., 12, 9): own kinds of day, dullest first, as `read_weather_file` makes them; only their
    shape is taken, the means stay those of ghi.
    Shapes: places (...), ghi and air (..., 12). Where the embedded climatology has no cell, kinds of day come from all
    land cells of the same clearness. air_c None: the default by latitude and altitude. Band 5 %.
    Refuses: other than twelve values, gaps, values that the sun cannot give there (named by month; Wh for kWh and MJ
    for kWh are caught this way). Among many places such rows are NaN with their reason.
    """
    reasons = Reasons()
    lat, lon, altitude = _places(latitude_deg, longitude_deg, altitude_m, reasons)
    ghi = _twelve(ghi_kwh_m2_day, "ghi_kwh_m2_day")
    lead = np.broadcast_shapes(lat.shape, ghi.shape[:-1])
    lat, lon, altitude = (np.broadcast_to(x, lead) for x in (lat, lon, altitude))
    ghi = np.broadcast_to(ghi, (*lat.shape, 12))
    brightest = _brightest(lat)
    wrong = (ghi < 0) | (ghi > brightest)
    if lat.ndim == 0:
        known(ghi, "ghi_kwh_m2_day")
        if wrong.any():
            raise _too_bright(ghi, brightest, wrong)
    bad = (wrong | np.isnan(ghi)).any(axis=-1)
    _book(reasons, bad, lambda at: str(_too_bright(ghi[at], brightest[at], wrong[at])))
    ghi = np.where(bad[..., None], np.nan, ghi)
    table = climate_table()
    cells, weights = _around(table, lat, lon)
    weight = weights.sum(axis=-1)
    share = weights / np.maximum(weight, 1e-9)[..., None]
    above = sun.extraterrestrial_kwh_m2_day(lat[..., None], sun.AVERAGE_DAYS)
    with np.errstate(invalid="ignore", divide="ignore"):
        shape = np.where(
            (weight >= _MIN_WEIGHT)[..., None, None],
            _mixed(cell_shapes(), cells, share),
            pooled_shape(np.where(above > 0, ghi / above, 0)),
        )
    air_source = source
    if air_c is None:
        air, air_band = default_air_c(np.where(np.abs(lat) <= 66, lat, np.nan), altitude)
        air_source = DEFAULT_AIR_SOURCE
    else:
        air = np.broadcast_to(within(_twelve(air_c, "air_c"), -60, 60, "air_c", reasons=reasons), ghi.shape)
        air_band = np.broadcast_to(1.0, lat.shape)  # a judgement: one year to the next
    band = np.where(bad, np.nan, OWN_BAND)
    if day_ghi_kwh_m2_day is not None:
        shape = _own_shape(day_ghi_kwh_m2_day, shape)
    days = scaled_days(ghi, shape, brightest)
    return Climate(ghi, days, air, air_band, band, "own", source, air_source, reasons)


def _own_shape(days, others):
    """Own kinds of day in place of the surroundings'; a month without light keeps those."""
    days = np.sort(known(days, "day_ghi_kwh_m2_day"), axis=-1)
    if days.shape[-2:] != (12, KINDS):
        raise Refusal("day_ghi_kwh_m2_day", days.shape, because=f"twelve months of {KINDS} kinds of day are needed")
    if (days < 0).any():
        raise Refusal("day_ghi_kwh_m2_day", float(days.min()), (0, np.inf))
    return np.where(days.mean(axis=-1, keepdims=True) > 0, days, others)


def _places(latitude, longitude, altitude, reasons):
    lat = within(latitude, -90, 90, "latitude_deg", reasons=reasons)
    lon = within(longitude, -180, 360, "longitude_deg", reasons=reasons)
    altitude = within(altitude, -500, 6000, "altitude_m", reasons=reasons)
    return np.broadcast_arrays(lat, np.where(lon > 180, lon - 360, lon), altitude)


def _twelve(values, name):
    table = np.asarray(within(values, -1e9, 1e9, name))
    if table.ndim == 0 or table.shape[-1] != 12:
        raise Refusal(name, values, because="twelve values are needed, January to December")
    return table


def _around(table, lat, lon):
    """The four cells around each place and their bilinear weights, 0 where there is no cell: two (..., 4)."""
    la, lo = np.nan_to_num(lat), np.nan_to_num(lon)
    y = (la - table.latitude_deg[0]) / 3
    x = ((lo - table.longitude_deg[0]) / 3) % table.longitude_deg.size
    row, column = np.floor(y).astype(np.int64), np.floor(x).astype(np.int64)
    cells, weights = [], []
    for down, right in ((0, 0), (0, 1), (1, 0), (1, 1)):
        r, c = row + down, (column + right) % table.longitude_deg.size
        inside = (r >= 0) & (r < table.latitude_deg.size)
        cell = np.where(inside, table.cell[np.clip(r, 0, table.latitude_deg.size - 1), c], -1)
        weight = np.where(down, y - row, 1 - y + row) * np.where(right, x - column, 1 - x + column)
        cells.append(np.maximum(cell, 0))
        weights.append(np.where((cell >= 0) & np.isfinite(lat + lon), weight, 0.0))
    return np.stack(cells, axis=-1), np.stack(weights, axis=-1)


def _mixed(values, cells, share):
    """Cells' values by their shares, a corner at a time: gathering all four at once would take most of the memory."""
    spread = (...,) + (None,) * (values.ndim - 1)
    return sum(share[..., corner][spread] * values[cells[..., corner]] for corner in range(4))


def _band(table, lat, lon, found):
    """One sigma of the default, from the spread of the nine cells around."""
    la, lo = np.nan_to_num(lat), np.nan_to_num(lon)
    row = np.clip(np.rint((la - table.latitude_deg[0]) / 3), 0, table.latitude_deg.size - 1).astype(np.int64)
    column = np.rint((lo - table.longitude_deg[0]) / 3).astype(np.int64)
    year = np.append(table.ghi_kwh_m2_day.mean(axis=-1), np.nan)  # the last one stands for "no cell" (-1)
    around = np.stack(
        [
            year[table.cell[np.clip(row + i, 0, table.latitude_deg.size - 1), (column + j) % table.longitude_deg.size]]
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
        ]
    )
    there = np.isfinite(around)
    count = np.maximum(there.sum(axis=0), 1)
    mean = np.where(there, around, 0).sum(axis=0) / count
    spread = np.sqrt(np.where(there, (around - mean) ** 2, 0).sum(axis=0) / count) / np.where(mean > 0, mean, 1)
    sea = np.where(there.all(axis=0), 0.0, _SEA)
    return np.where(found, np.sqrt(_FLAT**2 + (_PER_SPREAD * spread) ** 2 + sea**2), np.nan)


def _brightest(lat):
    return CLEAREST * sun.extraterrestrial_kwh_m2_day(np.asarray(lat)[..., None], sun.AVERAGE_DAYS)


def _no_cell(lat, lon):
    return Refusal(
        "latitude_deg, longitude_deg",
        f"{float(lat):g}, {float(lon):g}",
        because="the default climate does not know this place; give twelve monthly values or a weather file",
    )


def _too_bright(ghi, brightest, wrong):
    if not wrong.any():
        return Refusal("ghi_kwh_m2_day", "not known", because="all twelve months are needed")
    month = int(np.argmax(wrong))
    return Refusal(
        "ghi_kwh_m2_day",
        float(ghi[month]),
        (0, float(brightest[month])),
        because=f"month {month + 1}: the sun gives 0 to {brightest[month]:.2f} kWh/m2 a day here; MJ or Wh given?",
        row=month,
    )


def _book(reasons, bad, sentence):
    for place in map(tuple, np.argwhere(bad)):
        if place:
            reasons.book([place[0]], [sentence(place)])


