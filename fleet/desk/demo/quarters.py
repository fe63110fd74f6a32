"""The day's course of a few of the demo's units: quarter hours of flow and of the logger's own cell for three months.

Light, shade and flow are worked out by the engineering package as the days are; the clouds that pass are made up. Each
day's quarter hours add up to the litres and to the sun that stand on its instruments.
"""

import numpy as np

from fleet.desk.demo import light
from fleet.desk.demo.lives import faults_at, severity
from fleet.readings import services as readings
from sizing import chain

DAYS = 92
SHOWN = ("shade_morning", "string_open")  # two troubles of today whose cause stands in the day's course
HOW_MANY = 3


def keep(installations, fleet, lives):
    """Keeps the quarter hours of HOW_MANY units with a logger: of SHOWN before sound ones, of these before others."""
    for place in _who(installations, lives):
        flow, cell = _course(fleet.take([place]), lives[place])
        days = np.array(lives[place].dates[-DAYS:], "datetime64[D]")
        readings.keep_series(
            installations=np.full(flow.size, installations[place].pk), days=np.repeat(days, light.SECONDS.size),
            seconds=np.tile(light.SECONDS, days.size),
            columns={"flow_l_min": np.round(flow.ravel(), 2), "irradiance_w_m2": np.round(cell.ravel())},
        )  # fmt: skip


def _who(installations, lives):
    def rank(place):
        had = lives[place].episode
        ails = had is not None and (had.ended is None or had.ended < DAYS)
        return SHOWN.index(had.cause) if ails and had.cause in SHOWN else len(SHOWN) + ails

    # A full tank would cut the day short, and the course is spread over the whole of it.
    loggers = [
        place for place, one in enumerate(installations)
        if one.instrument_level == "logger" and not one.well.tank.float_switch
    ]  # fmt: skip
    return sorted(loggers, key=rank)[:HOW_MANY]


def _course(one, life):
    """Flow, L/min, and what the cell shows, W/m2, of each quarter hour (days, quarters)."""
    rng = np.random.default_rng(DAYS)
    dates = life.dates[-DAYS:]
    day_of_year = np.array([day.timetuple().tm_yday for day in dates])
    share = severity(life.episode, len(life.dates))[-DAYS:] if life.episode else np.zeros(len(dates))
    sizes, which = np.unique(share, return_inverse=True)
    faults = faults_at(life.episode, sizes) if life.episode else chain.NONE
    until = share * life.episode.size.get("shade_until_h", 0.0) if life.episode else share
    whole, lit = light.quarters(one, day_of_year, life.level_sun[-DAYS:], until)
    cloud = np.exp(0.03 * rng.standard_normal(whole.shape))
    curve = chain.curve(one.take(np.zeros(sizes.size, int)), faults=faults)
    flow = np.stack([
        np.interp(lit[k] * cloud[k], curve.irradiance_w_m2, curve.flow_l_min[which[k], day.month - 1])
        for k, day in enumerate(dates)
    ]) * np.exp(0.02 * rng.standard_normal(whole.shape))  # fmt: skip
    litres, kwh = 15 * flow.sum(axis=1), (whole * cloud).sum(axis=1) / 4000
    return (
        flow * (life.shown_l[-DAYS:] / np.maximum(litres, 1e-9))[:, None],
        whole * cloud * (life.irradiation[-DAYS:] / np.maximum(kwh, 1e-9))[:, None],
    )
