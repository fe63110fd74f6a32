"""Every pump and array of the catalogue put through the whole chain, checked and put in order."""

from typing import NamedTuple

import numpy as np

from sizing import chain, sun
from sizing.checks import Refusal, one_of, within
from sizing.choose.hanging import WARNINGS, Check, cable_length_m, hang, known_or, layouts

__all__ = ["ORDERS", "Answer", "Choice", "choose"]

ORDERS = ("margin", "cost")

ONE_IN_TEN = 1.28  # one-sided tenth of the normal distribution


class Choice(NamedTuple):
    """A pump with its array, pipe and cable. Where no layout could be computed, module is None and numbers are NaN.

    litres_day, low_l_day (12,): mean of the month, and what nine years (or pumps) in ten give at least. margin:
    litres over need in the worst month less 1; margin_low the same of low. low_by_sun, low_by_model: the shares of that
    month's water that the climate's and the model's uncertainty take of it, each alone; their squares add. price: NaN
    unless all parts have one. fits: every check holds but `sure`, `bore_not_known` and `head_low`, which warn.
    smallest: the least array of its pump that fits.
    """

    pump: str
    module: str | None
    in_series: int
    strings: int
    array_w: float
    pipe: str | None
    pipe_length_m: float
    cable: str | None
    cable_length_m: float
    setting_depth_m: float
    head_m: float
    peak_flow_l_min: float
    litres_day: np.ndarray
    low_l_day: np.ndarray
    worst_month: int
    margin: float
    margin_low: float
    low_by_sun: float
    low_by_model: float
    price: float
    fits: bool
    smallest: bool
    checks: tuple


class Answer(NamedTuple):
    """choices in order, those that fit first; climate label, source and band that they rest on."""

    choices: list
    climate_label: str
    climate_source: str
    climate_band: float


def choose(survey, climate, catalogue, *, order="margin", most_modules=12):
    """What fits, and why the rest does not (Answer).

    climate: of this place (`climate.default_climate`, `own_climate` or of a weather file). order: "margin" (most water
    over need in the worst month first) or "cost" (cheapest first; without prices last). most_modules: of an array.
    Modules of one type in equal strings; series within the pump's voltages from a cold morning (open circuit) to a hot
    noon (highest power, cells at 65 C), for direct coupling the loaded voltages; arrays up to 1.6 times the pump's
    power. Depth: 3 m of water over the pump at its largest flow in the driest month. Water is what an untiring tank
    would take: float and draw are not in it. All that fit come back; of those that do not, the best of each pump and
    module.
    Refuses: an unknown order, a climate of another shape, a count of modules below 1 or above 200.
    """
    one_of(order, ORDERS, "order")
    most = int(within(most_modules, 1, 200, "most_modules"))
    if np.shape(climate.ghi_kwh_m2_day) != (12,) or not np.isfinite(climate.ghi_kwh_m2_day).all():
        raise Refusal("climate", np.shape(climate.ghi_kwh_m2_day), because="twelve known months of one place")
    coldest = survey.coldest_c if np.isfinite(survey.coldest_c) else float(np.min(climate.air_c)) - 12
    drafts, rows, choices = [], [], []
    for offer in catalogue.pumps:
        hung = hang(survey, offer, catalogue.pipes)
        if not all(c.ok for c in hung.checks if c.code not in WARNINGS):
            choices.append(_without_array(hung, hung.checks))
            continue
        found, why_not = layouts(survey, hung, catalogue, coldest, most)
        if not found:
            choices.append(_without_array(hung, hung.checks + why_not))
        drafts += found
        rows += [_row(survey, hung, *layout) for hung, *layout in found]
    choices += _best_of_the_rest(_compute(survey, climate, catalogue, drafts, rows))
    choices = _mark_smallest(choices)
    choices.sort(key=lambda c: (not c.fits, *_rank(c, order)))
    return Answer(choices, climate.label, climate.source, float(np.max(climate.band)))


def _rank(choice, order):
    margin = -choice.margin if np.isfinite(choice.margin) else np.inf
    price = choice.price if np.isfinite(choice.price) else np.inf
    by_need = margin if order == "margin" else price
    return (by_need, choice.array_w if np.isfinite(choice.array_w) else np.inf, choice.pump, choice.module or "")


def _row(survey, hung, module, series, strings, conductor, _):
    """The fleet's record of one candidate, for the chain."""
    offer = hung.offer
    row = {
        "pump_type": offer.name,
        "coupling": offer.coupling,
        "latitude_deg": survey.latitude_deg,
        "longitude_deg": survey.longitude_deg,
        "altitude_m": known_or(survey.altitude_m, 300.0),
        "tilt_deg": known_or(survey.tilt_deg, max(10.0, float(round(abs(survey.latitude_deg))))),
        "azimuth_deg": known_or(survey.azimuth_deg, 180.0 if survey.latitude_deg >= 0 else 0.0),
        "modules_in_series": series,
        "strings": strings,
        "static_level_m": survey.static_level_m,
        "need_l_day": survey.need_l_day,
        "setting_depth_m": hung.setting_m,
        "tank_rise_m": survey.rise_m,
        "pipe_length_m": hung.pipe_length_m,
        "pipe_inside_mm": hung.pipe.inside_mm,
        "cable_length_m": cable_length_m(survey, hung),
        "cable_area_mm2": conductor.area_mm2,
        "conductor_class": conductor.conductor_class,
        **module.values,
    }
    optional = {
        "specific_capacity_m3_h_m": survey.specific_capacity_m3_h_m,
        "controller_efficiency": offer.controller_efficiency,
        "start_power_w": offer.start_power_w,
        "max_power_w": offer.max_power_w,
        "max_voltage_v": offer.max_voltage_v,
    }
    return row | {name: value for name, value in optional.items() if np.isfinite(value)}


