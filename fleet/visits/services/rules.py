"""When an inspection falls due: by time, by water pumped, by sun, after a repair, before the warranty ends, the first.

`propose_due` may run twice or late: a rule has one open visit at an installation at most, and the database says so.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import DateField, Exists, ExpressionWrapper, F, Max, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Cast, Coalesce, Lower
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.output.models import Evaluation
from fleet.people.access import require
from fleet.readings.models import DayRecord
from fleet.registry.models import Installation
from fleet.visits.models import InspectionRule, Visit
from fleet.visits.services.setting_up import procedure_for
from fleet.web.refusals import Refused

LEAD_DAYS = 14  # an inspection is put on the list this long before it is due
MONTH_DAYS = 30.44  # a twelfth of a year
USUAL_SUN_HOURS_A_DAY = 5.5  # kWh/m² a day where no sun was recorded; dry tropics, common practice, no source

B = InspectionRule.Basis
LOOKED_AT = ["inspection", "repair", "commissioning", "installation"]


def last_looked_at(hanging):
    """With `looked_on` (last closed visit on which someone looked it over) and `began_on` (when it was hung)."""
    last = (
        Visit.objects.filter(installation=OuterRef("pk"), state="closed", kind__in=LOOKED_AT, left_at__isnull=False)
        .order_by().values("installation").annotate(last=Max("left_at")).values("last")
    )  # fmt: skip
    repaired = (
        Visit.objects.filter(installation=OuterRef("pk"), state="closed", kind="repair", left_at__isnull=False)
        .order_by().values("installation").annotate(last=Max("left_at")).values("last")
    )  # fmt: skip
    return hanging.annotate(
        began_on=Coalesce("commissioned_on", Cast(Lower("period"), DateField())),
        looked_on=Cast(Subquery(last), DateField()),
        repaired_on=Cast(Subquery(repaired), DateField()),
    )


def due_under(rule, today):
    """Hanging installations for which the rule falls due by today plus the lead, each with `due`."""
    hanging = last_looked_at(Installation.objects.hanging().filter(organisation=rule.organisation))
    horizon = today + timedelta(days=LEAD_DAYS)
    days = timedelta(days=round(rule.amount * (MONTH_DAYS if rule.basis == B.MONTHS else 1)))

    def after(moment):
        return ExpressionWrapper(moment + days, output_field=DateField())

    if rule.basis == B.MONTHS:
        due = Cast(after(Coalesce("looked_on", "began_on")), DateField())
        return hanging.annotate(due=due).filter(due__lte=horizon)
    if rule.basis == B.FIRST:
        found = hanging.filter(Q(looked_on=None) | Q(looked_on__lte=F("began_on")))
        # Only the young: an old fleet that was imported needs no "first" inspection now.
        return found.annotate(due=Cast(after(F("began_on")), DateField())).filter(
            due__lte=horizon, due__gte=today - timedelta(days=180)
        )
    if rule.basis == B.AFTER_REPAIR:
        found = hanging.filter(repaired_on__isnull=False, looked_on=F("repaired_on"))
        return found.annotate(due=Cast(after(F("repaired_on")), DateField())).filter(due__lte=horizon)
    if rule.basis == B.WARRANTY:
        found = hanging.filter(unit__warranty_until__gte=today)
        before = ExpressionWrapper(F("unit__warranty_until") - days, output_field=DateField())
        found = found.annotate(due=Cast(before, DateField())).filter(due__lte=horizon)
        return found.filter(Q(looked_on=None) | Q(looked_on__lt=F("due")))
    return _by_use(rule, hanging, today)


def _by_use(rule, hanging, today):
    """By cubic metres or sun hours since someone last looked it over."""
    since = Coalesce("looked_on", "began_on")
    hanging = hanging.annotate(since=since)
    if rule.basis == B.WATER:
        pumped = (
            Evaluation.objects.filter(installation=OuterRef("pk"), day__gt=OuterRef("since"))
            .order_by().values("installation").annotate(total=Sum("measured_l")).values("total")
        )  # fmt: skip
        return hanging.annotate(used=Subquery(pumped)).filter(used__gte=rule.amount * 1000).annotate(
            due=Cast(timezone.now(), DateField())
        )
    shone = (
        DayRecord.objects.filter(installation=OuterRef("pk"), day__gt=OuterRef("since"))
        .exclude(irradiation_kwh_m2=None).order_by().values("installation")
    )  # fmt: skip
    ids = []
    rows = hanging.annotate(
        sun=Subquery(shone.annotate(total=Sum("irradiation_kwh_m2")).values("total")),
    ).values_list("pk", "since", "sun")
    for pk, since_day, sun in rows.iterator():
        hours = sun if sun else USUAL_SUN_HOURS_A_DAY * (today - since_day).days
        if hours >= rule.amount:
            ids.append(pk)
    return hanging.filter(pk__in=ids).annotate(due=Cast(timezone.now(), DateField()))


def propose_due(now=None):
    """Propose what falls due under every active rule. Returns how many visits were made."""
    today = timezone.localdate(now) if now else timezone.localdate()
    made = 0
    for rule in InspectionRule.objects.filter(active=True).select_related("organisation").order_by("pk"):
        made += _propose_under(rule, today)
    return made


@transaction.atomic
def _propose_under(rule, today):
    procedure = procedure_for(rule.organisation, Visit.Kind.INSPECTION)
    # Somebody who goes there anyway, for whatever reason of time, looks it over: one inspection at a time is enough.
    waiting = Visit.objects.open().filter(installation=OuterRef("pk"), kind__in=["inspection", "commissioning"])
    due = due_under(rule, today).filter(~Exists(waiting)).values_list("pk", "well__site_id", "due")
    visits = [
        Visit(
            organisation=rule.organisation, site_id=site_id, installation_id=pk, kind=Visit.Kind.INSPECTION,
            why=rule.name[:300], rule=rule, due_on=on, procedure=procedure,
        )
        for pk, site_id, on in due.iterator()
    ]  # fmt: skip
    before = Visit.objects.filter(rule=rule).count()
    Visit.objects.bulk_create(visits, ignore_conflicts=True, batch_size=2000)
    return Visit.objects.filter(rule=rule).count() - before


def next_inspection_on(installation, visit):
    """The earliest day that the rules of time give after this visit, or None without such a rule."""
    left = (visit.left_at or timezone.now()).date()
    days = []
    for rule in installation.organisation.inspection_rules.filter(active=True):
        if rule.basis == B.MONTHS:
            days.append(left + timedelta(days=round(rule.amount * MONTH_DAYS)))
        elif (rule.basis, visit.kind) in {(B.AFTER_REPAIR, "repair"), (B.FIRST, "commissioning")}:
            days.append(left + timedelta(days=round(rule.amount)))
        elif rule.basis == B.WARRANTY and installation.unit.warranty_until:
            day = installation.unit.warranty_until - timedelta(days=round(rule.amount))
            if day > left:
                days.append(day)
    return min(days, default=None)


@transaction.atomic
def change_rule(*, rule=None, organisation=None, name, basis, amount, active, by):
    """Make a rule, or change one."""
    require(by, "procedures")
    if rule is not None and rule.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This rule belongs to another organisation."))
    if basis not in B.values:
        raise Refused("unknown_code", _("Choose what the rule counts."), field="basis")
    if not 0 < amount <= 1_000_000:
        raise Refused("out_of_range", _("Above zero, please."), field="amount")
    if not name.strip():
        raise Refused("no_title", _("Give the rule a name."), field="name")
    rule = rule or InspectionRule(organisation=organisation or by.organisation)
    rule.name, rule.basis, rule.amount, rule.active = name.strip(), basis, amount, active
    rule.save()
    return rule
