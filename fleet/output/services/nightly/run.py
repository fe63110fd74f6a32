"""The nights of a cohort, one after another, from where each installation stands."""

from dataclasses import dataclass, field

import numpy as np

from fleet.output.services.nightly import cases as cases_of
from fleet.output.services.nightly import load, onsite, places
from sizing import judge
from sizing.judge import record
from sizing.judge.commissioned import TYPE_LEVEL, TYPE_SD


@dataclass
class Stretch:
    """What some nights leave behind, to be stored in one transaction."""

    state: object
    cases: dict
    rows: list = field(default_factory=list)  # observations, with facts of the meter figures behind them
    events: object = None
    snapshots: dict = field(default_factory=dict)  # day -> (units, State of them, cases)
    recent: np.ndarray = None
    asked: int = 0


def fresh_state(cohort, units):
    """State of units on the night before their first reading."""
    cohort.know_first(units)
    cohort.know_built(units)
    level, level_sd = np.full(len(units), TYPE_LEVEL), np.full(len(units), TYPE_SD)
    demand = np.full(len(units), np.nan)
    for n, unit in enumerate(units.tolist()):
        built = cohort.built.get(unit)
        if built is not None:  # None: it was changed a moment ago, and cannot be computed
            level[n], level_sd[n] = built.level, built.level_sd
            demand[n] = built.fleet.need_l_day[built.row].mean()
    lift = cohort.table.litres[units].max(axis=(1, 2))
    demand = np.where(np.isfinite(demand), 0.95 * demand, lift)  # nobody wrote the need down: what it lifts at most
    return judge.new_state(len(units), level, level_sd, demand, 0).with_(
        onset=np.repeat(cohort.first[units, None].astype(float), record.SIZES.size, axis=1)
    )


def nights(cohort, state, cases, through, recent, first, last, ended, snapshot_on):
    """Judge the days first..last (numbers). `through` (n,): last day judged of each unit; later days only are judged.

    ended: {day: units} whose shortfall people ended on that day; it may have come late. snapshot_on(day): whether the
    state after that day is to be kept. Returns a Stretch.
    """
    made = Stretch(state, cases, events=cases_of.Events(), recent=recent.copy())
    tests = onsite.Tests(cohort, first, last)
    history, signs = cases_of.History(cohort.ids, first, last, tests), {}
    loaded = load.load(cohort.ids, first, last)
    by_places = places.told(cohort.places, first, last)
    everyone = np.arange(len(cohort))
    # Who was judged before has begun; of the others the first reading was asked for.
    begun = np.where(cohort.first == -1, last + 1, np.maximum(cohort.first, 0))
    for day in range(first, last + 1):
        days, totals, facts = loaded[day]
        active = (through < day) & (begun <= day) & (cohort.last >= day)
        if not active.any():
            continue
        state = _put_right(cohort, made, {unit for unit in ended.get(day, ()) if active[unit]}, day)
        doy = judge.day_of_year(day)
        seen, variance = judge.tell(state, cohort.sites, cohort.table, days, day)
        prior = cohort.table.prior(doy) + state.sky_bias
        spread = cohort.table.patchy(doy)
        sky, patchy = _sky(cohort, state, prior, spread, seen, variance, by_places.get(day))
        lean = judge.read_season(cohort.around, state, day, active) if judge.season_is_due(day) else state.season
        if totals is not None and facts["new_meter"].any():
            started = totals.unit[facts["new_meter"] > 0]
            total = state.total.copy()
            total[started] = np.nan
            state = state.with_(total=total)
        if active.all():
            after, rows = judge.night(state, cohort.sites, cohort.table, sky, days, totals, day, patchy, lean)
        else:
            units = everyone[active]
            ahead = everyone[(through >= day) & (cohort.last >= day)]
            part, rows = _night_of_some(cohort, state, units, sky, patchy, lean, days, totals, day, ahead, through)
            after = state.put(units, part)
        if len(rows):
            # A meter's period is put down to whoever told the sky on its last day.
            rows["told_by"] = np.where(rows["told_by"] < 0, rows["told_by"], sky.told_by[rows["unit"]])
            made.rows.append((day, rows, totals, facts))
            rows = rows[rows["since"] != 0]
            history.add(rows)
            _learn_recent(made.recent, rows)
        tested = {unit for unit in tests.on.get(day, ()) if active[unit]}
        if len(rows) or tested:
            after = cases_of.night(cohort, after, cases, made.events, history, signs, rows, tested, day)
        made.state = after
        if snapshot_on(day):
            units = everyone[active]
            made.snapshots[day] = (units, after.take(units), {u: cases_of.plain(cases[u]) for u in cases})
    made.asked = len(signs)
    return made


