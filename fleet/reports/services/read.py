"""Reads the kept months. Every figure is a ratio of sums, never a mean of ratios: groups add up to the fleet."""

from dataclasses import dataclass, field
from datetime import date

from django.db.models import Avg, Count, F, Q, Sum
from django.db.models.functions import ExtractYear

from fleet.output.models import Shortfall
from fleet.registry.models import Installation
from fleet.reports.models import InstallationMonth
from fleet.reports.services.keep import next_month
from fleet.visits.models import Visit

SUMS = {
    "measured": Sum("measured_l"),
    "expected": Sum("expected_l"),
    "measured_working": Sum("measured_working_l"),
    "expected_working": Sum("expected_working_l"),
    "need": Sum("need_l"),
    # People's need can only be compared on days that were reported.
    "need_reported": Sum(F("need_l") * F("days_reported") / F("days_hung")),
    "low": Sum("low_l"),
    "high": Sum("high_l"),
    "hung": Sum("days_hung"),
    "reported": Sum("days_reported"),
    "down": Sum("days_down"),
    "idle": Sum("days_idle"),
    "disabled": Sum("days_disabled"),
    "units": Count("installation", distinct=True),
    "people": Avg("people"),
}

GROUPS = {
    "type": "installation__unit__pump_type__name",
    "district": "installation__well__site__district__name",
    "installer": "installation__installer",
    "batch": "installation__unit__batch",
    "age": None,  # years since commissioning, worked out below
}


@dataclass(frozen=True)
class Scope:
    """What a report covers: an organisation, whole months from `first` to `last`, and filters of places and types."""

    organisation: object
    first: date
    last: date
    filters: dict = field(default_factory=dict)

    @property
    def end(self):
        """The first day after the last month."""
        return next_month(self.last.replace(day=1))

    def rows(self):
        rows = InstallationMonth.objects.filter(
            installation__organisation=self.organisation, month__gte=self.first.replace(day=1), month__lt=self.end
        )
        for name, value in self.filters.items():
            if value and GROUPS.get(name):
                rows = rows.filter(**{GROUPS[name]: value})
        return rows


def _ratio(above, below):
    return above / below if above is not None and below else None


def _figures(row):
    """One row of sums as the figures that pages show; what cannot be told is None."""
    up = (row["reported"] or 0) - (row["down"] or 0) - (row["disabled"] or 0)
    known = up + (row["down"] or 0)
    return {
        **row,
        "delivered_m3": (row["measured"] or 0) / 1000,
        "expected_m3": (row["expected"] or 0) / 1000,
        "need_m3": (row["need"] or 0) / 1000,
        "low_m3": (row["low"] or 0) / 1000,
        "high_m3": (row["high"] or 0) / 1000,
        "output_ratio": _ratio(row["measured_working"], row["expected_working"]),
        "need_ratio": _ratio(row["measured"], row["need_reported"]),
        "availability": _ratio(up, known) if known > 0 else None,
        "idle_share": _ratio(row["idle"], row["reported"]),
        "reported_share": _ratio(row["reported"], row["hung"]),
    }


def summary(scope):
    """The whole scope in one row of figures."""
    return _figures(scope.rows().aggregate(**SUMS))


def by_month(scope):
    """One row a month, oldest first."""
    rows = scope.rows().values("month").annotate(**SUMS).order_by("month")
    return [_figures(row) for row in rows]


def by_group(scope, group):
    """One row a group, lowest output ratio first; groups with nothing measured come last."""
    rows = scope.rows()
    if group == "age":
        rows = rows.annotate(group=ExtractYear("month") - ExtractYear("installation__commissioned_on"))
    else:
        rows = rows.annotate(group=F(GROUPS[group]))
    rows = [_figures(row) for row in rows.values("group").annotate(**SUMS).order_by("group")]
    return sorted(rows, key=lambda row: (row["output_ratio"] is None, row["output_ratio"] or 0))


def availability(scope):
    """Up days over up and down days; idle and disabled days are told apart, not charged to the equipment."""
    whole = summary(scope)
    return {key: whole[key] for key in ("availability", "down", "idle", "disabled", "reported", "hung")}


def inspections(scope):
    """Inspections due in the scope, and how many were made by their day."""
    due = Visit.objects.filter(
        organisation=scope.organisation, kind="inspection", due_on__gte=scope.first, due_on__lt=scope.end
    ).exclude(state="cancelled")
    done = due.aggregate(
        due=Count("id"),
        on_time=Count("id", filter=Q(arrived_at__date__lte=F("due_on"))),
        late=Count("id", filter=Q(arrived_at__date__gt=F("due_on"))),
    )
    overdue = Installation.objects.filter(organisation=scope.organisation).inspection_overdue(on=scope.end).count()
    return {**done, "open": done["due"] - done["on_time"] - done["late"], "overdue_now": overdue,
            "share": _ratio(done["on_time"], done["due"])}  # fmt: skip


def restoration(scope):
    """Time from failure to water again, its parts kept apart, for shortfalls that ended by a repair in the scope.

    Detection: onset to flag. Waiting: flag to the technician's arrival. Work: arrival to closing the visit. Days.
    """
    rows = (
        Shortfall.objects.filter(
            installation__organisation=scope.organisation, ending="repaired",
            closed_on__gte=scope.first, closed_on__lt=scope.end,
        )
        .annotate(arrived=F("visits__arrived_at"), left=F("visits__left_at"))
        .values("id", "since", "flagged_on", "closed_on", "arrived", "left", "lost_l_day")
        .order_by("id", "arrived")
    )  # fmt: skip
    cases = {}
    for row in rows:
        case = cases.setdefault(row["id"], {**row, "visits": 0})
        if row["arrived"]:
            case["visits"] += 1
            case["last_left"] = row["left"] or row["arrived"]
    parts = {"detection": [], "waiting": [], "work": [], "total": [], "first_visit": []}
    for case in cases.values():
        parts["detection"].append((case["flagged_on"] - case["since"]).days)
        parts["total"].append((case["closed_on"] - case["since"]).days)
        if case["arrived"]:
            parts["waiting"].append(max(0, (case["arrived"].date() - case["flagged_on"]).days))
            parts["work"].append(((case["last_left"] - case["arrived"]).total_seconds()) / 86400)
            parts["first_visit"].append(case["visits"] == 1)
    middle = {name: sorted(values)[len(values) // 2] if values else None for name, values in parts.items()}
    return {
        "cases": len(cases),
        "detection_days": middle["detection"],
        "waiting_days": middle["waiting"],
        "work_days": middle["work"],
        "total_days": middle["total"],
        "first_visit_share": _ratio(sum(parts["first_visit"]), len(parts["first_visit"])),
    }