def _compute(survey, climate, catalogue, drafts, rows):
    if not rows:
        return []
    read = chain.fleet_from_rows(rows, {offer.name: offer.curve for offer in catalogue.pumps})
    dull = np.clip(1 - ONE_IN_TEN * float(np.max(climate.band)), 0.2, 1)
    days = climate.day_ghi_kwh_m2_day * np.array([1.0, dull])[:, None, None]
    (mean, in_dull_year), (reach, _) = _litres(read.fleet, days, climate.air_c)
    by_sun, by_model = (1 - in_dull_year / np.maximum(mean, 1e-9), reach / np.maximum(mean, 1e-9))
    low = mean * (1 - np.minimum(np.hypot(by_sun, by_model), 1))
    warm, level = float(np.max(climate.air_c)), float(survey.static_level_m.min())
    peak = np.asarray(chain.spot(read.fleet, np.full(len(rows), 1000.0), warm, np.full(len(rows), level)).flow_l_min)
    return [
        _judged(survey, draft, mean[i], low[i], (by_sun[i], by_model[i]), float(np.ravel(peak[i])[0]), read.reasons[i])
        for i, draft in enumerate(drafts)
    ]


def _best_of_the_rest(choices):
    """All that fit; of those that do not, the one with most water for each pump and module."""
    kept, best = [c for c in choices if c.fits], {}
    for c in choices:
        if not c.fits:
            key = c.pump, c.module
            if key not in best or np.nan_to_num(c.margin, nan=-2) > np.nan_to_num(best[key].margin, nan=-2):
                best[key] = c
    fitting = {(c.pump, c.module) for c in kept}
    return kept + [c for key, c in best.items() if key not in fitting]


def _litres(fleet, days, air_c):
    """Litres a day (years, n, 12) for years of kinds of day (years, 12, kinds): the mean, and how far a pump, an array
    and a well may lie below it in one case of ten."""
    shape = (len(days), fleet.n, *days.shape[1:])
    unit = np.broadcast_to(np.arange(fleet.n)[:, None, None], shape).ravel()
    day = np.broadcast_to(sun.AVERAGE_DAYS[:, None], shape).ravel()
    sunlight = np.broadcast_to(days[:, None], shape).ravel()
    # The chain asks for the air of the daylight hours, some 3 K above the mean of day and night (from memory).
    got = chain.expected_days(fleet, unit, day, sunlight, "horizontal", air_c=np.asarray(air_c)[None, :] + 3.0)
    return tuple(litres.reshape(shape).mean(axis=-1) for litres in (got.volume_l, got.model_l))


def _judged(survey, draft, mean, low, shares, peak, why):
    hung, module, series, strings, conductor, checks = draft
    checks = hung.checks + checks
    if why or not np.isfinite(mean).all():
        checks += (Check("record", False, {"why": why or "no answer"}),)
        return _without_array(hung, checks)
    need = np.maximum(survey.need_l_day, 1e-9)
    asked = survey.need_l_day > 0
    worst = int(np.argmin(np.where(asked, mean / need, np.inf)))
    worst_low = int(np.argmin(np.where(asked, low / need, np.inf)))
    margin, margin_low = mean[worst] / need[worst] - 1, low[worst_low] / need[worst_low] - 1
    if np.isfinite(survey.safe_yield_m3_h):
        safe = survey.safe_yield_m3_h * 1000 / 60
        checks += (Check("yield", peak <= safe * 1.001, {"flow_l_min": peak, "safe_l_min": safe}),)
    checks += (
        Check("need", margin >= 0, {"month": worst + 1, "given_l": mean[worst], "need_l": need[worst]}),
        Check("sure", margin_low >= 0, {"month": worst_low + 1, "given_l": low[worst_low]}),
    )
    offer, cable_length = hung.offer, cable_length_m(survey, hung)
    price = offer.price + series * strings * module.price
    price += hung.pipe.price_per_m * hung.pipe_length_m + conductor.price_per_m * cable_length
    return Choice(
        offer.name,
        module.name,
        series,
        strings,
        float(series * strings * module.values["p_stc_w"]),
        hung.pipe.name,
        hung.pipe_length_m,
        conductor.name,
        cable_length,
        hung.setting_m,
        hung.head_m,
        peak,
        mean,
        low,
        worst + 1,
        float(margin),
        float(margin_low),
        *(float(share[worst_low]) for share in shares),
        float(price),
        all(c.ok for c in checks if c.code not in WARNINGS),
        False,
        checks,
    )


def _without_array(hung, checks):
    nothing = np.full(12, np.nan)
    pipe = hung.pipe.name if hung.pipe else None
    nan = float("nan")
    return Choice(
        hung.offer.name, None, 0, 0, nan, pipe, hung.pipe_length_m, None, nan, hung.setting_m, hung.head_m,
        hung.flow_l_min, nothing, nothing, 0, nan, nan, nan, nan, nan, False, False, tuple(checks),
    )  # fmt: skip


def _mark_smallest(choices):
    least = {}
    for choice in choices:
        if choice.fits and choice.array_w < least.get(choice.pump, np.inf):
            least[choice.pump] = choice.array_w
    return [c._replace(smallest=c.fits and c.array_w == least.get(c.pump)) for c in choices]
