"""A day's water over the day's clearness, for every installation and month: the chain solved once and read off at
night.

Clearness (irradiation on level ground over what would fall above the air) is the axis, because it is what neighbours
share; on
the scale log(k / (CLEAREST - k)), on which neighbours differ alike on dull and on bright days. The chain is solved
at some in-plane
irradiances; the hours of a day of each clearness are read off that curve and added up, once with the hour's light
even and
once broken into sun and cloud (irradiance in an hour of broken cloud is two-peaked: Suehrcke & McCormick 1988, Solar
Energy
40:413, from memory). The truth lies between, nearer to broken; half the difference is the doubt. Days between two
mid-months are blended.
"""

from dataclasses import dataclass

import numpy as np

from sizing import chain, compiled, sky, sun

CLEAREST = 0.93  # no day is clearer than this
X = np.linspace(-3.1, 3.5, 25)
CLEARNESS = CLEAREST / (1 + np.exp(-X))
BRIGHT, CLOUD = 0.76, 0.33  # clearness of the sunny moments of a broken hour; light under its clouds against them
BROKEN = 0.5  # how far from even to broken a usual hour lies
SUNS = np.arange(0, 1401, 25.0)  # W/m2 at which the chain is solved
MID_MONTH = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])  # days of mean sun (Klein 1977)
TYPICAL_SPREAD = 0.5  # of the days of a month on the axis's scale, median of the embedded climatology
SPREADS = (0.5, 1.5)  # ratios beyond which a grid's days are not believed (a judgement)
TYPICAL = 0.58  # clearness from which the share of a day's water by an hour is read
AIR_C = 27.0  # of a pumping day where no temperatures are given (common practice, no source)


def flow_curve(fleet, air_c=AIR_C, static_level_m=None, faults=chain.NONE):
    """L/min at SUNS: (n, m, suns) for air_c and static_level_m of shape (n, m); missing flow counts as none."""
    level = fleet.static_level_m if static_level_m is None else np.asarray(static_level_m, float)
    air = np.broadcast_to(np.asarray(air_c, float), level.shape)
    shape = (*level.shape, SUNS.size)
    spot = chain.spot(
        fleet,
        np.broadcast_to(SUNS, shape),
        np.broadcast_to(air[..., None], shape),
        np.broadcast_to(level[..., None], shape),
        faults,
    )
    return np.maximum(spot.flow_l_min, 0.0)


def scale(k):
    """A clearness on the axis's scale."""
    k = np.clip(k, 1e-3, CLEAREST - 1e-3)
    return np.log(k / (CLEAREST - k))


def light_gain(slope, x):
    """Per cent of water a per cent of light is worth, from the slope along the axis at clearness x; kept within 0.3
    to 8."""
    return np.clip(slope * (1 + np.exp(np.minimum(x, 3.0))), 0.3, 8.0)


def read_curve(curve, irradiance):
    """Curve (..., suns) at irradiance (..., any), same leading axes; straight lines between."""
    place = np.clip(irradiance / SUNS[1], 0, SUNS.size - 1.000001)
    k = place.astype(int)
    share = place - k
    lead = curve.shape[:-1]
    extra = irradiance.shape[len(lead) :]
    flat = k.reshape(*lead, -1)
    low = np.take_along_axis(curve, flat, axis=-1).reshape(*lead, *extra)
    high = np.take_along_axis(curve, flat + 1, axis=-1).reshape(*lead, *extra)
    return low + share * (high - low)


