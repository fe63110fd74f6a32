"""Weather of a simulated fleet, other than the judgement thinks of it: quarter-hours of sun and cloud in the plane.

Days come from fields over each region with three reaches, turned into clearness by a skewed law with seasons and haze;
within a day clouds come and go by a threshold on a wandering number, more of them after noon in the wet months. The
figures are judgements, no source: they only have to be plausible and other than those of `sizing.judge.weather`.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from sizing import sun

QUARTERS = np.arange(5 + 0.125, 19, 0.25)  # solar hours of the middles
SOLAR_W_M2 = 1361.0
# Makes days scatter by 15 to 30 % from place to place (field practice, 5.2: what a month loses by the climatology alone
# is worked out from that spread; 5.1: the wet south varies twice as much as the Sahel).
DEEP = (0.45, 0.90)


class Climate(NamedTuple):
    """What a region's sky is like; drawn anew for every fleet."""

    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    wet_from: float  # day of the year
    wet_days: float
    clear: float  # clearness of its clear days
    haze: float  # lost of it at the worst of the dry months
    air_c: float
    deep: float  # share of the clear day's light that its darkest days lose


def a_climate(rng, place):
    """One of some places on real land, with a sky drawn at random."""
    return Climate(*place, rng.uniform(0, 365), rng.uniform(90, 190), rng.uniform(0.70, 0.79), rng.uniform(0.0, 0.12),
                   rng.uniform(22, 30), rng.uniform(*DEEP))  # fmt: skip


def wetness(climate, doy):
    """0 in the dry months to 1 in the wet ones, slow at the edges."""
    into = (np.asarray(doy) - climate.wet_from) % 365
    middle = climate.wet_days / 2
    return 1 / (1 + np.exp((np.minimum(np.abs(into - middle), 365 - np.abs(into - middle)) - middle) / 9))


def daily_fields(rng, lat, lon, days):
    """A normal number a unit and day (n, days): weather of hundreds of kilometres, clouds, and the place itself."""
    x = 111.0 * np.stack([lat, lon * np.cos(np.radians(lat))], axis=1)
    apart = np.linalg.norm(x[:, None] - x[None], axis=2)
    shares = rng.dirichlet([6, 6, 2.5])
    reach = (rng.uniform(150, 400), rng.uniform(9, 30), 1e-3)
    # from day to day, all together about 0.3 (field practice, 5.2): weather lasts, clouds hardly
    lasting = (rng.uniform(0.35, 0.6), rng.uniform(0.1, 0.35), rng.uniform(0.0, 0.15))
    out = np.zeros((len(lat), days))
    for share, km, rho in zip(shares, reach, lasting, strict=True):
        root = np.linalg.cholesky(np.exp(-apart / km) + 1e-6 * np.eye(len(lat)))
        z = root @ rng.normal(size=len(lat))
        for d in range(days):
            z = rho * z + np.sqrt(1 - rho**2) * (root @ rng.normal(size=len(lat)))
            out[:, d] += np.sqrt(share) * z
    return out


class Sun(NamedTuple):
    """A day's light: level kWh/m2 (n,), plane W/m2 (n, quarters) as a sensor there reads it, caught (n, quarters) what
    goes through the glass, and the direct light's share of caught."""

    level_kwh_m2: np.ndarray
    plane_w_m2: np.ndarray
    caught_w_m2: np.ndarray
    direct: np.ndarray


def sun_of_day(rng, climate, lat, field, doy, tilt_deg, azimuth_deg):
    """The day's light over n units; field (n,) of `daily_fields`, azimuth clockwise from north."""
    n = len(lat)
    wet = float(wetness(climate, doy))
    clear = climate.clear - climate.haze * (1 - wet)
    power = 6.0 - 4.0 * wet
    k = clear * (1 - climate.deep * ndtr(field) ** power) * np.exp(rng.normal(0, 0.008))
    decl = sun.declination_deg(doy)
    hour = 15.0 * (QUARTERS - 12.0)[None, :]
    cos_z = np.maximum(sun.cos_zenith(lat[:, None], decl, hour), 0.0)
    above = SOLAR_W_M2 * (1 + 0.033 * np.cos(2 * np.pi * doy / 365)) * cos_z
    sunny_w = above * clear * 1.06 * cos_z**0.14
    cloud = rng.uniform(0.18, 0.42)
    share = np.clip((k / clear - cloud) / (1 - cloud), 0.0, 1.0)
    z = np.zeros((n, QUARTERS.size))
    common, own = rng.normal(), rng.normal(size=n)
    for q in range(QUARTERS.size):  # clouds pass: shared a little between the places
        common = 0.8 * common + 0.6 * rng.normal()
        own = 0.75 * own + 0.66 * rng.normal(size=n)
        z[:, q] = 0.35 * common + 0.94 * own
    lean = rng.normal(0.5 * wet, 0.5) * (QUARTERS - 12.0) / 6
    chance = ndtr(z + lean[None, :])
    open_ = 1 / (1 + np.exp(np.clip((chance - share[:, None]) / 0.06, -40, 40)))
    open_ = np.where(share[:, None] > 0.985, 1.0, open_)
    light = sunny_w * (open_ + (1 - open_) * np.minimum(cloud, (k / clear)[:, None]))
    want = k * above.sum(axis=1)
    light *= np.clip(want / np.maximum(light.sum(axis=1), 1e-9), 0.4, 1.6)[:, None]
    turbid = rng.uniform(0.10, 0.22) + climate.haze * (1 - wet)
    diffuse = light * np.clip(turbid + (1 - turbid) * (1 - open_) * 0.97 + 0.12 * (1 - cos_z) ** 3, 0.0, 1.0)
    beam = light - diffuse
    cos_i = np.maximum(sun.cos_incidence(lat[:, None], decl, hour, tilt_deg[:, None], azimuth_deg[:, None]), 0.0)
    ratio = np.minimum(cos_i / np.maximum(cos_z, 0.09), 4.0)
    tilt = np.radians(tilt_deg)[:, None]
    around = 0.25 * diffuse * ratio + 0.75 * diffuse * (1 + np.cos(tilt)) / 2 + 0.1 * light * (1 - np.cos(tilt))
    glass = np.clip(1 - 0.05 * (1 / np.maximum(cos_i, 0.06) - 1), 0.0, 1.0)
    direct = beam * ratio
    plane, caught = direct + around, direct * glass + 0.955 * around
    return Sun(light.sum(axis=1) / 4000, np.minimum(plane, 1400), np.minimum(caught, 1400),
               direct * glass / np.maximum(caught, 1e-6))  # fmt: skip
