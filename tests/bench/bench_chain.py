"""How fast the chain is, as ratios within one run, and how well fast and exact answers agree.

    python -m tests.bench.bench_chain [thousands of units]

The loop to compare with does a climatological baseline (12 months x 9 kinds of day x 24 hours) unit by unit as one
would with good general libraries: sun, transposition and single-diode power of all hours on arrays from the solar
library, a spline of the pump points, and a scalar root finder for every hour with sun. It is given the hours' light on
level ground, and leaves out the coming and going of clouds, which the chain works out on top.
"""

import os
import resource
import sys
import time
from math import log10

import numpy as np
import pvlib
from scipy.interpolate import SmoothBivariateSpline
from scipy.optimize import brentq

from sizing import chain, climate, sky
from sizing.array import SHEET, fit_diode
from tests.makers import sample_fleet


class Place:
    """A climate by rows, repeated to as many units as wanted."""

    def __init__(self, place, index):
        self.day_ghi_kwh_m2_day = place.day_ghi_kwh_m2_day[index]
        self.air_c, self.band = place.air_c[index], place.band[index]


def flow_by_search(spline, power, lift, slope, length, bore):
    """One hour the plain way: the flow at which pump, well and pipe agree, by a scalar root finder."""
    area, relative = np.pi / 4 * bore * bore, 7e-6 / bore / 3.7

    def gap(q):
        v = q / 60000 / area
        re = v * bore / 0.89e-6
        f = 64 / max(re, 1e-6) if re < 2000 else 0.25 / log10(relative + 5.74 / re**0.9) ** 2
        head = lift + slope * q + (f * length / bore + 8) * v * v / 19.6133
        return spline(head, power).item() - q

    if gap(0.0) <= 0:
        return 0.0
    high = 60.0
    while gap(high) > 0:
        high *= 2
    return brentq(gap, 0.0, high, xtol=1e-3, rtol=1e-4)


def loop_over_units(fleet, place, units):
    """Processor seconds and mean litres a day by month, the libraries' way: all of a unit on arrays but the search."""
    splines = {}
    for k, pump in enumerate(fleet.pumps):
        h, p, q = pump.points
        splines[k] = SmoothBivariateSpline(h, p, q, kx=3, ky=3, s=h.size * (0.012 * q.mean()) ** 2)
    days = np.array([15, 46, 75, 106, 136, 167, 197, 228, 259, 289, 320, 350])[:, None, None]
    angle = np.radians(15 * (np.arange(24) + 0.5 - 12))
    answers = np.zeros((len(units), 12))
    began = time.process_time()
    for row, i in enumerate(units):
        diode = fit_diode(*(float(getattr(fleet, name)[i]) for name in SHEET))
        lat = np.radians(fleet.latitude_deg[i])
        declination = pvlib.solarposition.declination_spencer71(days)
        zenith = pvlib.solarposition.solar_zenith_analytical(lat, angle, declination)
        azimuth = np.degrees(pvlib.solarposition.solar_azimuth_analytical(lat, angle, declination, zenith))
        zenith = np.degrees(zenith)
        light = sky.hours(fleet.latitude_deg[i], days[..., 0], place.day_ghi_kwh_m2_day[i], 0.0, 180.0)
        ghi, dhi = light.ghi_w_m2, light.dhi_w_m2
        dni = np.where(zenith < 88, (ghi - dhi) / np.maximum(np.cos(np.radians(zenith)), 0.03), 0.0)
        outer = pvlib.irradiance.get_extra_radiation(days.ravel())[:, None, None]
        sky_part = pvlib.irradiance.haydavies(fleet.tilt_deg[i], fleet.azimuth_deg[i], dhi, dni, outer, zenith, azimuth)
        aoi = pvlib.irradiance.aoi(fleet.tilt_deg[i], fleet.azimuth_deg[i], zenith, azimuth)
        ground = pvlib.irradiance.get_ground_diffuse(fleet.tilt_deg[i], ghi, 0.2)
        sun = np.maximum(np.nan_to_num(dni * np.maximum(np.cos(np.radians(aoi)), 0) + sky_part + ground), 0) * 0.92
        cell = pvlib.temperature.faiman(sun, place.air_c[i][:, None, None] + 3, 1.5)
        five = pvlib.pvsystem.calcparams_desoto(
            np.maximum(sun, 0.1), cell, diode.alpha_isc_a_k, diode.thermal_v, diode.photocurrent_a,
            diode.saturation_a, diode.shunt_ohm, diode.series_ohm,
        )  # fmt: skip
        watts = pvlib.singlediode.bishop88_mpp(*five, method="newton")[2]
        power = watts * fleet.modules_in_series[i] * fleet.strings[i] * 0.9
        spline, bore = splines[fleet.pump_index[i]], fleet.pipe_inside_mm[i] / 1000
        slope, length = float(fleet.drawdown_b_m_per_l_min[i]), float(fleet.pipe_length_m[i])
        lifts = (fleet.static_level_m[i] + fleet.tank_rise_m[i]).tolist()
        places = np.argwhere(power > 5)
        for month, watts_then in zip(places[:, 0].tolist(), power[power > 5].tolist(), strict=True):
            litres = 60 / 9 * flow_by_search(spline, watts_then, lifts[month], slope, length, float(bore))
            answers[row, month] += litres
    return time.process_time() - began, answers


