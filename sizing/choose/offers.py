"""What is asked (the survey) and what is there to choose from (the catalogue)."""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from sizing import cable, head
from sizing.checks import Refusal, known, one_of, within
from sizing.pump import PumpCurve

__all__ = [
    "CableOffer",
    "Catalogue",
    "ModuleOffer",
    "PipeOffer",
    "PumpOffer",
    "Survey",
    "standard_cables",
    "standard_pipes",
]

NAN = float("nan")


@dataclass(frozen=True)
class Survey:
    """What was found at the well. Only the first seven are needed; NaN means not known.

    static_level_m and need_l_day: one value or twelve, January first. rise_m: well head to the tank's inlet.
    distance_m: run of pipe from well head to tank. array_distance_m: run of cable from array to well head.
    tilt_deg, azimuth_deg: NaN for towards the equator at the usual tilt. setting_depth_m: NaN to let it be chosen.
    coldest_c: air on the coldest sunny morning; NaN for 12 K below the coldest month's mean (common practice, no
    source). Raises Refusal naming what cannot be.
    """

    latitude_deg: float
    longitude_deg: float
    static_level_m: np.ndarray
    rise_m: float
    distance_m: float
    need_l_day: np.ndarray
    well_inside_mm: float = NAN
    altitude_m: float = NAN
    well_depth_m: float = NAN
    specific_capacity_m3_h_m: float = NAN
    safe_yield_m3_h: float = NAN
    setting_depth_m: float = NAN
    array_distance_m: float = 10.0
    tilt_deg: float = NAN
    azimuth_deg: float = NAN
    coldest_c: float = NAN

    def __post_init__(self):
        known(self.latitude_deg, "latitude_deg"), known(self.longitude_deg, "longitude_deg")
        limits = {
            "latitude_deg": (-66, 66),
            "longitude_deg": (-180, 180),
            "rise_m": (0, 300),
            "distance_m": (0, 20000),
            "well_inside_mm": (40, 20000),
            "altitude_m": (-450, 6000),
            "well_depth_m": (1, 700),
            "specific_capacity_m3_h_m": (0.001, 1000),
            "safe_yield_m3_h": (0.01, 1000),
            "setting_depth_m": (0.5, 700),
            "array_distance_m": (0, 1000),
            "tilt_deg": (0, 90),
            "azimuth_deg": (0, 360),
            "coldest_c": (-40, 40),
        }
        for name, (low, high) in limits.items():
            object.__setattr__(self, name, float(within(getattr(self, name), low, high, name)))
        for name in ("rise_m", "distance_m", "array_distance_m"):
            known(getattr(self, name), name)
        object.__setattr__(self, "static_level_m", _twelve(self.static_level_m, 0, 600, "static_level_m"))
        object.__setattr__(self, "need_l_day", _twelve(self.need_l_day, 0, 1e7, "need_l_day"))
        if self.need_l_day.max() <= 0:
            raise Refusal("need_l_day", 0.0, because="a need above 0 in one month at least")
        deepest = self.static_level_m.max()
        if self.well_depth_m <= deepest:
            raise Refusal("well_depth_m", self.well_depth_m, because=f"deeper than the water's level, {deepest:g} m")
        if self.setting_depth_m <= deepest:
            raise Refusal("setting_depth_m", self.setting_depth_m, because=f"below the water's level, {deepest:g} m")


def _twelve(value, low, high, name):
    values = known(value, name).ravel()
    if values.size not in (1, 12):
        raise Refusal(name, values.size, because="one value or twelve are needed")
    for month, one in enumerate(values):
        if not low <= one <= high:
            raise Refusal(name, float(one), (low, high), row=month)
    return np.broadcast_to(values, (12,)).copy()


class PumpOffer(NamedTuple):
    """A pump type. NaN or infinity for what its sheet does not say; coupling "direct" or "tracking"."""

    name: str
    curve: PumpCurve
    coupling: str
    outside_mm: float = NAN
    min_voltage_v: float = NAN
    max_voltage_v: float = NAN
    max_power_w: float = NAN
    max_head_m: float = NAN
    controller_efficiency: float = NAN
    start_power_w: float = NAN
    price: float = NAN


class ModuleOffer(NamedTuple):
    """A module type; values: the fields of the fleet's record (cells, p_stc_w, v_mp_v, i_mp_a, v_oc_v, i_sc_a ...)."""

    name: str
    values: dict
    price: float = NAN


class PipeOffer(NamedTuple):
    """A pipe. pressure_bar: NaN counts as strong enough only down to 60 m of water (6 bar)."""

    name: str
    inside_mm: float
    pressure_bar: float = NAN
    price_per_m: float = NAN


class CableOffer(NamedTuple):
    """A two-wire copper drop cable."""

    name: str
    area_mm2: float
    conductor_class: int = 5
    price_per_m: float = NAN


@dataclass(frozen=True)
class Catalogue:
    """What there is to choose from; pipes and cables default to the standards' sizes, without prices."""

    pumps: tuple
    modules: tuple
    pipes: tuple = field(default_factory=lambda: standard_pipes())
    cables: tuple = field(default_factory=lambda: standard_cables())

    def __post_init__(self):
        for name in ("pumps", "modules", "pipes", "cables"):
            if not len(getattr(self, name)):
                raise Refusal(name, "none", because="one at least is needed to choose from")
        for pump in self.pumps:
            one_of(pump.coupling, ("direct", "tracking"), "coupling")
        names = [pump.name for pump in self.pumps]
        if len(set(names)) < len(names):
            raise Refusal("pumps", names, because="each pump type's name once, please")


def standard_pipes(largest_outside_mm=75.0):
    """PE 100 pipes of ISO 4427, all walls, up to a diameter."""
    offers = []
    for outside, walls in head.pipe_table().items():
        if outside > largest_outside_mm:
            continue
        for sdr in walls:
            bar = float(head.pressure_class_bar(sdr))
            offers.append(PipeOffer(f"PE 100 {outside:g} mm SDR {sdr:g}", head.inside_diameter(outside, sdr), bar))
    return tuple(offers)


def standard_cables(sections=(1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)):
    """Flexible copper cables (class 5) of IEC 60228."""
    there = set(cable.conductor_table()["section_mm2"])
    return tuple(CableOffer(f"{area:g} mm2", area, 5) for area in sections if area in there)
