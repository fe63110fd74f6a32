"""What is known of a unit before a test on site, in few numbers, so that whoever reads the test can weigh it there.

The odds of the causes are a sum over hypotheses: a cause, a size, how it came and when. All that the earlier readings
say of one of them is kept here: its log weight, and what they lead to expect of the next reading, for readings of one
channel are normal with a known covariance (`causes.channels`), so that the next one given the earlier is normal too
(Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, sec. A.2, from memory). Hypotheses of one cause
and size that expect the same of the test are taken together. The telephone does the rest of `causes.odds.judge`, and
of `flags.agreed`, for which it is told what the search would find of tests of some shares of the flow due.
"""

from typing import NamedTuple

import numpy as np

from sizing.causes import channels, odds, onsite, shape
from sizing.causes.table import X
from sizing.judge.bank import find
from sizing.judge.onsite import LEAST_SD
from sizing.judge.record import blank

GROWN = (0.3, 0.6, 0.8, 0.999)  # edges between which growths are taken together
ALIKE = 0.03  # of what earlier readings carry over to the log of the test's flow: nearer is taken together
# Log weights below the likeliest of the same cause, size and growth, and of the same cause and size at any growth, from
# which parts are left out: the test can part growths, not what is alike to it.
FAINT, FAINTER = 4.0, 9.0
USUAL_SUN, USUAL_VAR = 800.0, 0.01  # W/m2 at which a test is thought of beforehand, and variance of its flow (log)
LIKELIEST = 12.0  # log odds beyond which nothing is told apart
SHARES = (0.0, 0.2, 0.4, 0.55, 0.7, 0.8, 0.9)  # of the flow due, at which it is told whether less is drawn
DOUBTS = (LEAST_SD, 0.12, 0.2)  # how far (log) the same flow may be off
SIDES = ("current", "voltage", "level", "rest", "meter")  # channels of a test beside its flow


class Side(NamedTuple):
    """A channel of the test beside its flow: mean and variance of its next reading where nothing is wrong, its own in
    it; own: what a sun stronger by channels.BRIGHTER changes of it; loose: variance of a shift's own factor; trust;
    before (3, parts): what the earlier readings say of that factor, its mean and the share of its doubt that is left,
    and what they carry over to the next reading; None: there are none."""

    mean: float
    var: float
    own: float
    loose: float
    trust: float
    before: np.ndarray | None


class Ahead(NamedTuple):
    """Of one unit before a test of its day.

    flow_mean (2,), flow_var (3,): of the log of its next flow where nothing is wrong, its own variance left aside: by
    what lasts, by dirt; by what lasts, both, dirt. Dirt counts times what light is worth that day. sides: {SIDES:
    Side}. stands: chance that a sound unit is found standing. Parts are hypotheses taken together, arrays (p,): of,
    their place in the signatures; grown, share of the size; weight (log); factor, doubt_left: what the earlier readings
    say of the size over the one tried, its mean and the share of its doubt (odds.SPREAD) that is left; carried: what
    they carry over to the next flow; kept: log of the water kept now at the size tried. sound: log weight of nothing,
    of what costs next to nothing and of patchy weather. doubt: of the causes where the test brings no volts, amps or
    levels, and where it does. signatures: those that were asked. less: see `drawn_less`.
    """

    flow_mean: np.ndarray
    flow_var: np.ndarray
    sides: dict
    stands: float
    of: np.ndarray
    grown: np.ndarray
    weight: np.ndarray
    factor: np.ndarray
    doubt_left: np.ndarray
    carried: np.ndarray
    kept: np.ndarray
    sound: float
    doubt: tuple
    signatures: object
    less: np.ndarray | None


def ahead(ask, usual_l, drawn_l, light_gain, noon_due, kind):
    """Ahead of a test on ask.today; None where nothing can have begun by then.

    ask: causes.odds.Asked with the readings until then, its noon left aside; usual_l, drawn_l: litres of a usual day by
    the chain and as people draw them, NaN where no float switch limits; light_gain: per cent of flow that a per cent of
    light is worth; noon_due: gives what was due at each row's noon (causes.odds.Asked.noon); kind: how it reports
    (noise.kind_of).
    """
    if ask.today < ask.first:
        return None
    usual = _test(ask, usual_l, drawn_l, light_gain, _newest_share(ask), USUAL_VAR)
    rows = np.append(ask.rows, usual)
    volts, amps, level, rest = (np.asarray(x, float) for x in noon_due(rows))
    rows["noon_v"][-1], rows["noon_a"][-1] = volts[-1], amps[-1]
    noon = (volts, amps, level, rest)
    water = channels.water_channel(rows, ask.today, ask.level, ask.noise)
    sees = bool(water.own_cell.any()) or bool(onsite.other_noons(ask.rows).any())
    sig = ask.signatures if sees else ask.signatures.without_cell
    ages = odds.BEGINNINGS if water.daily else odds.SPARSE
    begin, weight = odds.beforehand(sig, ask, np.union1d(ages, ask.today - water.began))
    now = odds.weigh_water(ask, sig, water, begin, weight)[1].now
    found, mean, var, carried = _flow(ask, sig, water, begin, weight, light_gain)
    sides, stands, noons = _sides(ask, sig, rows, noon, begin, found)
    grown = _grown(begin, ask.today)
    doubt = odds.DAILY_DOUBT if water.daily else 1.0
    parts = _together(sig, weight, found, carried, now, grown, sides)
    sides = {name: side._replace(before=parts.pop(name, None)) for name, side in sides.items()}
    less = drawn_less(ask, usual_l, drawn_l, light_gain, kind) if np.isfinite(drawn_l) else None
    return Ahead(mean, var, sides, stands, **parts, doubt=(1.0 if noons else doubt, 1.0), signatures=sig, less=less)


