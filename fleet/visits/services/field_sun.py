"""Face the sun, to take along: noons and bearings for a fortnight, and what an error of the frame costs."""

from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone

from fleet.output.climates import climates
from fleet.output.fleet_arrays import read_fleet
from sizing import orient, sun
from sizing.checks import Refusal

DAYS = 14
TOO_STEEP_DEG = 10.0  # with the sun nearer to overhead a shadow is too short to tell a direction
AROUND_NOON_MIN = np.arange(-400, 401, 20)
SAMPLED = (0, 7, 13)  # days between which the telephone reads
TURNS_DEG = np.array([-90.0, -60, -45, -30, -20, -10, 10, 20, 30, 45, 60, 90])
TILTS_DEG = np.array([-15.0, -10, -5, 5, 10, 15, 20, 30])


def sun_of(site, day=None):
    """Noons, bearings and the compass for a site from a day on (its own today); plain lists."""
    day = day or timezone.localdate(timezone=ZoneInfo(site.zone))
    place = round(site.latitude_deg, 4), round(site.longitude_deg, 4), max(round(site.altitude_m, -1), -400)
    return _sun(*place, site.zone, day)


@lru_cache(maxsize=512)
def _sun(lat, lon, altitude, zone_name, day):
    """All days in one pass."""
    zone = ZoneInfo(zone_name)
    days = np.datetime64(day) + np.arange(DAYS)
    # On islands whose calendar runs a day before or behind their longitude's, noon belongs to the neighbouring date.
    first = orient.solar_noon(day, lat, lon, zone_name)
    counted = sun.day_times(days[0], lat, lon).noon_utc.astype("datetime64[D]")
    behind = (np.datetime64(first.at_utc.date()) - counted).astype(int)
    noon = sun.day_times(days + behind, lat, lon).noon_utc.astype("datetime64[s]").astype(np.int64)
    around = sun.position((noon[:, None] + np.array([-60, 0, 60])).astype("datetime64[s]"), lat, lon)
    height = 90 - around.zenith_deg[:, 1]
    turned = np.abs((around.azimuth_deg[:, 2] - around.azimuth_deg[:, 0] + 180) % 360 - 180)
    towards = np.where(np.cos(np.radians(around.azimuth_deg[:, 1])) > 0, 0, 180)
    noons = [
        {
            "day": str(days[n]), "at": int(noon[n]), "clock": f"{datetime.fromtimestamp(noon[n], zone):%H:%M:%S}",
            "height": round(float(height[n]), 1), "bearing": int(towards[n]),
            "shadow_m": round(float(np.tan(np.radians(90 - height[n]))), 2),
            "min_per_deg": round(2 / float(turned[n]), 2) if turned[n] > 0 else None,
            "usable": bool(90 - height[n] >= TOO_STEEP_DEG),
        }
        for n in range(DAYS)
    ]  # fmt: skip
    moments = (noon[list(SAMPLED), None] + 60 * AROUND_NOON_MIN[None, :]).astype("datetime64[s]")
    stands = sun.position(moments, lat, lon, altitude_m=altitude)
    days = [
        {"shift": shift, "bearing": np.round(b, 1).tolist(), "height": np.round(90 - z, 1).tolist()}
        for shift, b, z in zip(SAMPLED, stands.azimuth_deg, stands.zenith_deg, strict=True)
    ]
    found = {"noons": noons, "around_min": AROUND_NOON_MIN.tolist(), "days": days}
    try:
        faces = orient.facing(day, lat, lon, altitude_m=altitude)
    except Refusal:  # beyond the magnetic model's years: the sun itself still shows the way
        return found | {"facing": None}
    return found | {
        "facing": {
            "bearing": faces.bearing_deg, "compass": round(faces.compass_deg, 1),
            "declination": round(faces.declination_deg, 1), "tilt": faces.tilt_deg,
            "either_way": bool(faces.either_way),
        }
    }  # fmt: skip


def costs(installation_ids, year):
    """{installation: what turning or tilting its frame away costs, share of the year's water}."""
    found = {}
    ids = sorted(set(installation_ids))
    rows = read_fleet(ids, year) if ids else ()
    if not len(rows):
        return found
    climate, missing, _sources = climates(rows)
    for n, pk in enumerate(rows.ids.tolist()):
        if n in missing:
            continue
        one = rows.fleet.take([n])
        tilts = TILTS_DEG[(one.tilt_deg[0] + TILTS_DEG >= 0) & (one.tilt_deg[0] + TILTS_DEG <= 90)]
        turns = np.concatenate([TURNS_DEG, np.zeros(len(tilts))])
        leans = np.concatenate([np.zeros(len(TURNS_DEG)), tilts])
        try:
            cost = orient.cost_in_litres(one, climate.day_ghi_kwh_m2_day[n], turns, leans).by_year
        except Refusal:
            continue
        shares = [None if not np.isfinite(c) else round(float(c), 4) for c in cost]
        k = len(TURNS_DEG)
        found[pk] = {
            "turn": TURNS_DEG.tolist(), "turn_share": shares[:k], "tilt": tilts.tolist(), "tilt_share": shares[k:],
            "stands_tilt": float(one.tilt_deg[0]), "stands_azimuth": float(one.azimuth_deg[0]),
        }  # fmt: skip
    return found
