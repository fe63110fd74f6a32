"""Open cases: when a unit is asked about, what the odds say, and whether a flag is raised, raised again or taken down.

What a case knows is a small dict that is stored with the judgement, so that tomorrow's night continues it.
"""

from dataclasses import dataclass, field

import numpy as np

from fleet.output.services.nightly.courses import Courses
from fleet.output.services.nightly.load import as_date
from fleet.output.services.nightly.packing import observations
from fleet.readings import staging
from sizing import chain, judge
from sizing.causes import checks, names, odds, signatures, table

REMEMBERED = odds.REMEMBERED_DAYS
FADED = 0.99  # an open case comes down once it is surer than this that nothing is wrong


@dataclass
class Events:
    """What some nights did to the cases, in order: (unit, word that was put forward), or (unit, (day it came
    down, the latest word before))."""

    log: list = field(default_factory=list)
    standing: dict = field(default_factory=dict)  # unit -> the latest word on its open case
    sound: dict = field(default_factory=dict)  # unit -> day from which it has been well again


@dataclass
class History:
    """Observations by unit, fetched from the rows when a unit is first asked about, and gathered from then on."""

    ids: np.ndarray
    first: int  # first day of this stretch: what is older stands in the database
    last: int
    tests: object = None  # onsite.Tests of the cohort
    rows: dict = field(default_factory=dict)
    tonight: list = field(default_factory=list)

    def __post_init__(self):
        self.courses = Courses(self.ids, self.first, self.last)

    def add(self, rows):
        self.tonight.append(rows)

    def know(self, units):
        """Fetch what stands in the database of these units, in one question, as far as it was not fetched yet."""
        missing = [unit for unit in units if unit not in self.rows]
        if not missing:
            return
        place, found = dict(zip(self.ids[missing].tolist(), missing)), {unit: [] for unit in missing}
        for pk, raw in staging.fetch_rows(
            "SELECT installation_id, observation FROM output_evaluation WHERE installation_id = ANY(%s) AND day < %s "
            "AND day > %s AND observation IS NOT NULL ORDER BY installation_id, day",
            [list(place), as_date(self.first), as_date(self.first - REMEMBERED - 5)],
        ):
            found[place[pk]].append(raw)
        for unit, raw in found.items():
            self.rows[unit] = observations(raw)
            self.rows[unit]["unit"] = unit

    def of(self, unit):
        new = [rows[rows["unit"] == unit] for rows in self.tonight]
        return np.concatenate([self.rows[unit], *new])

    def with_tests(self, cohort, unit, day):
        """The same and the tests on site, as far as they were taken since it was last put right."""
        return np.concatenate([self.of(unit), self.tests.of(unit, day, put_right(cohort, unit, day))])


def night(cohort, state, cases, events, history, signs, rows, tested, day):
    """Ask about the units whose evidence has grown, that have a case, or that were tested on site today (tested, a
    set); returns the state after it."""
    suspect, evidence = state.suspect.copy(), state.evidence.copy()
    perhaps = _perhaps(np.unique(rows["unit"]), cases, evidence, cohort.daily, tested)
    history.know([unit for unit in perhaps if unit in cases])
    to_look = []
    for unit in perhaps:
        case = cases.get(unit)
        if case is not None and not case.note:
            rows = history.of(unit)
            if len(rows):
                since = well_again(rows, case, day, cohort.daily[unit])
            else:
                since = well_by_tests(history.with_tests(cohort, unit, day), case)
            if since is not None:
                del cases[unit]
                events.log.append((unit, (day, events.standing.pop(unit, None))))
                events.sound[unit] = cohort.sound_from[unit] = since
                evidence[unit], suspect[unit] = 0, 0
                continue
        if unit in tested or judge.worth_asking(cases.get(unit), evidence[unit], day, cohort.daily[unit], judge.ASK):
            to_look.append(unit)
    found = found_in(cohort, history, to_look, day)
    short = [unit for unit in to_look if judge.raised(found[unit], float(cohort.limits[unit]))]
    told = {unit: (sig, got) for unit, sig, got in ask(cohort, state, history, signs, short, day)}
    for unit in to_look:
        sig, got = told.get(unit, (None, None))
        if got is not None and unit not in cases and float(np.atleast_1d(got.lost_l)[0]) <= 0:
            got = None  # whatever it was, no water is lost today: nobody need go there
        # The causes see sooner than the search that a loss is over: it knows only losses that last.
        faded = got is not None and got.none > FADED
        got = got and judge.agreed(found[unit], got)
        step = judge.decide(cases.get(unit), found[unit], got, day, float(cohort.limits[unit]))
        if cases.get(unit) is not None and step.case is not None and faded:
            step = judge.Step(judge.CLOSED, None)
        if step.case is None:
            cases.pop(unit, None)
        else:
            cases[unit] = step.case
        if step.case is not None and got is not None:
            tests = history.tests.words(unit, day, put_right(cohort, unit, day))
            season = float(np.exp(judge.offset(state.take([unit]), day)[0]))
            events.standing[unit] = summary(got, day, sig, tests, season, found[unit])
        if step.what in (judge.RAISED, judge.TOLD_AGAIN):
            events.log.append((unit, events.standing[unit]))
        if step.what == judge.CLOSED:
            events.log.append((unit, (day, events.standing.pop(unit, None))))
            evidence[unit] = 0
        if step.what != judge.NOTHING:
            suspect[unit] = float(step.case is not None and not step.case.note)
    return state.with_(suspect=suspect, evidence=evidence)