def timed(fleet, place, cores):
    """Seconds on the clock and of the processors, and the baseline."""
    began, used = time.perf_counter(), time.process_time()
    got = chain.baseline(fleet, place, cores=cores)
    return time.perf_counter() - began, time.process_time() - used, got


def agreement(fleet, place):
    """Largest difference of the fast rows from the exact search: of a month's mean, and of any day over the mean."""
    from sizing.chain.daylight import BRIGHT, CLOUDED, HIDDEN, SUN_OUT, TABLE, lights
    from sizing.chain.days import day_space, open_day
    from sizing.chain.prepare import prepare
    from sizing.sky.light import HOURS, LIT, ROWS

    got = chain.baseline(fleet, place).by_kind_l
    worst_month = worst_day = 0.0
    prepared = prepare(fleet)
    dates, glass, frame, shade, which, opened, left = prepared.sun
    geometry, (there, _, kinds, *_) = np.empty((ROWS, HOURS)), day_space(9)
    for month in (0, 3, 6, 9):
        table, bright = np.zeros((fleet.n, 9, TABLE, HOURS)), np.zeros((fleet.n, 9, 1))
        lit = np.zeros((fleet.n, 1, HOURS))
        for i in range(fleet.n):
            hidden = int(which[i]), opened, left, False
            first, sunset, above, _ = open_day(geometry, frame[i], dates, month, glass, shade[i], *hidden)
            clearness = place.day_ghi_kwh_m2_day[i, month] / above
            there[:] = 0.0
            lights(geometry, frame[i], first, HOURS - first, sunset, clearness, shade[i], there, kinds)
            table[i] = there[:, :, :9].transpose(2, 0, 1)
            bright[i, :, 0] = kinds[BRIGHT, 0, :9]
            lit[i, 0, : HOURS - 2 * first] = 60 * geometry[LIT, first : HOURS - first]
        air = (place.air_c[:, month] + 3)[:, None, None, None]
        level = fleet.static_level_m[:, month][:, None, None, None]
        exact = chain.spot(fleet, np.minimum(table[:, :, :HIDDEN], 1990), air, level).flow_l_min
        litres = (lit * (bright * exact[:, :, SUN_OUT] + (1 - bright) * exact[:, :, CLOUDED])).sum(axis=2)
        mean = litres.mean(axis=1)
        use = mean > 50
        gap = got[:, month] - litres
        worst_month = max(worst_month, np.abs(gap.mean(axis=1) / mean)[use].max())
        worst_day = max(worst_day, np.abs(gap / mean[:, None])[use].max())
        print(
            f"  month {month + 1}: a unit's mean differs by "
            f"{np.median(np.abs(gap.mean(axis=1) / mean)[use]):.1e} in the middle, "
            f"{np.percentile(np.abs(gap.mean(axis=1) / mean)[use], 95):.1e} for 95 % of units"
        )
    return worst_month, worst_day