def drawn_less(ask, usual_l, drawn_l, light_gain, kind):
    """Log odds that less is drawn, against those of a loss (bank.find), after a test of each of SHARES by each of
    DOUBTS, (doubts, shares); None where a loss is the likelier whatever the test shows."""
    def after(share, doubt):
        test = _test(ask, usual_l, drawn_l, light_gain, share, doubt**2)
        found = find(np.append(ask.rows, test), ask.today, ask.first, ask.level, ask.level_sd, kind, True)
        return 0.0 if found is None else min(max(found.less - found.fault, -LIKELIEST), LIKELIEST)

    if all(after(SHARES[-1], doubt) <= 0 for doubt in DOUBTS):
        return None
    return np.array([[after(share, doubt) for share in SHARES] for doubt in DOUBTS])


def _newest_share(ask):
    """Of what was due, as the newest readings have it: so that a test of it changes nothing of what is made of them."""
    with np.errstate(invalid="ignore"):
        counts = (ask.rows["mistake"] == 0) & (ask.rows["expected_l"] > 0) & np.isfinite(ask.rows["measured_l"])
    known = ask.rows[counts]
    return float(np.median(known["measured_l"][-5:] / known["expected_l"][-5:])) if len(known) else 1.0


def _test(ask, usual_l, drawn_l, light_gain, share, variance):
    """A test of today that shows a share of the flow due."""
    one, usual = blank(1), usual_l * onsite.SPAN_DAYS
    one["day"], one["since"], one["told_by"] = ask.today, onsite.SPAN_DAYS, onsite.BY_BUCKET
    one["supply_l"], one["expected_l"] = usual, usual * np.exp(ask.level)
    one["measured_l"] = share * usual * np.exp(ask.level)
    one["clearness"], one["weather_var"], one["light_gain"] = 1.0, variance, light_gain
    one["demand_l"] = 50 * usual_l if np.isfinite(drawn_l) else np.nan
    one["high_l"], one["noon_w_m2"], one["meant"] = drawn_l, USUAL_SUN, 1.0
    return one


def _flow(ask, sig, water, begin, weight, light_gain):
    """(Weighed by the earlier readings alone, mean and variance of the next flow, what they carry over to it)."""
    n = len(water.day) - 1
    steep = np.append(water.steep[:-1], 1.0)
    by_dirt, whole = (
        channels.water_covariance(water._replace(gain=np.append(water.gain[:-1], gain), steep=steep), ask.level_sd)
        for gain in (1.0, 0.0)
    )
    dirt = by_dirt[-1] - whole[-1]
    own = np.array([whole[-1, -1], 0.0, channels.DIRT_SD**2])
    shape_of = (*sig.shares.shape, begin.size)
    if not n:
        found = odds.Weighed(*np.zeros((4, *shape_of)), np.full(1, -np.inf))
        return found, np.zeros(2), own, np.zeros(shape_of)
    some = {k: v[:-1] for k, v in water._asdict().items() if k not in ("began", "daily")}
    known = water._replace(**some)
    found = odds.weigh_water(ask, sig, known, begin, weight)[1]
    inverse, weighed = odds.turned(channels.water_covariance(known, ask.level_sd), known.var, known.y)
    across = np.stack([whole[-1, :-1], dirt[:-1]])
    taken = across @ inverse @ across.T
    along = np.ascontiguousarray((across[0] + light_gain * across[1]) @ inverse)
    carried = odds.along(ask, sig, known, begin, inverse, along)
    var = own - np.array([taken[0, 0], taken[0, 1], taken[1, 1]])
    return found._replace(innocent=found.innocent[1:]), across @ weighed, var, carried


def _grown(begin, today):
    """Share to which a loss has grown at the test (ramps, begin): none of one that begins that day."""
    age = (today - begin)[None, :]
    by_pace = np.where(odds.STARTS[:, None] > 0, np.clip(age / np.maximum(odds.STARTS[:, None], 1e-9), 0, 1), 1.0)
    return np.where(age > 0, by_pace, 0.0)