@dataclass(frozen=True)
class Table:
    """litres (n, 12, k), doubt (n, 12, k) of them (log, one sigma) by the unknown breaks in the cloud, plane (n, 12,
    k) in kWh/m2, so_far (n, 12, 25) share of a day's water by each solar hour's end,
    solar_shift_h (n,) solar time minus clock time without the equation of time, usual (n, 12) clearness on the
    axis's scale, spread (n, 12) of its days over what is typical."""

    litres: np.ndarray
    doubt: np.ndarray
    plane: np.ndarray
    so_far: np.ndarray
    solar_shift_h: np.ndarray
    usual: np.ndarray
    spread: np.ndarray

    def take(self, units):
        """The table of some units."""
        return Table(
            *(a[units] for a in (self.litres, self.doubt, self.plane, self.so_far, self.solar_shift_h, self.usual,
                                 self.spread))  # fmt: skip
        )

    def _blend(self, what, units, doy):
        low, high, share = between_months(doy)
        return what[units, low] * (1 - share) + what[units, high] * share

    def water(self, units, doy, x):
        """Litres of a day of clearness x (m,) or (m, j), and how litres go with it (d log litres / d x)."""
        curve = self._blend(self.litres, units, doy)
        x = np.asarray(x, float)
        flat = x.reshape(len(curve), -1)
        place = np.clip((flat - X[0]) / (X[1] - X[0]), 0, X.size - 1.000001)
        k = place.astype(int)
        low, high = np.take_along_axis(curve, k, 1), np.take_along_axis(curve, k + 1, 1)
        litres = low + (place - k) * (high - low)
        slope = (high - low) / (X[1] - X[0]) / np.maximum(litres, 1e-6)
        return litres.reshape(x.shape), slope.reshape(x.shape)

    def broken(self, units, doy, x):
        """Doubt (log, one sigma) of a day's litres by the unknown breaks in the cloud, at clearness x (m,)."""
        curve = self._blend(self.doubt, units, doy)
        k = np.clip(np.rint((np.nan_to_num(x) - X[0]) / (X[1] - X[0])), 0, X.size - 1).astype(int)
        return curve[np.arange(len(curve)), k]

    def clearness_of_plane(self, units, doy, irradiation_kwh_m2):
        """Clearness of days whose irradiation in the modules' plane was measured; NaN gives NaN."""
        return _turned_round(self._blend(self.plane, units, doy), irradiation_kwh_m2)

    def clearness_of_water(self, units, doy, litres):
        """Clearness that explains a healthy unit's litres, and the slope there; NaN above what any sky gives."""
        x = _turned_round(self._blend(self.litres, units, doy), litres)
        _, slope = self.water(units, doy, np.nan_to_num(x, nan=X[0]))
        return x, np.where(np.isfinite(x), slope, 0.0)

    def share_by(self, units, doy, clock_h):
        """Share of a day's water pumped by a clock hour; (m,)."""
        low, high, share = between_months(doy)
        curve = self.so_far[units, low] * (1 - share) + self.so_far[units, high] * share
        solar = np.clip(clock_h + self.solar_shift_h[units] + sun.equation_of_time_min(doy) / 60, 0, 23.9999)
        k = solar.astype(int)
        at = np.arange(len(curve))
        return curve[at, k] + (solar - k) * (curve[at, k + 1] - curve[at, k])

    def prior(self, doy):
        """Usual clearness of the day of the year (n,)."""
        return self._blend(self.usual, np.arange(len(self.usual)), doy)


    def patchy(self, doy):
        """How far days of that time of the year scatter over what is typical (n,), a ratio of standard deviations."""
        return self._blend(self.spread, np.arange(len(self.spread)), doy)


def between_months(doy):
    """(month before, month after, share of the latter) of a day of the year; months 0-11."""
    after = int(np.searchsorted(MID_MONTH, doy))
    low, high = (after - 1) % 12, after % 12
    start = MID_MONTH[low] - (365 if after == 0 else 0)
    end = MID_MONTH[high] + (365 if after == 12 else 0)
    return low, high, (doy - start) / (end - start)


def _turned_round(curve, value):
    """x at which each row of the rising curve (m, k) has the value; NaN outside (above) and where missing."""
    value = np.asarray(value, float)
    with np.errstate(invalid="ignore"):
        k = np.clip((curve < value[:, None]).sum(axis=1), 1, X.size - 1)
    at = np.arange(len(curve))
    low, high = curve[at, k - 1], curve[at, k]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (value - low) / (high - low)
    x = X[k - 1] + share * (X[1] - X[0])
    return np.where((share <= 1.25) & (share > -5) & np.isfinite(x), x, np.nan)


def days_of_each_clearness(fleet, months=tuple(range(12))):
    """In-plane hours of days of each clearness: caught (n, m, k, 24) W/m2 and plane (n, m, k) kWh/m2."""
    day = sky.hours(*_days(fleet, months), **_hidden(fleet, months))
    return day.caught_w_m2, day.poa_w_m2.sum(axis=-1) / 1000


def light_without_beam(fleet, months):
    """What of those hours' light is left behind something that hides the sun, W/m2: (n, m, k, 24)."""
    hidden = _hidden(fleet, months) | {"beam_open": np.zeros((fleet.n, len(months), 1, 24))}
    return sky.caught_hours(*_days(fleet, months), **hidden)


def _at(fleet, name):
    return getattr(fleet, name)[:, None, None]


def _days(fleet, months):
    """Latitude, day, kWh/m2 on level ground and frame of days of each clearness, as `sky.hours` takes them."""
    doy = MID_MONTH[np.asarray(months)]
    above = sun.extraterrestrial_kwh_m2_day(fleet.latitude_deg[:, None], doy)
    tilt, azimuth = _at(fleet, "tilt_deg"), _at(fleet, "azimuth_deg")
    return _at(fleet, "latitude_deg"), doy[None, :, None], above[..., None] * CLEARNESS, tilt, azimuth


def _hidden(fleet, months):
    """The rest of what `sky.hours` takes: the ground, and what skyline and windows of shade leave."""
    rest = {"ground_reflectance": _at(fleet, "ground_reflectance")}
    if fleet.shaded.any():
        opened, left = chain.open_sky(fleet, MID_MONTH[np.asarray(months)])
        rest["beam_open"] = (opened * left[:, None, :])[:, :, None, :]
        if fleet.skyline_deg is not None:
            rest["sky_share"] = sky.sky_share(fleet.skyline_deg)[:, None, None]
    return rest


