"""Places with a weather record, which stand behind the units as tellers of the sky."""

from dataclasses import dataclass

import numpy as np

from fleet.output.services.nightly.load import DAY_ZERO, as_date
from fleet.readings import staging
from fleet.readings.models import WeatherPlace
from sizing import sun
from sizing.causes.table import scale
from sizing.judge import weather

REACH_KM = 300.0  # farther places say nothing that the climatology does not
SEEN_BY_GROUND = 0.5  # share of the clouds' scatter that a ground of tens of kilometres smooths away: a judgement
FROM_PLACES = 100  # added to the number of tellers where only places told


@dataclass
class Places:
    """Arrays by place. nearest: the unit (place in the cohort) whose usual sky it borrows."""

    ids: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    relative_error: np.ndarray
    covers_km: np.ndarray
    nearest: np.ndarray

    def __len__(self):
        return len(self.ids)


def load(organisations, latitude_deg, longitude_deg):
    """The Places within reach of any of the units (n,)."""
    rows = list(
        WeatherPlace.objects.filter(organisation__in=organisations).order_by("pk").values_list(
            "pk", "latitude_deg", "longitude_deg", "relative_error", "covers_km"
        )
    )  # fmt: skip
    columns = np.array(rows, dtype=float).reshape(-1, 5)
    ids, lat, lon, error, covers = columns.T
    far = _km(lat[:, None], lon[:, None], latitude_deg[None, :], longitude_deg[None, :])
    near = far.min(axis=1, initial=np.inf) <= REACH_KM
    nearest = far[near].argmin(axis=1) if near.any() else np.zeros(0, int)
    return Places(ids[near].astype(np.int64), lat[near], lon[near], error[near], covers[near], nearest)


def _km(lat, lon, other_lat, other_lon):
    north = np.radians(other_lat - lat)
    east = np.radians(other_lon - lon) * np.cos(np.radians((lat + other_lat) / 2))
    return weather.EARTH_KM * np.hypot(north, east)


def told(places, first, last):
    """{day number: (clearness (p,), variance (p,))} of the days first..last, NaN where a place has no record."""
    if not len(places):
        return {}
    got = staging.fetch(
        {"id": ("bigint", "place_id"), "day": ("date", "day"), "ghi": ("float8", "irradiation_kwh_m2")},
        "FROM readings_weatherday WHERE place_id = ANY(%s) AND day BETWEEN %s AND %s",
        [places.ids.tolist(), as_date(first), as_date(last)],
    )
    number = (got["day"] - DAY_ZERO).astype(np.int64)
    place = np.searchsorted(places.ids, got["id"])
    found = {}
    for day in np.unique(number).tolist():
        here = number == day
        at = place[here]
        above = sun.extraterrestrial_kwh_m2_day(places.latitude_deg[at], sun.day_of_year(DAY_ZERO + day))
        clear = scale(got["ghi"][here] / above)
        seen, variance = np.full(len(places), np.nan), np.full(len(places), np.nan)
        seen[at] = clear
        grain = np.where(places.covers_km[at] > 0, SEEN_BY_GROUND * weather.LOCAL_VAR, 0.0)
        variance[at] = (places.relative_error[at] * (1 + np.exp(np.minimum(clear, 3.0)))) ** 2 + grain
        found[day] = (seen, variance)
    return found


def only_places(net, known, n):
    """(n,) whether nothing but places told a unit its sky; `known` (n + p,) who told anything."""
    tells = known[net.index[:n]] & (net.near[:n] > 0)
    units = net.index[:n] < n
    return ~(tells & units).any(axis=1) & (tells & ~units).any(axis=1)