def _sides(ask, sig, rows, noon, begin, found):
    """({name: Side}, chance to stand, whether earlier readings have noons); what the test does not add to is found."""
    at_work, at_rest = rows.copy(), rows.copy()
    at_work["noon_level_m"][-1] = noon[2][-1]
    at_rest["noon_a"][-1], at_rest["noon_v"][-1] = np.nan, np.nan
    at_rest["told_by"][-1], at_rest["noon_level_m"][-1] = onsite.DIP, noon[3][-1]
    some, idle = channels.noon_channels(at_work, ask.today, noon, sig.tracking)
    rest = channels.noon_channels(at_rest, ask.today, noon, sig.tracking)[0][-1]
    meter = channels.meter_channel(rows, ask.today)[0]
    made = dict(zip(SIDES, (*some, rest, meter), strict=True))
    bright = {"current": channels.CURRENT[4], "voltage": channels.VOLTAGE[4]}
    sides = {
        name: _side(one, 1.0 if name == "meter" else odds.NOON_TRUST, bright.get(name, 0.0), sig, begin)
        for name, one in made.items()
    }
    earlier = idle._replace(**{k: v[:-1] for k, v in idle._asdict().items()})
    if earlier.day.size:
        odds.add_standing(earlier, odds.NOON_TRUST, sig, begin, found)
    for one in channels.cell_channel(ask.rows, ask.today, X):
        odds.add_channel(one, odds.NOON_TRUST, sig, begin, found)
    shapes, stood = shape.channel(ask.course, ask.rows, ask.today, sig) if ask.course is not None else ([], None)
    for one in shapes:
        odds.add_channel(one, shape.TRUST, sig, begin, found)
    if stood is not None:
        odds.add_standing(stood, shape.STOOD_TRUST, sig, begin, found)
    noons = bool(earlier.day.size) or bool(shapes) or sides["current"].before is not None
    return sides, float(idle.sound[-1]), noons


def _side(one, trust, own, sig, begin):
    covariance, n = one.covariance, one.y.size - 1
    if not n:
        return Side(0.0, float(covariance[0, 0]), own, one.loose, trust, None)
    shift = one.shift(sig)[:, :-1]
    known = one._replace(day=one.day[:-1], y=one.y[:-1], covariance=covariance[:-1, :-1], shift=lambda s: shift)
    inverse, weighed = odds.turned(known.covariance, np.zeros(n), known.y)
    across = covariance[-1, :-1]
    along = np.ascontiguousarray(across @ inverse)
    before = odds.by_channel(known, trust, sig, begin)
    carried = odds.by_channel(known, 1.0, sig, begin, along)[0]
    return Side(
        float(across @ weighed), float(covariance[-1, -1] - along @ across), own, one.loose, trust,
        np.stack([*before, carried]),
    )  # fmt: skip


def _together(sig, weight, found, carried, now, grown, sides):
    """The parts, and what goes to the sound ones: what has not begun to grow by the test is of no account to it."""
    spread = odds.SPREAD[sig.cause][:, None, None]
    base, linear, square = weight + found.told, found.linear, found.square
    own = {}
    for name, side in sides.items():
        if side.before is not None:
            before, wide = side.before, 1 + side.loose * side.before[1]
            own[name] = (side.loose * before[0] / wide, 1 / wide, before[2])
            gain, more, wider = odds.loosened(before[0], before[1], side.loose)
            base, linear, square = base + gain, linear + more, square + wider
    post = base + odds.over_sizes(linear, square, odds.SPREAD[sig.cause])
    wide = 1 + spread * square
    left = np.where(sig.scatter[:, None, None] > 0, 0.0, 1 / wide)  # what scatters has its size weighed already
    grown = np.broadcast_to(grown, post.shape)
    there = np.isfinite(post) & (grown > 0)
    sound = np.logaddexp.reduce([0.0, *found.innocent, *post[np.isfinite(post) & ~there]])
    factor = (1 + spread * linear) / wide
    slight = np.exp(now * np.clip(factor, 0.3, 2.0))[there] > odds.TRIFLE  # counts as nothing: not to be mixed up
    h, stage = np.nonzero(there)[0], 2 * np.searchsorted(GROWN, grown[there], side="right") + slight
    keys, group = np.unique(
        np.stack([h, stage, np.round(carried[there] / ALIKE).astype(int)]), axis=1, return_inverse=True
    )  # fmt: skip
    group, p = group.ravel(), post[there]
    top = _best(p, group)
    each = np.exp(p - top[group])
    total = np.bincount(group, each)
    whole = top + np.log(total)
    alike, same = 10 * keys[0] + keys[1], keys[0]
    kept = (whole > _best(whole, alike)[alike] - FAINT) & (whole > _best(whole, same)[same] - FAINTER)

    def mean(values):
        return (np.bincount(group, each * values[there]) / total)[kept]

    return {
        "of": keys[0][kept], "grown": mean(grown), "weight": whole[kept], "factor": mean(factor),
        "doubt_left": mean(left), "carried": mean(carried), "kept": mean(now), "sound": float(sound),
        **{name: np.stack([mean(x) for x in three]) for name, three in own.items()},
    }  # fmt: skip


def _best(values, key):
    """The greatest of the values with each key."""
    best = np.full(int(key.max()) + 1, -np.inf)
    np.maximum.at(best, key, values)
    return best