def take_down(cases, events, unit):
    """A person ended it: there is no case any more, and nothing to say of it."""
    cases.pop(unit, None)
    events.standing.pop(unit, None)


def _perhaps(units, cases, evidence, daily, tested):
    """Those of which there may be something to ask: a case, any evidence, a figure that comes seldom, or a test."""
    some = units[(evidence[units].max(axis=1) > 0) | ~daily[units]].tolist()
    return sorted({*some, *tested, *(u for u in units.tolist() if u in cases)})


def found_in(cohort, history, units, day):
    """{unit: what its own figures say today of a loss (judge.Found), or None}."""
    cohort.know_built(units)
    cohort.know_first(units)
    history.know(units)
    found = dict.fromkeys(units)
    for unit in units:
        built = cohort.built.get(unit)
        if built is not None:
            found[unit] = judge.find(
                history.with_tests(cohort, unit, day), day, began_after(cohort, unit, day), built.level, built.level_sd,
                judge.kind_of(cohort.daily[unit], cohort.sites.has_cell[unit]), cohort.sites.float_switch[unit],
            )  # fmt: skip
    return found


def ask(cohort, state, history, signs, units, day, on_site=False):
    """[(unit, signatures, odds)] of the units whose causes are asked, all at once; those without odds left out.
    on_site: asked of the newest test (causes.odds.Asked)."""
    asked = []
    for unit, one in asked_of(cohort, state, history, signs, units, day):
        one = one._replace(on_site=on_site)
        if np.isfinite(one.rows["noon_w_m2"]).any():
            one = one._replace(noon=noon_due(cohort.built[unit], one.rows))
        asked.append((unit, one))
    found = odds.judge_many([one for _unit, one in asked])
    return [(u, a.signatures, got) for (u, a), got in zip(asked, found, strict=True) if got is not None]


def asked_of(cohort, state, history, signs, units, day):
    """[(unit, causes.odds.Asked without its noons)] of the units that can be worked out."""
    month = int(np.datetime64(int(day), "D").astype("datetime64[M]").astype(int) % 12)
    cohort.know_built(units)
    cohort.know_first(units)
    history.know(units)
    units = [unit for unit in units if unit in cohort.built]
    for fleet, new in cohort.fleets_of([u for u in units if (u, month) not in signs]):
        made = signatures.of_units(fleet, [cohort.built[u].row for u in new], month)
        signs.update(zip(((u, month) for u in new), made, strict=True))
    history.courses.know(units)
    asked = []
    for unit in units:
        mine, built = history.with_tests(cohort, unit, day), cohort.built[unit]
        asked.append((unit, odds.Asked(
            mine, signs[unit, month], day, began_after(cohort, unit, day), built.level, built.level_sd, None,
            float(np.clip(state.noise[unit], 0.7, 2.5)),
            names.RATES if cohort.rates is None else cohort.rates.of(unit, month),
            history.courses.of(unit, built, day),
        )))  # fmt: skip
    return asked


def began_after(cohort, unit, day):
    """The first day on which a fault of today could have begun. What was put right later says nothing of this day."""
    return max(put_right(cohort, unit, day), int(cohort.first[unit]))


def put_right(cohort, unit, day):
    """The day on which it was last found or made sound, as known on this day; -1: never."""
    sound = int(cohort.sound_from[unit])
    return sound if sound <= day else -1


