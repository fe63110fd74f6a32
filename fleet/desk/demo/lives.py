"""What sixty invented pumps gave on each day of two years, and what was written down of it.

Weather, drifts, faults and slips are made here with a fixed seed; the litres come from the engineering package, put
through each unit's own health, dirt and faults, so that nothing the judgement says about the demo is arranged.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fleet.desk.demo import light
from fleet.desk.demo.build import ZONE
from sizing import chain, sun

DAYS = 2 * 365  # two years of readings
# Clearness of the days by month on a plateau whose rains fall from November to March: mean and spread. Invented.
CLEARNESS = [0.50, 0.51, 0.54, 0.62, 0.66, 0.67, 0.67, 0.67, 0.65, 0.61, 0.55, 0.51]
SPREAD = [0.13, 0.13, 0.11, 0.07, 0.05, 0.04, 0.04, 0.04, 0.05, 0.08, 0.11, 0.13]


@dataclass(frozen=True)
class Episode:
    """One fault of one unit: what is wrong, from when to when (days before the last day), and how it came."""

    cause: str
    began: int
    ended: int | None
    ramp_days: int = 0
    size: dict = None
    wants: str = ""  # what the unit must be for this fault to be possible


# What is wrong today, then what was wrong once and was put right.
EPISODES = [
    Episode("shade_morning", 35, None, 0, {"shade_until_h": 11.25}, "logger"),
    Episode("string_open", 16, None, 0, {"strings_open": 1}, "two_strings_logger"),
    Episode("pump_wear", 150, None, 150, {"pump_flow_factor": 0.80, "pump_slip_head": 0.18}, "daily"),
    Episode("soiling", 60, None, 60, {"soiling_extra": 0.26}, "logger"),
    Episode("pipe_leak", 24, None, 0, {"leak_fraction": 0.34}, "daily"),
    Episode("stopped", 9, None, 0, {"stopped": True}, "meter"),
    Episode("water_table_fall", 120, None, 120, {"static_level_drop_m": 9.0}, "logger"),
    Episode("splice_resistance", 40, None, 20, {"series_resistance_ohm": 0.9}, "direct_daily"),
    Episode("meter_stopped", 33, None, 0, {"meter_stopped": True}, "meter"),
    Episode("lower_demand", 45, None, 0, {"demand": 0.45}, "float_daily"),
    Episode("pipe_leak", 610, 585, 0, {"leak_fraction": 0.45}, "daily"),
    Episode("stopped", 540, 528, 0, {"stopped": True}, "meter"),
    Episode("intake_blocked", 505, 470, 15, {"pump_flow_factor": 0.72}, "daily"),
    Episode("soiling", 460, 405, 50, {"soiling_extra": 0.24}, "meter"),
    Episode("string_open", 400, 372, 0, {"strings_open": 1}, "two_strings_logger"),
    Episode("stopped", 333, 320, 0, {"stopped": True}, "logger"),
    Episode("pump_wear", 420, 250, 140, {"pump_flow_factor": 0.70, "pump_slip_head": 0.2}, "daily"),
    Episode("controller_cutout", 240, 221, 0, {"controller_cap_w": 90.0}, "tracking_logger"),
    Episode("shade_afternoon", 290, 180, 60, {"shade_afternoon_fraction": 0.4}, "logger"),
    Episode("meter_stopped", 205, 170, 0, {"meter_stopped": True}, "meter"),
    Episode("stopped", 128, 119, 0, {"stopped": True}, "meter"),
]  # fmt: skip


def _fits(installation, wants):
    kind = installation.unit.pump_type
    tests = {
        "two_strings": installation.strings > 1,
        "direct": kind.coupling == "direct",
        "tracking": kind.coupling == "tracking",
        "float": installation.well.tank.float_switch,
    }
    for word in wants.replace("two_strings", "two-strings").split("_"):
        word = word.replace("-", "_")
        if word in {"meter", "daily", "logger"}:
            if installation.instrument_level != word:
                return False
        elif not tests[word]:
            return False
    return True


def who_suffers(installations):
    """Pairs of installation and episode; each unit has one episode at most, in a fixed order."""
    rng = np.random.default_rng(77)
    free = list(rng.permutation(len(installations)))
    pairs = []
    for episode in EPISODES:
        # A float switch hides small losses behind full tanks; faults are shown where they can be seen.
        wanted = [
            i for i in free
            if _fits(installations[i], episode.wants)
            and (episode.cause == "lower_demand" or not installations[i].well.tank.float_switch)
        ]  # fmt: skip
        wanted = wanted or [i for i in free if _fits(installations[i], episode.wants)]
        if wanted:
            free.remove(wanted[0])
            pairs.append((wanted[0], episode))
    return pairs


def weather(last_day, days, districts):
    """Daily clearness, (districts, days): a common front and each district's own sky, days that resemble the last."""
    rng = np.random.default_rng(2024)
    dates = [last_day - timedelta(days=days - 1 - k) for k in range(days)]
    month = np.array([day.month - 1 for day in dates])
    front, own = np.zeros(days), np.zeros((districts, days))
    for k in range(1, days):
        front[k] = 0.45 * front[k - 1] + np.sqrt(1 - 0.45**2) * rng.standard_normal()
        own[:, k] = 0.3 * own[:, k - 1] + np.sqrt(1 - 0.3**2) * rng.standard_normal(districts)
    mixed = 0.8 * front + 0.6 * own
    clear = np.array(CLEARNESS)[month] + np.array(SPREAD)[month] * (mixed - 0.25 * np.maximum(mixed, 0) ** 2)
    return dates, np.clip(clear, 0.10, 0.78)


