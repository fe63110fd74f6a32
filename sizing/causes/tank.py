"""Tanks with a float switch: how much of what a unit could give is taken, and how often the tank is seen full."""

import math

from sizing import compiled

# Of the share of water that nobody draws: where the tank is seen full one time in two, and about which width, by
# simulated tanks of half a day to two days; and how seldom somebody ticks it when it cannot be, or not when it must.
HALF_FULL, FULL_WIDTH, SELDOM = 0.16, 0.055, 0.03
HABIT_AFTER = 4.0  # ticks that weigh as much as what is usual, when a tank's own habit is learned (a judgement)
TICK_TRUST = 0.7  # ticks of weeks in a row are not as independent as they are counted (a judgement)
# Ticks of so many days in a row say together what one of them says alone: tank, people and caretaker are the same
# tomorrow (a judgement). A tick of a whole day means: it was seen full at some time of that day.
DAYS_ALIKE = 7.0


@compiled()
def below(z):
    """Share of a normal distribution below z."""
    return 0.5 * math.erfc(-z / 1.4142135623730951)


@compiled()
def held(supply, demand, spread):
    """Mean of the lesser of a sure supply and a varying demand, as evidence.limited; NaN demand: no limit."""
    if demand != demand:
        return supply
    sd = spread * demand
    z = (supply - demand) / sd
    if z < -8.0:
        return supply
    if z > 8.0:
        return demand
    return max(supply - sd * (z * below(z) + math.exp(-0.5 * z * z) / 2.5066282746310002), 1e-6)


@compiled()
def full_seen(supply, demand, spread):
    """Chance that the tank was full today or yesterday, by the share of what the unit could give that nobody draws."""
    unused = 1.0 - held(max(supply, 1.0), demand, spread) / max(supply, 1.0)
    return SELDOM + (1.0 - 2.0 * SELDOM) / (1.0 + math.exp((HALF_FULL - unused) / FULL_WIDTH))


@compiled()
def ticked(tick, supply, demand, spread, kept, drawn, lean=0.0, span=DAYS_ALIKE):
    """What the caretaker's "tank full" (1) or "not full" (0), or the share of some days that were ticked, adds, a log
    likelihood ratio, to what leaves the share `kept` of the supply, or of the draw where `drawn`, against a sound unit
    with its usual draw. lean: log odds by which this tank is seen full oftener than others; span: days since the tick
    before, or that were ticked."""
    sound = _leaning(full_seen(supply, demand, spread), lean)
    if drawn:
        now = _leaning(full_seen(supply, demand * kept, spread), lean)
    else:
        now = _leaning(full_seen(supply * kept, demand, spread), lean)
    trust = TICK_TRUST * min(max(span, 1.0) / DAYS_ALIKE, 1.0)
    return trust * (tick * math.log(now / sound) + (1.0 - tick) * math.log((1.0 - now) / (1.0 - sound)))


@compiled()
def _leaning(chance, lean):
    return chance if lean == 0.0 else 1.0 / (1.0 + (1.0 - chance) / chance * math.exp(-lean))


@compiled()
def leaning(seen, due, count):
    """Log odds by which a tank is seen full oftener than it should: `seen` times of `count`, where `due` were. Tanks
    differ in size, and people in what they call full."""
    if count < 1.0:
        return 0.0
    usual = min(max(due / count, SELDOM), 1.0 - SELDOM)
    own = (seen + HABIT_AFTER * usual) / (count + HABIT_AFTER)
    return math.log(own / (1.0 - own)) - math.log(usual / (1.0 - usual))