def _put_right(cohort, made, units, day):
    """The state in which these units' evidence starts anew on this day, without a case."""
    state = made.state
    if not units:
        return state
    suspect, evidence = state.suspect.copy(), state.evidence.copy()
    for unit in units:
        cases_of.take_down(made.cases, made.events, unit)
        suspect[unit], evidence[unit], cohort.sound_from[unit] = 0, 0, day
    return state.with_(suspect=suspect, evidence=evidence)


def _sky(cohort, state, prior, spread, seen, variance, by_places):
    """The sky over every unit from its neighbours and from places with a record, and how patchy it is here."""
    n, p = len(cohort), len(cohort.places)
    if not p:
        sky = judge.read_sky(cohort.net, prior, seen, variance, spread)
        return sky, judge.learn_patchiness(state.patchy, sky, cohort.net)
    nothing = np.full(p, np.nan)
    more, doubt = by_places or (nothing, nothing)
    seen, variance = np.append(seen, more), np.append(variance, doubt)
    near = cohort.places.nearest
    whole = judge.read_sky(
        cohort.net, np.append(prior, prior[near]), seen, variance, np.append(spread, spread[near])
    )
    patchy = judge.learn_patchiness(np.append(state.patchy, np.ones(p)), whole, cohort.net)[:n]
    sky = type(whole)(*(column[:n] for column in whole))
    alone = places.only_places(cohort.net, np.isfinite(seen), n)
    return sky._replace(told_by=sky.told_by + np.where(alone, places.FROM_PLACES, 0)), patchy


def _night_of_some(cohort, state, units, sky, patchy, lean, days, totals, day, ahead, through):
    """As a night of all, for some units only: those that are behind the others, which are `ahead`."""
    place = np.full(len(cohort), -1)
    place[units] = np.arange(len(units))
    part_sky = type(sky)(*(np.asarray(column)[units] for column in sky))

    def some(readings):
        if readings is None:
            return None
        keep = place[readings.unit] >= 0
        values = {name: getattr(readings, name)[keep] for name in readings.__dataclass_fields__}
        values["unit"] = place[values["unit"]]
        return type(readings)(**values)

    part, rows = judge.night(
        state.take(units), cohort.sites.take(units), cohort.table.take(units), part_sky, some(days), some(totals), day,
        patchy[units], lean[units], judge.Beside(state.take(ahead), cohort.sites.take(ahead), through[ahead]),
    )  # fmt: skip
    rows["unit"] = units[rows["unit"]]
    rows["other"] = np.where(rows["other"] >= 0, np.append(units, ahead)[rows["other"]], -1)
    return part, rows


RECENT_DAYS = 30.0


def _learn_recent(recent, rows):
    """Measured over expected, remembered for about thirty days; days idle by a full tank are left out."""
    good = (rows["mistake"] == 0) & (rows["expected_l"] > 20 * rows["since"]) & np.isfinite(rows["measured_l"])
    good &= ~idle(rows)
    rows = rows[good]
    ratio = np.clip(rows["measured_l"] / rows["expected_l"], 0, 2)
    share = np.minimum(rows["since"] / RECENT_DAYS, 1.0)
    unit = rows["unit"]
    before = np.where(np.isnan(recent[unit]), ratio, recent[unit])
    recent[unit] = before + share * (ratio - before)


def idle(rows):
    """Days on which a full tank, not the unit, set how much was pumped."""
    with np.errstate(invalid="ignore"):
        limited = rows["supply_l"] > 1.15 * rows["demand_l"] * rows["since"]
        drawn = rows["measured_l"] > 0.6 * rows["demand_l"] * rows["since"]
    return (np.isfinite(rows["demand_l"]) & limited & drawn) | (rows["tick"] == 1)