def severity(episode, days):
    """0 before, up to 1 over the ramp, 0 after it was put right; (days,)."""
    age = np.arange(days) - (days - episode.began)
    grown = np.ceil(12 * np.clip((age + 1) / max(episode.ramp_days, 1), 0, 1)) / 12 * (age >= 0)
    if episode.ended is not None:
        grown[days - episode.ended :] = 0
    return grown


def faults_at(episode, share):
    """The engineering package's fault record at each day's share of its full size."""
    sizes = {}
    for name, full in (episode.size or {}).items():
        if name in {"demand", "shade_until_h"}:
            continue
        if name in {"stopped", "meter_stopped"}:
            sizes[name] = share > 0
        elif name in {"pump_flow_factor"}:
            sizes[name] = 1 - (1 - full) * share
        elif name == "controller_cap_w":
            sizes[name] = np.where(share > 0, full, np.inf)
        elif name == "strings_open":
            sizes[name] = np.where(share > 0, full, 0.0)
        else:
            sizes[name] = full * share
    return chain.Faults(**sizes)


@dataclass
class Life:
    """One installation's two years: what it gave and what stood on its instruments, one value a day."""

    dates: list
    volume_l: np.ndarray
    level_sun: np.ndarray
    full: np.ndarray
    irradiation: np.ndarray
    noon_irradiance: np.ndarray
    noon_voltage: np.ndarray
    noon_current: np.ndarray
    noon_level: np.ndarray
    shown_l: np.ndarray
    episode: Episode | None


def live(installations, fleet, last_day):
    """The lives of all installations, in order. `fleet` is the engineering record made from the registry's rows."""
    days = DAYS
    district_ids = sorted({row.well.site.district_id for row in installations})
    dates, clearness = weather(last_day, days, len(district_ids))
    day_of_year = np.array([day.timetuple().tm_yday for day in dates])
    suffering = dict(who_suffers(installations))
    rng = np.random.default_rng(31)
    lives = []
    for i, installation in enumerate(installations):
        one = fleet.take([i])
        district = district_ids.index(installation.well.site.district_id)
        outside = sun.extraterrestrial_kwh_m2_day(float(one.latitude_deg[0]), day_of_year)
        local = np.clip(clearness[district] * (1 + 0.03 * rng.standard_normal(days)), 0.05, 0.8)
        level_sun = local * np.asarray(outside)
        episode = suffering.get(i)
        share = severity(episode, days) if episode else np.zeros(days)
        season = 0.6 * np.sin(2 * np.pi * (day_of_year - 210) / 365)  # lowest at the end of the dry season
        static = float(one.static_level_m[0].mean()) + season
        dirt = _dirt(rng, dates)
        health = getattr(installation, "demo_health", 1.0) * (1 + 0.01 * rng.standard_normal())
        many = one.take(np.zeros(days, int))
        faults = faults_at(episode, share) if episode else chain.NONE
        # One curve for each size the fault had, not one a day.
        sizes, size_of_day = np.unique(share, return_inverse=True)
        litres = chain.expected_days(
            one.take(np.zeros(sizes.size, int)), size_of_day, day_of_year, level_sun, "horizontal",
            static_level_m=static, faults=faults_at(episode, sizes) if episode else chain.NONE,
        ).volume_l  # fmt: skip
        stopped = np.broadcast_to(np.asarray(faults.stopped, bool), (days,))
        litres = np.where(stopped, 0, np.nan_to_num(litres))
        if episode and "shade_until_h" in episode.size:
            litres *= light.water_left(one, dates, day_of_year, level_sun, share * episode.size["shade_until_h"])
        litres = litres * health * (1 - 1.1 * (dirt - 0.03)) * (1 + 0.02 * rng.standard_normal(days))
        litres = np.maximum(litres, 0)
        full = np.zeros(days, bool)
        if installation.well.tank.float_switch:
            need = np.array(installation.well.site.need_m3_day)[[day.month - 1 for day in dates]] * 1000
            draw = need * np.exp(0.12 * rng.standard_normal(days)) * 1.25
            if episode and "demand" in episode.size:
                draw = draw * np.where(share > 0, episode.size["demand"], 1.0)
            full = litres > draw
            litres = np.minimum(litres, draw)
        broken = np.broadcast_to(np.asarray(faults.meter_stopped, bool), (days,))
        lives.append(_on_instruments(rng, installation, many, dates, day_of_year, level_sun, local, static, dirt,
                                     litres, full, faults, broken, stopped, health, episode))  # fmt: skip
    return lives


