"""A string of which some groups of cells stand in shade: each group has a bypass diode beside it.

A module's cells stand in three groups, as common junction boxes have them (common practice, no source). The current of
a string is the same everywhere: up to what the shaded groups carry they add their volts, above that their bypass diodes
take it and the string loses their volts and the diodes' own. So there are two humps of power, of which a tracking
controller is taken to find the higher.
"""

import numpy as np

from sizing import array
from sizing.checks import Refusal, within

GROUPS = 3  # of a module's cells, each with its bypass diode
BYPASS_V = 0.5  # over a conducting bypass diode: Schottky diodes at a few amps (common practice, no source)
POINTS = 2000  # of a curve; the peak lies within 1e-5 of the true one


def share_of_volts(groups, modules_in_series, v_mp_v):
    """Share of its volts that a string keeps with so many groups of cells bypassed. Shapes broadcast.

    Refuses more groups than the string has, by name.
    """
    series = within(modules_in_series, 1, 200, "modules_in_series")
    groups = np.asarray(within(groups, 0, np.inf, "groups_bypassed"), float)
    if np.any(groups > GROUPS * series):
        raise Refusal("groups_bypassed", float(np.max(groups)), (0, float(GROUPS * np.min(series))))
    own = within(v_mp_v, 1, 500, "v_mp_v") / GROUPS
    return np.maximum(1.0 - groups * (own + BYPASS_V) / (GROUPS * series * own), 0.0)


def string_in_shade(diode, modules_in_series, groups_shaded, light_left, irradiance_w_m2, cell_c):
    """The working point of largest power (`array.WorkingPoint`) of one string, groups_shaded of whose groups of cells
    get light_left (0-1) of the others' light.

    diode: of one module, numbers. The other arguments broadcast; NaN gives NaN, no sun zeros. Refuses more groups than
    the string has, light left outside 0-1.
    """
    series = within(modules_in_series, 1, 200, "modules_in_series")
    shaded = within(groups_shaded, 0, np.inf, "groups_shaded")
    if np.any(shaded > GROUPS * series):
        raise Refusal("groups_shaded", float(np.nanmax(shaded)), (0, float(GROUPS * np.min(series))))
    left, sun = within(light_left, 0, 1, "light_left"), within(irradiance_w_m2, 0, 2000, "irradiance_w_m2")
    parts = np.broadcast_arrays(series, shaded, left, sun, np.asarray(cell_c, float))
    volts, amps = np.full(parts[0].shape, np.nan), np.full(parts[0].shape, np.nan)
    for at in np.ndindex(parts[0].shape):
        values = [float(part[at]) for part in parts]
        if np.isfinite(values).all():
            volts[at], amps[at] = _peak_of(diode, *values)
    return array.WorkingPoint(volts, amps, volts * amps)


def _peak_of(diode, series, shaded, left, sun, cell):
    if sun <= 0.0:
        return 0.0, 0.0
    groups = GROUPS * series
    grid = np.linspace(0.0, 1.3 * array.maximum_power(diode, sun, cell).voltage_v.item() + 1.0, POINTS)
    bright = array.current(diode, sun, cell, grid)
    currents = np.linspace(0.0, bright[0], POINTS)
    volts = (groups - shaded) / GROUPS * np.interp(currents, bright[::-1], grid[::-1])
    if shaded > 0:
        dull = array.current(diode, sun * left, cell, grid) if sun * left > 0 else np.zeros(POINTS)
        carried = np.interp(currents, dull[::-1], grid[::-1]) if dull[0] > 0 else np.zeros(POINTS)
        volts += np.where(currents < dull[0], shaded / GROUPS * carried, -shaded * BYPASS_V)
    best = int(np.argmax(volts * currents))
    return max(volts[best], 0.0), currents[best] if volts[best] > 0 else 0.0
