"""What visits found teaches the odds of the next diagnosis."""

from datetime import timedelta

import numpy as np
from django.db import IntegrityError, transaction
from django.db.models import Count, F, Q
from django.utils import timezone

from fleet.output.fleet_arrays import KINDS
from fleet.output.models import CauseCount, FindingHeard
from fleet.readings import staging
from fleet.registry.models import Installation
from sizing.causes import names


@transaction.atomic
def learn(*, cause, found, installation, by=None, on=None, way=""):
    """A visit found this cause. `found`: the finding's key; the same finding never teaches twice.

    `cause`: one of the judgement's names; others teach nothing. `on`: the day at the site on which it was found, which
    tells the season; today if left out. `way`: a FindingHeard.Way. Returns whether something was learned.
    """
    if cause not in names.NUMBER:
        return False
    kind = installation.unit.pump_type.kind
    suspected = _suspected(installation, on or timezone.now().date())
    try:
        with transaction.atomic():
            FindingHeard.objects.create(
                finding_key=str(found), cause=cause, pump_kind=kind, suspected=suspected, heard_by=by,
                organisation_id=installation.organisation_id, way=way,
            )  # fmt: skip
    except IntegrityError:
        return False
    count, _made = CauseCount.objects.get_or_create(
        organisation_id=installation.organisation_id, cause=cause, pump_kind=kind,
        district_key=installation.well.site.district_id or 0, month=(on or timezone.now()).month,
    )  # fmt: skip
    CauseCount.objects.filter(pk=count.pk).update(found=F("found") + 1)
    return True


STILL_SAID_DAYS = 30  # a shortfall that closed longer before a finding did not send anybody there


def _suspected(installation, on):
    """The causes and odds that were shown before a visit of that day."""
    shown = installation.shortfalls.filter(flagged_on__lte=on).filter(
        Q(closed_on=None) | Q(closed_on__gte=on - timedelta(days=STILL_SAID_DAYS))
    )  # fmt: skip
    return shown.order_by("-flagged_on").values_list("causes", flat=True).first() or []


SAID = ((0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.0))  # odds, the upper end left out but for the last
FEW = 5  # causes said at such odds, below which their share says nothing


def said_and_found(organisation_id):
    """Whether the odds hold: of the causes that were given such odds before a visit, how many it found.

    [{low, high, said, right, share}], share None where too few were said. Findings at sites where nothing was said
    before are left out; whether anybody is still named for one makes no difference.
    """
    heard = FindingHeard.objects.filter(organisation_id=organisation_id).exclude(suspected=[])
    visits = {}  # what one visit found is held against what was said before it once, however many causes it found
    for cause, suspected, at in heard.values_list("cause", "suspected", "heard_at"):
        said_then = tuple((one["cause"], one["odds"]) for one in suspected)
        visits.setdefault((at.date(), said_then), set()).add(cause)
    said, right = [0] * len(SAID), [0] * len(SAID)
    for (_day, said_then), causes in visits.items():
        for cause, odds in said_then:
            place = next((n for n in reversed(range(len(SAID))) if odds >= SAID[n][0]), None)
            if place is not None:
                said[place] += 1
                right[place] += cause in causes
    return [
        {"low": low, "high": high, "said": said[n], "right": right[n],
         "share": right[n] / said[n] if said[n] >= FEW else None}
        for n, (low, high) in enumerate(SAID)
    ]  # fmt: skip


def findings_heard(organisation_id):
    """How the findings behind `said_and_found` were heard: {telephone, desk, unknown, nameless}, the last of them all
    those for which nobody is named."""
    heard = FindingHeard.objects.filter(organisation_id=organisation_id).exclude(suspected=[])
    way = {
        name: Count("pk", filter=Q(way=code))
        for name, code in (("telephone", FindingHeard.Way.TELEPHONE), ("desk", FindingHeard.Way.DESK), ("unknown", ""))
    }
    return heard.aggregate(**way, nameless=Count("pk", filter=Q(heard_by=None)))


def counts(organisation_id, pump_kind=None):
    """How often each cause was found: {cause: number}; of one kind of pump or of all."""
    rows = CauseCount.objects.filter(organisation_id=organisation_id)
    if pump_kind:
        rows = rows.filter(pump_kind=pump_kind)
    found = {}
    for cause, number in rows.values_list("cause", "found"):
        found[cause] = found.get(cause, 0) + number
    return found


# What a finding counts for elsewhere: at another kind of pump, in another district, in another season (judgements).
OTHER_KIND, OTHER_DISTRICT, OTHER_SEASON = 0.5, 0.6, 0.8
SEASON_MONTHS = 2  # months on either side that are the same season


class Beforehand:
    """What is thought of an installation's causes before its readings are looked at, in a month (0-11).

    The catalogue's rates by kind of pump and age, taught by what visits found: most by what was found at its kind of
    pump, in its district, in its season.
    """

    def __init__(self, cohort, found, districts):
        self.cohort, self.found, self.districts = cohort, found, districts
        self._known = {}

    def of(self, unit, month):
        """Rates of one installation (its place in the cohort), (causes,)."""
        if (unit, month) not in self._known:
            own_kind = KINDS[self.cohort.facts["kind"][unit]]
            self.cohort.know_built([unit])
            base = names.beforehand([own_kind], [self.cohort.built[unit].age_y])[0]
            rows = self.found.get(int(self.cohort.facts["organisation_id"][unit]))
            if rows is None:
                return base
            kind, district, when, cause, number = rows
            apart = np.abs(when - 1 - month) % 12
            other_season = (when == 0) | (np.minimum(apart, 12 - apart) > SEASON_MONTHS)
            counts = number * np.where(kind == own_kind, 1.0, OTHER_KIND)
            counts *= np.where(district == self.districts.get(int(self.cohort.ids[unit])), 1.0, OTHER_DISTRICT)
            counts *= np.where(other_season, OTHER_SEASON, 1.0)
            taught = np.bincount(cause, counts, minlength=len(names.NAMES))
            self._known[unit, month] = names.taught(taught, base)
        return self._known[unit, month]


def taught_rates(cohort):
    """`Beforehand` of a cohort."""
    organisations = np.unique(cohort.facts["organisation_id"]).tolist()
    rows = {}
    for organisation, *row in CauseCount.objects.filter(
        organisation_id__in=organisations, cause__in=names.NAMES, found__gt=0
    ).values_list("organisation_id", "pump_kind", "district_key", "month", "cause", "found"):
        rows.setdefault(organisation, []).append(row)
    found = {}
    for organisation, some in rows.items():
        kind, district, month, cause, number = zip(*some)
        found[organisation] = (
            np.array(kind, dtype=object), np.array(district), np.array(month),
            np.array([names.NUMBER[c] for c in cause]), np.array(number, dtype=float),
        )  # fmt: skip
    districts = {}
    if found:
        there = Installation.objects.filter(pk__in=staging.among(cohort.ids))
        districts = dict(there.values_list("pk", "well__site__district_id"))
    return Beforehand(cohort, found, districts)
