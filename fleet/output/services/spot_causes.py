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

MOST = 4  # causes that are named


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
    asked = cases.ask(known, SimpleNamespace(noise=noise), told, {}, [0], day)
    if not asked:
        return None
    _unit, signs, got = asked[0]
    found = cases.found_in(known, told, [0], day)[0]
    got = got if found is None else judge.agreed(found, got)
    word = cases.summary(got, day, signs)
    return {"causes": word["causes"][:MOST], "nothing": 1 - word["probability"], "checks": word["checks"]}
