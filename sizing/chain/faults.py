"""Faults put into the chain: each with a size, neutral by default, so that the same call gives sound and faulty output.

Which fault shows how stands in the catalogue of causes (`causes`); here stands only what each does to the physics.
"""

from dataclasses import dataclass, fields

import numpy as np

from ..checks import within


@dataclass(frozen=True)
class Faults:
    """Sizes of faults; numbers or arrays that broadcast with the installations. All neutral by default.

    soiling_extra: share of light lost beyond the normal dirt, all cells alike.
    shade_morning_fraction, shade_afternoon_fraction: share of the array's light lost before / after solar noon.
    shade_morning_top_deg, shade_afternoon_top_deg: something stands there up to this height angle; while the sun is
      lower, its beam is lost (the light of the sky is not).
    azimuth_turn_deg, tilt_turn_deg: the frame stands turned by so much (clockwise; steeper).
    strings_open: strings that give nothing.
    groups_bypassed: groups of cells (a third of a module each) in deep shade or broken in each string, which their
      bypass diodes leave out: volts go, amps stay.
    series_resistance_ohm: in a splice or terminal, in the whole loop.
    pump_flow_factor: flow at the same speed, 1 sound. pump_slip_head: worn clearances: share of the largest flow lost
      at the largest head tried, less at lower head; hits low power and high head most.
    intake_block_factor: share of the inlet's area left, 1 free: adds a loss of head that grows with flow squared.
    leak_fraction: share of the pumped water that falls back through the rising main.
    leak_l_min_30m: what a hole halfway up the rising main loses under 30 m of water, and by the root of the head more.
    static_level_drop_m: the static level lies deeper by this. drawdown_factor: drawdown times this.
    controller_cap_w: never more power than this. cutout_irradiance: stops above this in-plane irradiance.
    off_share: share of the time that the box is off, here and there through the day; a moment's answer (`spot`) is
      that of the running unit, sums over days have their mean.
    stopped: no water at all. meter_factor: what the meter shows of what flows, meter_stopped: shows nothing.
    demand_l_day: litres drawn a day; with a float switch the rest is not pumped. NaN: as recorded.
    """

    soiling_extra: float = 0.0
    shade_morning_fraction: float = 0.0
    shade_afternoon_fraction: float = 0.0
    shade_morning_top_deg: float = 0.0
    shade_afternoon_top_deg: float = 0.0
    azimuth_turn_deg: float = 0.0
    tilt_turn_deg: float = 0.0
    strings_open: float = 0.0
    groups_bypassed: float = 0.0
    series_resistance_ohm: float = 0.0
    pump_flow_factor: float = 1.0
    pump_slip_head: float = 0.0
    intake_block_factor: float = 1.0
    leak_fraction: float = 0.0
    leak_l_min_30m: float = 0.0
    static_level_drop_m: float = 0.0
    drawdown_factor: float = 1.0
    controller_cap_w: float = np.inf
    cutout_irradiance: float = np.inf
    off_share: float = 0.0
    stopped: bool = False
    meter_factor: float = 1.0
    meter_stopped: bool = False
    demand_l_day: float = np.nan

    def __post_init__(self):
        for name, (low, high) in FAULT_LIMITS.items():
            within(getattr(self, name), low, high, name)

    def column(self, name, n):
        """One fault's sizes, an array of n."""
        return np.broadcast_to(np.asarray(getattr(self, name), float), (n,))

    def take(self, index):
        """The rows of an index, for faults given per installation; single numbers stay."""
        kept = {}
        for f in fields(self):
            value = np.asarray(getattr(self, f.name))
            kept[f.name] = value if value.ndim == 0 else value[index]
        return Faults(**kept)


FAULT_LIMITS = {
    "soiling_extra": (0, 1),
    "shade_morning_fraction": (0, 1),
    "shade_afternoon_fraction": (0, 1),
    "shade_morning_top_deg": (0, 90),
    "shade_afternoon_top_deg": (0, 90),
    "leak_l_min_30m": (0, 1000),
    "off_share": (0, 1),
    "azimuth_turn_deg": (-180, 180),
    "tilt_turn_deg": (-90, 90),
    "strings_open": (0, 200),
    "groups_bypassed": (0, 600),
    "series_resistance_ohm": (0, 1000),
    "pump_flow_factor": (0, 1.5),
    "pump_slip_head": (0, 1),
    "intake_block_factor": (0.01, 1),
    "leak_fraction": (0, 1),
    "static_level_drop_m": (-200, 200),
    "drawdown_factor": (0, 100),
    "meter_factor": (0, 10),
}
NONE = Faults()
