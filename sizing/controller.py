"""The controller: what reaches the pump's leads of what the array gives.

Two kinds. A tracking controller holds the array at its largest power and hands on a share of it, up to its limit, once
there is enough to start. Direct coupling has no box to speak of: array and pump meet where their volt-ampere lines
cross (see `chain`), and this module has nothing to take away.
"""

from typing import NamedTuple

import numpy as np

from .checks import within

DIRECT, TRACKING = 0, 1
# A sheet gives the best efficiency; over a day's loads and heat, and while hunting for the peak, small boxes give two
# to three per cent less (weighted against peak efficiency of converters; from memory)
AT_WORK = 0.975


class Handed(NamedTuple):
    """Power handed on, W, and whether the controller held back (its limit) or had too little to start."""

    power_w: np.ndarray
    limited: np.ndarray
    idle: np.ndarray


def hand_on(array_power_w, efficiency, max_power_w=np.inf, start_power_w=0.0):
    """Power on the pump's side of a tracking controller (Handed). Arguments broadcast; no sun, no power.

    Holds: efficiency constant over the load, which small units meet within about 2 % above a fifth of their rating
    (common practice, no source). Refuses an efficiency outside 0.5-1 and powers below zero.
    """
    array = within(array_power_w, 0, np.inf, "array_power_w")
    share = within(efficiency, 0.5, 1.0, "efficiency")
    top = np.asarray(max_power_w, float)
    after = array * share
    idle = after < np.asarray(start_power_w, float)
    limited = ~idle & (after > top)
    return Handed(np.where(idle, 0.0, np.minimum(after, top)), limited, idle)


def highest_voltage(modules_in_series, v_oc_v, beta_voc_pct_k, coldest_cell_c):
    """Open-circuit voltage of the string on the coldest sunny morning, V: what the controller must bear."""
    beta = within(beta_voc_pct_k, -1, 0, "beta_voc_pct_k") / 100
    cold = within(coldest_cell_c, -40, 40, "coldest_cell_c")
    series = within(modules_in_series, 1, 60, "modules_in_series")
    return series * within(v_oc_v, 0, 600, "v_oc_v", open_low=True) * (1 + beta * (cold - 25))