def water_by_hour(curve, caught):
    """Litres of each hour, and the doubt (log) of the day by unknown breaks in the cloud.

    curve (..., suns) L/min; caught (..., k, 24) W/m2 of days of each clearness. Returns (..., k, 24) and (..., k).
    """
    bright = caught[..., int(np.argmin(np.abs(CLEARNESS - BRIGHT))), :][..., None, :]
    dull = CLOUD * bright
    even = read_curve(curve, caught)
    share = np.clip((caught - dull) / np.maximum(bright - dull, 1e-6), 0, 1)
    inside = (caught > dull) & (caught < bright)
    sunny, cloudy = (
        read_curve(curve, np.broadcast_to(bright, caught.shape)),
        read_curve(curve, np.broadcast_to(dull, caught.shape)),
    )
    broken = np.where(inside, share * sunny + (1 - share) * cloudy, even)
    hourly = (even + BROKEN * (broken - even)) * 60
    day = np.maximum(hourly.sum(axis=-1), 1e-6)
    apart = 0.4 * np.abs((broken - even).sum(axis=-1)) * 60 / day
    return hourly, np.minimum(apart, 0.5)


@compiled()
def _day_water(curve, caught, bright_at, litres):
    step = SUNS[1]
    for i in range(curve.shape[0]):
        for hour in range(caught.shape[2]):
            bright = caught[i, bright_at, hour]
            dull = CLOUD * bright
            if bright <= 0.0:
                continue
            sunny, cloudy = _read(curve[i], bright / step), _read(curve[i], dull / step)
            for k in range(caught.shape[1]):
                light = caught[i, k, hour]
                even = _read(curve[i], light / step)
                if dull < light < bright:
                    share = (light - dull) / (bright - dull)
                    even += BROKEN * (share * sunny + (1 - share) * cloudy - even)
                litres[i, k] += even * 60


@compiled()
def _read(curve, place):
    place = min(max(place, 0.0), curve.size - 1.000001)
    k = int(place)
    return curve[k] + (place - k) * (curve[k + 1] - curve[k])


def day_water(curve, caught):
    """Litres of days of each clearness, as `water_by_hour` adds them up: curve (n, suns), caught (n, k, 24): (n, k)."""
    litres = np.zeros(caught.shape[:2])
    bright_at = int(np.argmin(np.abs(CLEARNESS - BRIGHT)))
    _day_water(np.ascontiguousarray(curve), np.ascontiguousarray(caught), bright_at, litres)
    return litres


def spread_of(day_ghi_kwh_m2_day, above_kwh_m2_day):
    """How far a climatology's days scatter, over what is typical (n, 12): day_ghi (n, 12, kinds of day alike often),
    above the air (n, 12). Grids of a degree smooth clouds away, so only differences by month and place are taken."""
    days = scale(np.clip(day_ghi_kwh_m2_day / above_kwh_m2_day[..., None], 0.05, 0.85))
    return np.clip(np.nan_to_num(days.std(axis=-1) / TYPICAL_SPREAD, nan=1.0), *SPREADS)


def build(fleet, usual, solar_shift_h, air_c=AIR_C, chunk=2000, spread=1.0):
    """The table of a fleet. usual: clearness by month (n, 12), on the axis's scale; air_c: a number or (n, 12); spread:
    `spread_of` the climatology, a number or (n, 12)."""
    n = fleet.n
    air = np.broadcast_to(np.asarray(air_c, float).reshape(-1, 12) if np.ndim(air_c) else air_c, (n, 12))
    litres, plane, doubt = (np.zeros((n, 12, X.size), np.float32) for _ in range(3))
    so_far = np.zeros((n, 12, 25), np.float32)
    typical = int(np.argmin(np.abs(CLEARNESS - TYPICAL)))
    for start in range(0, n, chunk):
        some = np.arange(start, min(start + chunk, n))
        part = fleet.take(some)
        caught, plane[some] = days_of_each_clearness(part)
        hourly, apart = water_by_hour(np.nan_to_num(flow_curve(part, air[some])), caught)
        litres[some], doubt[some] = hourly.sum(axis=-1), apart
        typical_day = hourly[:, :, typical]
        share = np.cumsum(typical_day, axis=-1) / np.maximum(typical_day.sum(axis=-1), 1e-9)[..., None]
        so_far[some, :, 1:] = share
    rising = np.arange(X.size) * 1e-3  # keeps a flat stretch (too dark to lift, or at a limit) invertible
    return Table(litres + rising, doubt, plane, so_far, np.asarray(solar_shift_h, float), np.asarray(usual, float),
                 np.broadcast_to(np.asarray(spread, float), (n, 12)).copy())  # fmt: skip