def _dirt(rng, dates):
    """Share of light lost to dust: grows in the dry months, washed off by rain or by the caretaker's cloth."""
    dirt, level = np.empty(len(dates)), 0.02
    for k, day in enumerate(dates):
        level += 0.0016 if day.month in range(5, 11) else 0.0006
        if rng.random() < (0.05 if day.month in range(5, 11) else 0.16):
            level = 0.01
        dirt[k] = min(level, 0.07)
    return dirt


def _on_instruments(rng, installation, many, dates, day_of_year, level_sun, local, static, dirt, litres, full, faults,
                    broken, stopped, health, episode):  # fmt: skip
    days = len(dates)
    nan = np.full(days, np.nan)
    plane = noon = volts = amps = level = nan
    if installation.instrument_level == "logger":
        # In the plane of the modules, by the same day tables that the litres were read from.
        table = chain.day_table(many.take([0]))
        month = np.array([day.month - 1 for day in dates])
        plane = np.array([
            np.interp(level_sun[k], table.horizontal_kwh_m2[0, month[k]], table.in_plane_kwh_m2[0, month[k]])
            for k in range(days)
        ]) * (1 + 0.01 * rng.standard_normal(days))  # fmt: skip
        noon = np.clip(plane / 5.9 * 900 * (1 + 0.10 * rng.standard_normal(days)), 60, 1080)
        air = 24 + 6 * np.cos(2 * np.pi * (day_of_year - 300) / 365)
        at = chain.spot(many, noon * (1 - dirt + 0.03), air, static, faults=faults)
        off = stopped | full & (rng.random(days) < 0.3)
        volts = np.where(off, at.array_voltage_v * 1.18, at.array_voltage_v * (1 + 0.01 * rng.standard_normal(days)))
        amps = np.where(off, 0, at.array_current_a * (1 + 0.015 * rng.standard_normal(days)))
        level = np.where(off, static, at.pumping_level_m + 0.05 * rng.standard_normal(days))
    shown = np.where(broken, 0, litres)
    return Life(dates, litres, level_sun, full, plane, noon, volts, amps, level, shown, episode)


def meter_rows(rng, life, installation):
    """What the caretaker wrote: (time, total, tank seen full), every one to four weeks, with a slip now and then."""
    zone = ZoneInfo(ZONE)
    total = float(rng.integers(20_000, 800_000))
    running = total + np.concatenate([[0], np.cumsum(life.shown_l)])
    k = int(rng.integers(0, 7))
    rows = []
    while k < len(life.dates):
        hour = float(rng.uniform(7, 17.5))
        # The share of the day's water that had come by then: nearly all of it flows between seven and five.
        share = float(np.clip((hour - 7) / 10, 0, 1) ** 1.3)
        figure = (running[k] + share * life.shown_l[k]) % installation.meter_rollover_l
        at = datetime(*life.dates[k].timetuple()[:3], int(hour), int(hour % 1 * 60) // 15 * 15, tzinfo=zone)
        rows.append([at, round(figure), bool(life.full[k]) if rng.random() < 0.7 else None])
        k += int(rng.choice([7, 7, 14, 14, 28, 30], p=[0.25, 0.2, 0.2, 0.15, 0.1, 0.1]))
    return rows


def slips(rows, rng, how_many):
    """Spoils a few figures as people do: a slip of ten, or two digits exchanged."""
    spoiled = []
    for place in rng.choice(np.arange(len(rows) // 2, len(rows)), size=min(how_many, len(rows) // 2), replace=False):
        figure = f"{rows[place][1]:d}"
        if rng.random() < 0.5 and rows[place][1] < 90_000:
            rows[place][1] *= 10
        elif len(figure) > 3 and figure[1] != figure[2]:
            rows[place][1] = int(figure[0] + figure[2] + figure[1] + figure[3:])
        spoiled.append(int(place))
    return spoiled