def well_again(rows, case, day, daily):
    """The day from which a unit with an open case has given what it should, or None.

    Two weeks of daily figures, or two meter periods of three weeks together: their middle is nearer to sound than
    to the case by far, and hardly one of them falls short. A fault that ends by itself (somebody put a switch back) is
    over then; what began before has no say any more.
    """
    rows = rows[(rows["day"] > max(case.day, day - (WELL_DAYS if daily else 120))) & (rows["mistake"] == 0)]
    rows = rows[np.isfinite(rows["measured_l"]) & (rows["expected_l"] > 20 * rows["since"])]
    if daily:
        if len(rows) < WELL_FIGURES:
            return None
    else:
        rows = rows[-2:]
        if len(rows) < 2 or rows["since"].sum() < 21:
            return None
    ratio = rows["measured_l"] / rows["expected_l"]
    nearly = nearly_whole(case)
    fits = rows["measured_l"] >= np.minimum(rows["low_l"], 0.9 * rows["expected_l"])
    good = np.median(ratio) >= nearly and np.mean(fits) >= 0.85
    return int(rows["day"][0] - max(rows["since"][0], 1) + 1) if good else None


WELL_DAYS, WELL_FIGURES, WELL_TESTS = 14, 10, 2


def well_by_tests(tests, case):
    """The same of a unit of which nothing is known but tests on site: its last two, on different days, were sound."""
    tests = tests[np.isfinite(tests["measured_l"]) & (tests["day"] > case.day)][-WELL_TESTS:]
    if len(np.unique(tests["day"])) < WELL_TESTS:
        return None
    good = tests["measured_l"] >= nearly_whole(case) * tests["expected_l"]
    return int(tests["day"][0]) if good.all() else None


def nearly_whole(case):
    """Share of the expected from which a figure is nearer to sound than to the case by far."""
    return 1 - 0.25 * (1 - min(case.kept, 0.95))


def noon_due(built, rows):
    """Volts, amps and level that a unit should have shown at each row's noon, and the level if it stood."""
    one = built.fleet.take([built.row])
    sun = np.nan_to_num(rows["noon_w_m2"]).astype(float)[None, :]
    month = rows["day"].astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    spot = chain.spot(one, sun, table.AIR_C, one.static_level_m[0, month][None, :])
    return spot.array_voltage_v[0], spot.array_current_a[0], spot.pumping_level_m[0], one.static_level_m[0, month]


def summary(got, day, sig=None, tests=(), season=1.0, found=None):
    """What is put forward, as plain values: day, causes with odds, onset and loss with their ranges, probability,
    the checks that would tell most, by the unit's own signatures, the tests on site that counted, what the season
    leaves of the unit's usual output, and how the loss came (found: what the search says of it, judge.Found)."""
    # Alike as told: in the order of their names, for the last digits are not the same in every process.
    best = sorted(range(len(names.NAMES)), key=lambda c: (-round(float(got.cause[c]), 3), names.NAMES[c]))
    onset = [int(round(float(v))) for v in np.atleast_1d(got.onset)]
    lost = [max(0.0, float(v)) for v in np.atleast_1d(got.lost_l)]
    effect = None if sig is None or got.size is None else checks.effects(sig, got.size)
    return {
        "day": int(day),
        "causes": [
            {"cause": names.NAMES[c], "odds": round(float(got.cause[c]), 3)} for c in best[:6] if got.cause[c] > 0.005
        ],
        "checks": [code for code, _bits in checks.choose(got.cause, effect)],
        "onset": onset,
        "lost": [round(v, 1) for v in lost],
        "kept": round(float(got.kept), 3),
        "probability": round(1 - float(got.none), 4),
        "misread": round(float(got.misread), 4),
        "is_fault": best[0] != names.NOT_A_FAULT,
        "tests": list(tests),
        "season": round(season, 3),
        "came": came(float(got.kept), found),
    }


STOPPED = 0.05  # what is left of the water, below which a unit has stopped


def came(kept, found):
    """How a loss came: {"how": "stopped"}, {"how": "at_once"} or {"how": "grows", "days": about how many}; None where
    the search cannot say (it may know of no loss where a spot test alone does)."""
    if kept < STOPPED:
        return {"how": "stopped"}
    if found is None or not np.isfinite(found.ramp):
        return None
    return {"how": "grows", "days": int(found.ramp)} if found.ramp > 0 else {"how": "at_once"}


def plain(case):
    """A case as it is stored."""
    return {"day": int(case.day), "top": int(case.top), "kept": float(case.kept), "calm": int(case.calm),
            "asked": int(case.asked)}  # fmt: skip


def revived(stored):
    return judge.Case(**stored)
