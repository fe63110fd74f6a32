"""What an error in azimuth or tilt costs by month: in irradiation from the sky alone, in litres from the chain."""

from typing import NamedTuple

import numpy as np

from sizing import chain, sky, sun
from sizing.checks import Refusal, within

__all__ = ["Cost", "cost_in_irradiation", "cost_in_litres"]

_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


class Cost(NamedTuple):
    """right (12,): what the array as it should stand gets, a day. wrong (k, 12): what it gets with each error.

    by_month (k, 12) and by_year (k,): share lost, 0.05 = 5 %, below 0 where the error is a gain.
    """

    right: np.ndarray
    wrong: np.ndarray
    by_month: np.ndarray
    by_year: np.ndarray


def cost_in_irradiation(
    latitude_deg, day_ghi_kwh_m2_day, tilt_deg, azimuth_deg, azimuth_error_deg, tilt_error_deg=0.0, *,
    ground_reflectance=0.2,
):  # fmt: skip
    """Cost of errors in kWh/m2 that get through the glass (Cost), for one site.

    day_ghi_kwh_m2_day: (12, kinds) as in `Climate`; azimuth_error_deg and tilt_error_deg broadcast to (k,). A tilt
    that an error would take below 0 or above 90 is refused.
    """
    azimuth_error, tilt_error = _errors(azimuth_error_deg, tilt_error_deg)
    tilt = within(tilt_deg, 0, 90, "tilt_deg") + np.concatenate([[0.0], tilt_error])
    azimuth = within(azimuth_deg, -720, 720, "azimuth_deg") + np.concatenate([[0.0], azimuth_error])
    for value in tilt:
        within(value, 0, 90, "tilt_deg")
    days = np.asarray(day_ghi_kwh_m2_day, dtype=np.float64)
    if days.ndim != 2 or days.shape[0] != 12:
        raise Refusal("day_ghi_kwh_m2_day", days.shape, because="twelve months of kinds of day are needed, (12, kinds)")
    caught = sky.caught_hours(
        latitude_deg,
        sun.AVERAGE_DAYS[:, None],
        days,
        tilt[:, None, None],
        azimuth[:, None, None],
        ground_reflectance=ground_reflectance,
    )
    return _cost(caught.sum(axis=-1).mean(axis=-1) / 1000)


def cost_in_litres(fleet_of_one, day_ghi_kwh_m2_day, azimuth_error_deg, tilt_error_deg=0.0):
    """Cost of errors in litres a day (Cost), for one installation whose record says how it should stand.

    The full chain, without tank and float. Litres lose less than irradiation where the pump or well is the limit, and
    more where low sun no longer lifts. Azimuth errors within -180..180, tilt within -90..90.
    """
    if fleet_of_one.n != 1:
        raise Refusal("fleet_of_one", fleet_of_one.n, because="one installation is needed")
    azimuth_error, tilt_error = _errors(azimuth_error_deg, tilt_error_deg)
    azimuth_turn = np.concatenate([[0.0], azimuth_error])
    tilt_turn = np.concatenate([[0.0], tilt_error])
    for value in fleet_of_one.tilt_deg + tilt_turn:
        within(value, 0, 90, "tilt_deg")
    days = np.asarray(day_ghi_kwh_m2_day, dtype=np.float64)
    if days.ndim != 2 or days.shape[0] != 12:
        raise Refusal("day_ghi_kwh_m2_day", days.shape, because="twelve months of kinds of day are needed, (12, kinds)")
    variants = azimuth_turn.size
    fleet = fleet_of_one.take(np.zeros(variants, dtype=int))
    faults = chain.Faults(azimuth_turn_deg=azimuth_turn, tilt_turn_deg=tilt_turn)
    shape = (variants, *days.shape)
    unit = np.broadcast_to(np.arange(variants)[:, None, None], shape).ravel()
    day = np.broadcast_to(sun.AVERAGE_DAYS[:, None], shape).ravel()
    irradiation = np.broadcast_to(days, shape).ravel()
    litres = chain.expected_days(fleet, unit, day, irradiation, "horizontal", faults=faults).volume_l
    return _cost(litres.reshape(shape).mean(axis=-1))


def _errors(azimuth_error, tilt_error):
    azimuth = within(np.atleast_1d(azimuth_error), -360, 360, "azimuth_error_deg")
    tilt = within(np.atleast_1d(tilt_error), -90, 90, "tilt_error_deg")
    return np.broadcast_arrays(azimuth, tilt)


def _cost(gets):
    right, wrong = gets[0], gets[1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        by_month = np.where(right > 0, 1 - wrong / right, np.nan)
        by_year = 1 - (wrong @ _DAYS) / (right @ _DAYS)
    return Cost(right, wrong, by_month, by_year)