def pieces(fleet, place, at_once=100_000, times=10):
    """A million, a hundred thousand at a time: the litres of each piece are added up, and the piece is let go."""
    total, began, first = np.zeros(12), time.perf_counter(), 0.0
    index = np.resize(np.arange(fleet.n), at_once)
    for _ in range(times):
        total += np.nansum(timed(fleet.take(index), Place(place, index), 2)[2].volume_l_day, axis=0)
        first = first or time.perf_counter() - began
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{at_once:,} units on two cores: {first:.1f} s; {times} times as many, one piece after the other: "
        f"{time.perf_counter() - began:.0f} s; memory of the process at most {memory:.2f} GB"
    )


def main(thousands=20):
    fleet = sample_fleet.fleet().fleet
    place = climate.default_climate(fleet.latitude_deg, fleet.longitude_deg, fleet.altitude_m)
    tracking = np.where(fleet.coupling == 1)[0]
    units = tracking[:: max(len(tracking) // 4, 1)][:4]
    timed(fleet, place, 1)  # compiles
    loop_over_units(fleet, place, units)  # warms the libraries up
    index = np.tile(np.arange(fleet.n), int(thousands * 1000 / fleet.n) + 1)[: int(thousands * 1000)]
    many, there = fleet.take(index), Place(place, index)
    # in turn, so that whatever else the machine does meets all three alike; the best of each
    loops, ones, twos = [], [], []
    for _ in range(5):
        loops.append(loop_over_units(fleet, place, units))
        ones.append(timed(many, there, 1)[:2])
        twos.append(timed(many, there, 2)[:2])
    seconds, litres = min(loops, key=lambda run: run[0])
    loop_rate = len(units) / seconds
    ours = chain.baseline(fleet.take(units), Place(place, units)).volume_l_day
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(
        f"the loop's litres over the chain's, means of {len(units)} units: {(litres.mean(1) / ours.mean(1)).round(2)}"
    )
    one, work = (min(run[k] for run in ones) for k in (0, 1))
    two, shared = (min(run[k] for run in twos) for k in (0, 1))
    rate = many.n / work
    print(f"loop with libraries: {loop_rate:.1f} units a second of processor time")
    print(f"chain: {rate:,.0f} units a second of processor time, {rate / loop_rate:,.0f} times the loop")
    print(
        f"two cores: {one / two:.2f} times one by the clock ({many.n / two:,.0f} units a second), for "
        f"{shared / work:.2f} times the processor time: {2 * work / shared:.2f} times where both cores are free"
    )
    del many, there
    pieces(fleet, place)
    many, there = fleet.take(index[:2000]), Place(place, index[:2000])
    by_month = many.with_(static_level_m=many.static_level_m + 0.5 * np.sin(np.arange(12)))
    _, slow, _ = timed(by_month, there, 1)
    print(f"with another water level each month: {2000 / slow:,.0f} units a second on one core")
    single = fleet.take([0])
    alone = []
    for _ in range(20):
        began = time.perf_counter()
        chain.baseline(single, Place(place, np.array([0])))
        chain.working(single, 100, 6.0)
        alone.append(time.perf_counter() - began)
    print(f"one installation, baseline and working: {1000 * np.median(alone):.1f} ms")
    rows = 200_000
    rng = np.random.default_rng(1)
    unit, day, sun = rng.integers(0, fleet.n, rows), rng.integers(1, 366, rows), rng.uniform(1, 8, rows)
    chain.expected_days(fleet, unit, day, sun)
    began = time.perf_counter()
    chain.expected_days(fleet, unit, day, sun)
    print(f"expected days: {rows / (time.perf_counter() - began):,.0f} rows a second, {fleet.n} units' tables included")
    month, any_day = agreement(fleet, place)
    print(f"fast against exact: at most {month:.1e} of a month's mean, {any_day:.1e} of the mean on any day")


if __name__ == "__main__":
    main(*(float(a) for a in sys.argv[1:]))
