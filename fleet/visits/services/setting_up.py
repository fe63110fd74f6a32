"""What an organisation starts with: the built-in procedures, rules and parts; new versions of a procedure."""

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.visits.codes import PARTS
from fleet.visits.models import InspectionRule, PartType, Procedure
from fleet.visits.procedures import STEPS, built_in
from fleet.visits.procedures.checking import faults_of
from fleet.web.refusals import Refused

# Common practice, no source: first look after a month, then half-yearly, a look before the warranty ends, and one
# month after a repair. Water and sun hours stand ready but switched off.
USUAL_RULES = [
    (_("First inspection, 30 days after commissioning"), "first", 30, True),
    (_("Half-yearly inspection"), "months", 6, True),
    (_("30 days after a repair"), "after_repair", 30, True),
    (_("60 days before the warranty ends"), "warranty", 60, True),
    (_("Every 3,000 m³ of water"), "water_m3", 3000, False),
    (_("Every 2,500 sun hours"), "sun_hours", 2500, False),
]


@transaction.atomic
def set_up(organisation):
    """Give an organisation what is missing of the built-in procedures, rules and parts. Safe to call again."""
    for kind in STEPS:
        procedure_for(organisation, kind)
    if not organisation.inspection_rules.exists():
        InspectionRule.objects.bulk_create(
            [
                InspectionRule(organisation=organisation, name=name, basis=basis, amount=amount, active=active)
                for name, basis, amount, active in USUAL_RULES
            ]
        )
    PartType.objects.bulk_create(
        [
            PartType(organisation=organisation, code=code, name=str(name), for_causes=causes)
            for code, (name, causes) in PARTS.items()
        ],
        ignore_conflicts=True,
    )


def procedure_for(organisation, kind):
    """The procedure in use for a kind of visit; the built-in one is put in where there is none."""
    found = Procedure.objects.filter(organisation=organisation, kind=kind, in_use=True).first()
    if found is None:
        ready = built_in(kind)
        found, _new = Procedure.objects.get_or_create(
            organisation=organisation, kind=kind, in_use=True,
            defaults={"title": ready["title"], "steps": ready["steps"]},
        )  # fmt: skip
    return found


@transaction.atomic
def change_procedure(*, procedure, title, steps, by):
    """Put a new version in use. Visits that were made with the old one keep it."""
    require(by, "procedures")
    if procedure.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This procedure belongs to another organisation."))
    faults = faults_of(steps)
    if faults:
        raise Refused("procedure_not_whole", " ".join(faults), field="steps")
    if not title.strip():
        raise Refused("no_title", _("Give the procedure a title."), field="title")
    same_kind = Procedure.objects.select_for_update().filter(organisation=procedure.organisation, kind=procedure.kind)
    latest = same_kind.aggregate(version=Max("version"))["version"]
    same_kind.filter(in_use=True).update(in_use=False)
    return Procedure.objects.create(
        organisation=procedure.organisation, kind=procedure.kind, version=latest + 1, title=title.strip(), steps=steps
    )


@transaction.atomic
def bring_back(*, procedure, by):
    """Put an older version in use again."""
    require(by, "procedures")
    if procedure.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This procedure belongs to another organisation."))
    Procedure.objects.filter(organisation=procedure.organisation, kind=procedure.kind, in_use=True).update(in_use=False)
    procedure.in_use = True
    procedure.save(update_fields=["in_use"])
    return procedure
