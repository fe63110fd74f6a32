"""A unit's healthy level on its first day: its commissioning tests against the chain."""

import numpy as np

from sizing import chain
from sizing.causes.onsite import CARRY_SD, TYPE_LEVEL, TYPE_SD

TEST_SD, SLIP = (
    0.06,
    0.4,
)  # of one spot test by bucket and reference cell (field practice, 5.2); beyond: a slip of the pen


def first_level(fleet, unit, irradiance_w_m2, air_c, flow_l_min, static_level_m):
    """Level (log) and its standard deviation for each of n installations from their tests.

    unit (t,): which installation each test belongs to; irradiance_w_m2, air_c, flow_l_min (t,); static_level_m (t,)
    NaN: as
    recorded. The median of a unit's tests counts, so that one gross slip among three does no harm.
    """
    level, sd = np.full(fleet.n, TYPE_LEVEL), np.full(fleet.n, TYPE_SD)
    unit = np.asarray(unit, int)
    if not unit.size:
        return level, sd
    recorded = fleet.static_level_m[:, 0][unit]
    static = np.where(np.isfinite(static_level_m), static_level_m, recorded)
    due = chain.spot(fleet.take(unit), np.asarray(irradiance_w_m2, float), np.asarray(air_c, float), static).flow_l_min
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(np.asarray(flow_l_min, float) / due)
    for u in np.unique(unit):
        mine = ratio[(unit == u) & np.isfinite(ratio)]
        if not mine.size or abs(np.median(mine)) > SLIP:
            continue
        gain = TYPE_SD**2 / (TYPE_SD**2 + CARRY_SD**2 + TEST_SD**2 / mine.size)
        level[u] += gain * (np.median(mine) - level[u])
        sd[u] = TYPE_SD * np.sqrt(1 - gain)
    return level, sd
