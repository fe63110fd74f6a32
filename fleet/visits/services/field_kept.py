"""Expected cards, kept with the hash of what they rest on: packing in the morning reads them and works nothing out.

They are made when a visit is assigned, and by a sweep; one that is missing or out of date is made on the spot.
"""

from datetime import timedelta

import numpy as np
from django.utils import timezone

from fleet.output import services as output
from fleet.output.climates import climates
from fleet.output.fleet_arrays import read_fleet
from fleet.visits.models import FieldCard, Visit
from fleet.visits.services import field_card, field_sun

FORM = 2  # raise it when the card's form or the way it is worked out changes
AT_ONCE = 50
AHEAD = timedelta(days=14)


def card_day(today):
    """The day a card stands for: the middle of the week, within the month. A week moves the sun by a degree or two."""
    middle = today + timedelta(days=3 - today.weekday())
    if (middle.year, middle.month) == (today.year, today.month):
        return middle
    return today if middle > today else today.replace(day=1)


def kept_cards(installation_ids, today):
    """({installation: card}, {installation: cost}); those that cannot be worked out have `trouble` and no cost."""
    ids = sorted(set(installation_ids))
    if not ids:
        return {}, {}
    day = card_day(today)
    rows = read_fleet(ids, day.year)
    wanted = _hashes(rows, day) if len(rows) else {}
    kept = {row.pk: row for row in FieldCard.objects.filter(pk__in=ids) if row.inputs_hash == wanted.get(row.pk)}
    lacking = [pk for pk in ids if pk not in kept]
    cards = field_card.cards(lacking, day) if lacking else {}
    costs = field_sun.costs([pk for pk in lacking if pk in wanted], day.year) if lacking else {}
    fresh = [
        FieldCard(pk=pk, inputs_hash=wanted[pk], card=cards[pk], cost=costs.get(pk), made_at=timezone.now())
        for pk in lacking if pk in wanted and "trouble" not in cards[pk]
    ]  # fmt: skip
    if fresh:
        FieldCard.objects.bulk_create(
            fresh, update_conflicts=True, unique_fields=["installation"],
            update_fields=["inputs_hash", "card", "cost", "made_at"],
        )  # fmt: skip
        # Read back, so that a card is the same to the last sign whether it was made now or long ago.
        kept |= FieldCard.objects.in_bulk([row.pk for row in fresh])
    odds = _odds(kept, today)
    cards |= {pk: row.card | ({"odds": odds[pk]} if odds.get(pk) else {}) for pk, row in kept.items()}
    costs |= {pk: row.cost for pk, row in kept.items() if row.cost}
    return cards, costs


def _odds(kept, today):
    """{installation: what its spot test is weighed with}, made anew where the unit was judged or tested since."""
    marks = output.ahead_marks(list(kept), today)
    marks = {pk: marks[pk][:32] + row.inputs_hash[:32] for pk, row in kept.items()}
    stale = [pk for pk, row in kept.items() if row.odds_hash != marks[pk]]
    if stale:
        made = output.ahead_of(stale, today)
        for pk in stale:
            kept[pk].odds, kept[pk].odds_hash = made.get(pk), marks[pk]
        FieldCard.objects.bulk_update([kept[pk] for pk in stale], ["odds", "odds_hash"])
    return {pk: row.odds for pk, row in kept.items()}


def _hashes(rows, day):
    climate, missing, _sources = climates(rows)
    about = np.tile([float(FORM), float(day.toordinal())], (len(rows), 1))
    about = np.column_stack([about, [float(n in missing) for n in range(len(rows))]])
    return dict(zip(rows.ids.tolist(), rows.hashes(climate.day_ghi_kwh_m2_day, about), strict=True))


def warm_cards(installation_ids=None):
    """Make the cards that the coming days will ask for. Again makes nothing. Returns how many were looked at."""
    today = timezone.localdate()
    if installation_ids is None:
        visits = Visit.objects.filter(
            state__in=["assigned", "under_way"], installation__isnull=False, planned_on__lte=today + AHEAD,
            planned_on__gte=today - AHEAD,
        )
        installation_ids = visits.order_by("installation").values_list("installation", flat=True).distinct()
    ids = list(installation_ids)
    for start in range(0, len(ids), AT_ONCE):
        kept_cards(ids[start : start + AT_ONCE], today)
    return len(ids)
