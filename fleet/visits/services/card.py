"""The expected card for paper: what flow is right at which sun and water level, as the unit itself has shown it."""

import math

from fleet.output import services as output
from fleet.output.models import Baseline


def paper_cards(installations):
    """{installation id: {suns [W/m²], levels [m], flow [[L/min by level] by sun]}}; missing if not known."""
    ids = [i.pk for i in installations]
    output.baselines(ids)
    found = {}
    for pk, baseline in Baseline.objects.in_bulk(ids).items():
        card = baseline.card
        if not card:
            continue
        own = math.exp(output.own_level(next(i for i in installations if i.pk == pk)).level)
        flow = card["flow_l_min"]
        found[pk] = {
            "suns": [round(sun) for sun in card["irradiance_w_m2"]],
            "levels": [round(level, 1) for level in card["static_level_m"]],
            "flow": [
                [None if row[j] is None else round(row[j] * own, 1) for row in flow]
                for j in range(len(card["irradiance_w_m2"]))
            ],
        }
    return found
