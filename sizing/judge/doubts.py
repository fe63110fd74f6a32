"""Doubts about a night's meter totals: whether each follows from the last good one, and if not, what it may be."""

from dataclasses import dataclass

import numpy as np

from sizing.judge import mistakes
from sizing.judge.evidence import METER_NOISE

COMMON = 0.025  # part of a period's expectation that does not average out over days: the sky's level around
# Of a period's variance by the sky over that of days on their own: weather lasts from day to day (correlation 0.3,
# field practice, 5.2; what neighbours miss lasts about as long on simulated skies): (1 + 0.3) / (1 - 0.3).
LASTING = 1.86
ROUND_DAYS = 5  # of a round on which meters are read and written down together
ROUND_KM = 30.0  # within which half of a round's sites lie (a judgement)
HOUR_UNKNOWN = 0.3  # of a pumping day, when a total is read at an hour that nobody wrote down (field practice)


@dataclass(frozen=True)
class Beside:
    """Installations that are not judged tonight, since they were judged up to a later day: what is kept of them (k,).
    A figure under one that is judged may have been meant for one of these."""

    state: object  # judge.record.State
    sites: object  # judge.nightly.Sites
    through: np.ndarray  # last day judged


def of_totals(state, part, sites, totals, expected, spread, now_due, span, day, others_of):
    """Row by row, for few rows are doubtful: kind, meant, other, litres since the last good total, begun again.

    part: State of the totals' units; expected, now_due, span: litres due since the last good total, due in all, days
    since; spread: variance (log); others_of(i): `elsewhere` for a row.
    """
    m = len(totals.unit)
    rollover = sites.rollover_l[totals.unit]
    litres = totals.total_l - part.total
    litres = np.where((litres < 0) & np.isfinite(rollover), litres + rollover, litres)
    kind, meant, based, other = np.zeros(m, int), np.full(m, np.nan), np.zeros(m, bool), np.full(m, -1)
    sd = np.sqrt(spread + part.level_var)
    ratio = litres / expected
    again = (span <= 0.5) & (litres == 0)
    kind[again] = mistakes.DUPLICATE
    first = ~np.isfinite(part.total)
    with np.errstate(invalid="ignore"):
        most = mistakes.MOST + 3 * sd + 1.2 * part.lacked / expected
        sound = (ratio >= np.exp(-mistakes.FAR - 2 * sd)) & (ratio <= most)
    judged = expected > 20 * np.maximum(np.nan_to_num(span), 1)  # a unit that should give nothing is no measure
    # What a person said is right stands; where it cannot follow from the last good total, it is begun again from there.
    based |= totals.sure & ~sound & ~first & ~((ratio >= 0) & (ratio <= most))
    for i in np.flatnonzero(~sound & ~again & ~first & judged & ~totals.sure):
        agrees = _agrees_with_doubted(part, i, totals.total_l[i], rollover[i], now_due[i], sd[i])
        if agrees and 0 <= ratio[i] <= most[i]:
            continue  # what was doubted was no slip: so little came indeed, and all of it counts from the last good one
        same = sites.owner[totals.unit] == sites.owner[totals.unit[i]]
        others = [
            mistakes.Other(int(totals.unit[j]), totals.total_l[j], part.total[j], expected[j], rollover[j])
            for j in np.flatnonzero(same & ~first) if j != i
        ] + _doubted_lately(state, sites, int(totals.unit[i]), day)  # fmt: skip
        missing = others_of(i)
        missing = mistakes.Elsewhere(*(column[~np.isin(missing.place, totals.unit[sound])] for column in missing))
        doubt = mistakes.doubt_total(
            totals.total_l[i], part.total[i], expected[i], sd[i], rollover[i], others, float(span[i]),
            float(part.evidence[i].max()), float(part.lacked[i]), missing,
        )  # fmt: skip
        if doubt is None:
            continue
        if agrees:
            based[i] = True
            continue
        kind[i], meant[i], other[i] = doubt.kind, doubt.meant, doubt.other
    return kind, meant, other, litres, based


def _doubted_lately(state, sites, unit, day):
    """Units of the same owner whose figure was left out within the last days, or earlier today: on one round the papers
    of two may be exchanged."""
    lately = np.isfinite(state.doubted) & (state.doubted_day <= day) & (state.doubted_day >= day - ROUND_DAYS)
    lately &= sites.owner == sites.owner[unit]
    return [
        mistakes.Other(int(k), state.doubted[k], state.total[k], state.doubted_due[k] - state.due_at[k],
                       sites.rollover_l[k])
        for k in np.flatnonzero(lately & np.isfinite(state.total)) if k != unit
    ]  # fmt: skip


def elsewhere(state, sites, unit, share, due, var, day, beside):
    """Units of the same owner whose meter has not been read on this round, as far as is known: mistakes.Elsewhere.
    share: of the day's water, that was due by the time of the figure."""
    parts = [_since_last(state, sites, state.days + share, state.due_l + share * due, state.due_var + share * var)]
    if beside is not None:
        # Their sums go further than today: what was due until now is taken to have come evenly.
        kept = beside.state
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.clip((day + share - kept.total_day) / (beside.through + 1 - kept.total_day), 0.0, 1.0)
        now = (start + part * (end - start) for start, end in (
            (kept.days_at, kept.days), (kept.due_at, kept.due_l), (kept.due_var_at, kept.due_var)))  # fmt: skip
        parts.append(_since_last(kept, beside.sites, *now))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    owner, span, columns[0] = columns[0], columns[1], np.arange(len(columns[0]))
    ours = (owner == sites.owner[unit]) & (span > ROUND_DAYS) & (columns[3] > 20 * span) & (columns[0] != unit)
    place, *columns = (column[ours] for column in (columns[0], *columns[2:]))
    at = sites.at if beside is None else np.concatenate([sites.at, beside.sites.at])
    likely = _near(sites, unit, at[place])
    return mistakes.Elsewhere(place, *columns, likely)


def _near(sites, unit, at):
    """Share of the slips that each of these places (k, 2) has: papers are mixed up on one round, so near ones most."""
    if not len(at):
        return np.zeros(0)
    north_km = 111.2 * (at[:, 0] - sites.at[unit, 0])
    east_km = 111.2 * np.cos(np.radians(sites.at[unit, 0])) * (at[:, 1] - sites.at[unit, 1])
    weight = 1 / (1 + (north_km**2 + east_km**2) / ROUND_KM**2)
    return weight / weight.sum()


def _since_last(state, sites, days, due_l, due_var):
    """Of each unit since its last good total: owner, days, that total, litres due, their spread (log), round."""
    due = np.maximum(due_l - state.due_at, 1.0)
    weather_var = np.log1p(LASTING * np.maximum(due_var - state.due_var_at, 0) / due**2) + COMMON**2
    span = np.where(np.isfinite(state.total), days - state.days_at, np.nan)
    edge = HOUR_UNKNOWN / np.maximum(span, 1.0)
    spread = np.sqrt(weather_var + METER_NOISE**2 + 2 * edge**2 + state.level_var)
    return sites.owner, span, state.total, due, spread, sites.rollover_l


def _agrees_with_doubted(part, i, total, rollover, now_due, sd):
    """Whether a total follows from the one that was doubted before it."""
    if not np.isfinite(part.doubted[i]):
        return False
    due = now_due - part.doubted_due[i]
    since = mistakes.water_since(total, part.doubted[i], rollover)
    return due > 1 and 0 <= since <= mistakes.MOST * due * np.exp(2 * sd)
