"""Judging installations from what they reported: weather, expectation, evidence, flags.

How a room of the application uses it, all on arrays, n installations in a fixed order:

Once for the fleet, again for units whose installation changed:

* `fleet` = chain.fleet_from_rows(...).fleet; `tests` of commissioning -> `level, level_sd = first_level(fleet, ...)`;
* `table` = causes.table.build(fleet, usual, solar_shift_h): usual (n, 12) clearness on causes.table.scale,
  solar_shift_h =
  longitude / 15 minus the zone's hours from UTC;
* `sites` = Sites(float_switch, rollover_l, has_cell, dry_from_m, owner, at); `net` = network(latitude,
  longitude, reports_daily);
* `state` = new_state(n, level, level_sd, 0.95 * need_l_day, first_day). Store `state.as_rows()` (a row of numbers a
  unit), bring
  back with State.from_rows. Days count from 1970-01-01 (numpy's datetime64[D] as int), local to the site.

Every night, for day d (and for every missed day in order):

1. `seen, variance = tell(state, sites, table, days, d)` for the whole fleet (only units with day records matter);
2. `sky = read_sky(net, table.prior(doy) + state.sky_bias, seen, variance)` for the whole fleet; `patchy =
   learn_patchiness(state.patchy, sky, net)`;
3. in batches of any size (state.take, sites.take, table.take, sky rows): `state, rows = night(state, sites, table,
   sky, days, totals, d, patchy)`;
   rows is an array of OBSERVATION, one for each reading: keep them with the evaluation, they are all that causes
   need later;
4. units whose `worth_asking(case, state.evidence[u], d, daily, ASK)`: fetch their rows of the last 300 days and
   `found = find(rows, d, first_day, level[u], level_sd[u], kind_of(daily, has_cell), float_switch)`; only where
   `raised(found, limit(alarms_per_hundred, daily, has_cell))` ask the causes, `odds = agreed(found,
   causes.odds.judge(rows, causes.signatures.of_unit(fleet, u, month), d, first_day, level[u], level_sd[u], noon,
   noise))`; then `decide(case, found, odds or None, d, limit)` gives RAISED, TOLD_AGAIN, CLOSED or NOTHING and the
   case to keep;
5. set state.suspect of units with an open fault to 1 (they stop telling the weather, their level waits), to 0 when
   closed, with evidence nought.

first_level etc. are the unit's own; `tests/makers/run_judged_fleet.py` does all of this on a folder of files.
"""

from sizing.judge.bank import Found, find
from sizing.judge.commissioned import first_level
from sizing.judge.doubts import Beside
from sizing.judge.flags import (
    CLOSED,
    NOTHING,
    RAISED,
    TOLD_AGAIN,
    Case,
    Step,
    agreed,
    decide,
    raised,
    worth_asking,
)
from sizing.judge.instruments import Noons, doubt_figure, doubt_noons
from sizing.judge.limits import ASK, days_to_notice, limit
from sizing.judge.nightly import Sites, day_of_year, due_today, night, offset, tell, well_was_dry
from sizing.judge.noise import kind_of
from sizing.judge.record import OBSERVATION, Days, State, Totals, new_state
from sizing.judge.season import around
from sizing.judge.season import is_due as season_is_due
from sizing.judge.season import read as read_season
from sizing.judge.weather import Sky, learn_patchiness, network
from sizing.judge.weather import read as read_sky

__all__ = [
    "ASK", "CLOSED", "NOTHING", "OBSERVATION", "RAISED", "TOLD_AGAIN", "Beside", "Case", "Days", "Found", "Noons",
    "Sites", "Sky", "State", "Step", "Totals", "agreed", "around", "day_of_year", "days_to_notice", "decide",
    "doubt_figure", "doubt_noons", "due_today", "find", "first_level", "kind_of", "learn_patchiness", "limit",
    "network", "new_state", "night", "offset", "raised", "read_season", "read_sky", "season_is_due", "tell",
    "well_was_dry", "worth_asking",
]  # fmt: skip
