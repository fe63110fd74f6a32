"""Why a test on site falls short, at once: the odds of the causes by all that is known of the unit, this test with it.

The same odds as a night's: what it reported, its tests, its place and kind, what visits found. Nothing is stored; the
night that follows puts a shortfall forward, or not, by its own rule.
"""

from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np

from fleet.output.models import Judgement
from fleet.output.services.learning import taught_rates
from fleet.output.services.nightly import cases, cohort, onsite, packing
from fleet.output.services.nightly.load import as_number
from fleet.readings.models import SpotTest
from sizing import judge
from sizing.causes import checks, names

MOST, LEAST = 4, 0.005  # causes that are named, and the odds from which they are
MAY_WELL = 0.3  # chance that nothing is wrong, from which a second test comes first (a judgement); as in field/spot.js
# What a test must have read to be a check (sizing.causes.checks) by itself.
READ = {
    "power_and_flow": ("array_voltage_v", "array_current_a", "flow_l_min"),
    "volts_no_amps": ("array_voltage_v", "array_current_a"),
    "dip": ("static_level_m", "pumping_level_m"),
    "bucket_against_meter": ("flow_l_min", "meter_flow_l_min"),
    "first_water": ("first_water_min",),
}
NEEDS_READ = sorted({name for needs in READ.values() for name in needs})


def causes_of_test(test, verdict):
    """{causes: [{cause, odds}], nothing, checks} of a kept test on a visit that lies below what is right; None where it
    does not, or where nothing can be told."""
    if verdict != "below" or test.kind != SpotTest.Kind.VISIT:
        return None
    known, _trouble = cohort.load([test.installation_id], test.at.year)
    if known is None:
        return None
    standing = Judgement.objects.filter(pk=test.installation_id).values_list("state", "sound_since").first()
    state, good = packing.unpack_states([standing[0] if standing else None])
    noise = state.noise if good.all() else np.ones(1)
    known.sound_from = np.array([as_number(standing[1]) if standing and standing[1] else -1])
    known.rates = taught_rates(known)
    day = as_number(test.at.astimezone(ZoneInfo(test.installation.well.site.zone)).date())
    told = cases.History(known.ids, day + 1, day, onsite.Tests(known, day, day))
    asked = cases.ask(known, SimpleNamespace(noise=noise), told, {}, [0], day, on_site=True)
    if not asked:
        return None
    _unit, signs, got = asked[0]
    found = cases.found_in(known, told, [0], day)[0]
    cause = (got if found is None else judge.agreed(found, got)).cause
    best = sorted(range(len(names.NAMES)), key=lambda c: (-round(float(cause[c]), 3), names.NAMES[c]))
    return {
        "causes": [
            {"cause": names.NAMES[c], "odds": round(float(cause[c]), 3)} for c in best[:MOST] if cause[c] > LEAST
        ],
        "nothing": float(got.none),
        "checks": [
            code for code, _bits in checks.choose(cause, checks.effects(signs, got.size), done=read_already(test))
        ],
    }  # fmt: skip


def read_already(test):
    """The checks that this test has been, so that nobody is sent to read the same again."""
    known = {name: getattr(test, name) is not None for name in NEEDS_READ}
    return [code for code, needs in READ.items() if all(known[name] for name in needs)]
