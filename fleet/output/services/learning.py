"""What visits found teaches the odds of the next diagnosis."""

import numpy as np
from django.db import IntegrityError, transaction
from django.db.models import F

from fleet.output.models import CauseCount, FindingHeard
from fleet.registry.models import PumpType
from sizing.causes import names

KINDS = [kind for kind, _label in PumpType.Kind.choices]


@transaction.atomic
def learn(*, cause, found, installation, by=None):
    """A visit found this cause. `found`: the finding's key; the same finding never teaches twice.

    `cause`: one of the judgement's names; others teach nothing. Returns whether something was learned.
    """
    if cause not in names.NUMBER:
        return False
    kind = installation.unit.pump_type.kind
    suspected = installation.shortfalls.order_by("-flagged_on").values_list("causes", flat=True).first() or []
    try:
        with transaction.atomic():
            FindingHeard.objects.create(
                finding_key=str(found), cause=cause, pump_kind=kind, suspected=suspected, heard_by=by
            )
    except IntegrityError:
        return False
    count, _made = CauseCount.objects.get_or_create(
        organisation_id=installation.organisation_id, cause=cause, pump_kind=kind
    )
    CauseCount.objects.filter(pk=count.pk).update(found=F("found") + 1)
    return True


def counts(organisation_id, pump_kind=None):
    """How often each cause was found: {cause: number}; of one kind of pump or of all."""
    rows = CauseCount.objects.filter(organisation_id=organisation_id)
    if pump_kind:
        rows = rows.filter(pump_kind=pump_kind)
    found = {}
    for cause, number in rows.values_list("cause", "found"):
        found[cause] = found.get(cause, 0) + number
    return found


def taught_rates(cohort):
    """Rates of the causes beforehand, a row an installation: the catalogue's, taught by what was found at its kind.

    Findings at other kinds of pump count for half: much of what fails is the same in all.
    """
    organisations = set(cohort.rows.facts["organisation_id"].tolist())
    found = {}
    for organisation, kind, cause, number in CauseCount.objects.filter(organisation_id__in=organisations).values_list(
        "organisation_id", "pump_kind", "cause", "found"
    ):
        if cause in names.NUMBER:
            found.setdefault(organisation, {}).setdefault(kind, np.zeros(len(names.NAMES)))[names.NUMBER[cause]] += (
                number
            )
    if not found:
        return None
    rates = np.tile(names.RATES, (len(cohort), 1))
    known = {}
    pairs = zip(cohort.rows.facts["organisation_id"].tolist(), cohort.rows.pump_kinds.tolist())
    for row, (organisation, kind) in enumerate(pairs):
        if organisation not in found:
            continue
        if (organisation, kind) not in known:
            every = sum(found[organisation].values())
            own = found[organisation].get(kind, 0)
            known[organisation, kind] = names.taught(0.5 * every + 0.5 * own)
        rates[row] = known[organisation, kind]
    return rates
