"""Pages of readings: a unit's figures, entry of a meter figure, figures to settle."""

from calendar import monthrange
from datetime import date, timedelta

from django.contrib import messages
from django.db.models import Q
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.readings import forms, services
from fleet.readings.models import DayRecord, DaySeries, Decision, DroppedDays, MeterReading, Slip, SpotTest, Standing
from fleet.readings.services.clock import local_day, noon_of, zone_of
from fleet.registry.models import Installation
from fleet.registry.querysets import like
from fleet.web import export, paging
from fleet.web.refusals import Refused

KINDS = ("meter", "days", "spot")
DROPPED_SHOWN = 20
JUST_SETTLED = timedelta(minutes=15)  # so long the page of figures to settle offers one's last click to be taken back


def _installation(request, pk):
    found = Installation.objects.visible_to(request.user).select_related("unit", "well__site")
    return get_object_or_404(found, pk=pk)


@needs("read_fleet")
@require_safe
def of_installation(request, pk):
    """Everything measured of one installation, by kind."""
    installation = _installation(request, pk)
    kind = request.GET.get("kind", "")
    if kind not in KINDS:
        kind = "meter" if installation.instrument_level == Installation.Level.METER else "days"
    context = {
        "installation": installation, "site": installation.well.site, "kind": kind,
        "may_settle": may(request.user, "settle"),
    }  # fmt: skip
    reports = "meter" if installation.instrument_level == Installation.Level.METER else "days"
    if kind == reports and not export.asked(request):
        context["missing"] = services.missing_periods(installation)
    if kind == "days":
        return _days(request, installation, context)
    model, columns = (MeterReading, _meter_columns()) if kind == "meter" else (SpotTest, _spot_columns())
    rows = model.objects.of(installation).order_by("-at", "-id")
    if export.asked(request):
        return export.answer(request, f"{installation.unit.serial}-{kind}", columns, rows.iterator())
    context["page"] = paging.page(request, rows, ["-at"])
    found = context["page"].rows
    settled = Slip.objects.settled_of(**{"readings" if kind == "meter" else "tests": found})
    _with_settled(found, settled, lambda slip: slip.meter_reading_id or slip.spot_test_id, lambda row: row.pk)
    return render(request, "readings/of_installation.html", context)


def _with_settled(rows, settled, of_slip, of_row):
    """Each row with the figures of it that somebody settled, for its page to say who did and to take it back."""
    by_row = {}
    for slip in settled:
        by_row.setdefault(of_slip(slip), []).append(slip)
    for row in rows:
        row.settled = by_row.get(of_row(row), ())


BESIDE_THE_VOLUME = (
    "irradiation_kwh_m2", "noon_irradiance_w_m2", "noon_voltage_v", "noon_current_a", "noon_level_m",
)  # fmt: skip


def _days(request, installation, context):
    rows = DayRecord.objects.of(installation)
    if export.asked(request):
        name = f"{installation.unit.serial}-days"
        return export.answer(request, name, _day_columns(), rows.order_by("day").iterator())
    month = _month(request.GET.get("month")) or _newest_month(rows)
    first, last = month, month.replace(day=monthrange(month.year, month.month)[1])
    found = list(rows.between(first, last).order_by("day"))
    sampled = set(DaySeries.objects.of(installation).between(first, last).exclude(flow_l_min=None).values_list(
        "day", flat=True
    ))  # fmt: skip
    settled = Slip.objects.settled_of(
        days=(installation, noon_of(installation, first) - timedelta(hours=12), noon_of(installation, last))
    )
    _with_settled(found, settled, lambda slip: local_day(installation, slip.at), lambda row: row.day)
    for row in found:
        row.told_in_part = row.volume_l is None and row.day in sampled
    context |= {
        "month": month,
        "rows": found,
        "sampled": DaySeries.objects.of(installation).between(first, last).exists(),
        "may_drop": may(request.user, "import"),
        "dropped": DroppedDays.objects.of(installation).select_related("by", "put_back_by")[:DROPPED_SHOWN],
        "clock": services.clock_of(installation, first, last) if sampled else None,
        # Hardly any unit has them all: a column without one figure is left out.
        "measured": {name: any(getattr(row, name) is not None for row in found) for name in BESIDE_THE_VOLUME},
        "earlier": rows.filter(day__lt=first).order_by("-day").values_list("day", flat=True).first(),
        "later": rows.filter(day__gt=last).order_by("day").values_list("day", flat=True).first(),
    }
    return render(request, "readings/of_installation.html", context)


def _month(text):
    try:
        return date.fromisoformat(f"{text}-01") if text else None
    except ValueError:
        return None


def _newest_month(rows):
    newest = rows.order_by("-day").values_list("day", flat=True).first() or timezone.now().date()
    return newest.replace(day=1)


def _meter_columns():
    return [
        export.Column(_("time, UTC"), "at"),
        export.Column(_("hour known"), "hour_known"),
        export.Column(_("total, L"), "total_l"),
        export.Column(_("new meter"), "new_meter"),
        export.Column(_("started again"), "rolled_over"),
        export.Column(_("tank seen full"), "tank_full_seen"),
        export.Column(_("standing"), "get_standing_display"),
    ]


def _day_columns():
    names = (
        "day", "volume_l", "irradiation_kwh_m2", "noon_irradiance_w_m2", "noon_voltage_v", "noon_current_a",
        "noon_level_m", "tank_full_seen", "get_standing_display",
    )  # fmt: skip
    return [export.Column(name.removeprefix("get_").removesuffix("_display"), name) for name in names]


def _spot_columns():
    skipped = {"id", "key", "installation", "taken_by", "kept_at", "standing", "looked"}
    return [export.Column(f.name, f.name) for f in SpotTest._meta.concrete_fields if f.name not in skipped]


@needs("log")
@require_http_methods(["GET", "POST"])
def add_meter(request, pk):
    """Enter the meter's figure; what is odd about it is asked, and what was typed stays."""
    installation = _installation(request, pk)
    now = timezone.now().astimezone(zone_of(installation))
    form = forms.MeterForm(request.POST or None, initial={"day": now.date()})
    if form.is_valid():
        try:
            reading = services.keep_meter_reading(
                installation=installation, by=request.user, **form.reading(installation)
            )
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            _say(request, reading)
            return redirect("readings:of", installation.pk)
    last = MeterReading.objects.of(installation).used().order_by("-at").first()
    context = {"form": form, "installation": installation, "site": installation.well.site, "last": last}
    return render(request, "readings/add_meter.html", context, status=422 if form.errors else 200)


def _say(request, reading):
    if reading.standing == Standing.IN_DOUBT:
        messages.warning(
            request,
            _("Kept, but the total is lower than the one before, so it is not used yet. Look at the meter again, or "
              "let a coordinator settle it."),
        )  # fmt: skip
    elif reading.rolled_over:
        messages.success(request, _("Kept. The counter has run round and started again."))
    else:
        messages.success(request, _("Kept."))


@needs("import")
@require_http_methods(["GET", "POST"])
def drop_days(request, pk):
    """Take a logger's samples of some days out of use, with a reason."""
    installation = _installation(request, pk)
    month = _month(request.GET.get("month"))
    days = DaySeries.objects.of(installation).order_by("day").values_list("day", flat=True)
    if month:
        days = days.between(month, month.replace(day=monthrange(month.year, month.month)[1]))
    ends = {"first_day": days.first(), "last_day": days.last()}
    form = forms.DropForm(request.POST or None, initial=ends)
    if form.is_valid():
        asked = form.cleaned_data
        try:
            dropped = services.drop_days(installation=installation, first=asked["first_day"], last=asked["last_day"],
                                         why=asked["why"], by=request.user)  # fmt: skip
        except Refused as refusal:
            field = {"first": "first_day", "last": "last_day"}.get(refusal.field, refusal.field)
            form.add_error(field if field in form.fields else None, str(refusal))
        else:
            messages.success(request, ngettext("%(days)s day is dropped.", "%(days)s days are dropped.", dropped.days)
                             % {"days": dropped.days})  # fmt: skip
            return redirect(_days_of(installation, dropped.first_day))
    context = {
        "form": form, "question": _("Drop days of the logger of %s?") % installation.unit.serial, "danger": True,
        "yes": _("Drop these days"), "back": _days_of(installation, month),
        "consequences": [
            _("Its samples of these days, and the daily figures worked out of them, are not used any more."),
            _("What was reported of a day as such, or settled by a person, stays."),
            _("The samples are kept beside: they can be put back as long as none have come for these days since."),
        ],
    }  # fmt: skip
    return render(request, "web/confirm.html", context, status=422 if form.errors else 200)


def _days_of(installation, day):
    month = f"&month={day:%Y-%m}" if day else ""
    return f"{reverse('readings:of', args=[installation.pk])}?kind=days{month}"


@needs("import")
@require_POST
def put_back(request, pk):
    """Dropped samples stand again."""
    dropped = get_object_or_404(
        DroppedDays.objects.visible_to(request.user).select_related("installation__well__site"), pk=pk
    )
    try:
        services.put_back(dropped=dropped, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("The samples stand again as they did."))
    return redirect(_days_of(dropped.installation, dropped.first_day))


@needs("read_fleet")
@require_safe
def slips(request):
    """Figures that are likely mistakes, for a person to settle in one click."""
    form = forms.SlipFilter(request.GET or None)
    rows = Slip.objects.visible_to(request.user).with_other_half().select_related(
        "installation__unit", "installation__well__site", "other__unit", "settled_by", "meter_reading",
        "decision__taken_back_by",
    )
    chosen = form.cleaned_data if form.is_valid() else {}
    state = chosen.get("state", "")
    rows = rows.waiting() if not state else rows.settled() if state == "settled" else rows
    if chosen.get("kind"):
        rows = rows.filter(kind=chosen["kind"])
    if words := chosen.get("serial"):
        named = Q(installation__unit__serial__icontains=words)
        rows = rows.filter(named | like(words, "installation__well__site__"))
    if export.asked(request):
        return export.answer(request, "figures-in-doubt", _slip_columns(), rows.order_by("-at").iterator(2000))
    context = {
        "page": paging.page(request, rows, ["-at"]), "filter_form": form, "may_settle": may(request.user, "settle"),
        "just_settled": _just_settled(request.user),
    }  # fmt: skip
    return render(request, "readings/slips.html", context)


def _just_settled(person):
    """The person's own last decision, for a wrong click to be taken back where it was made."""
    lately = Decision.objects.visible_to(person).filter(by=person, at__gte=timezone.now() - JUST_SETTLED)
    lately = lately.prefetch_related("slips__installation__unit")
    last = lately.order_by("-at", "-pk").first()
    return last if last is not None and last.taken_back_at is None else None


def _slip_columns():
    return [
        export.Column(_("serial"), "installation.unit.serial"),
        export.Column(_("site"), "installation.well.site.code"),
        export.Column(_("time, UTC"), "at"),
        export.Column(_("kind"), "get_kind_display"),
        export.Column(_("found"), "found"),
        export.Column(_("would fit"), "suggested"),
        export.Column(_("other unit"), "other.unit.serial"),
        export.Column(_("why"), "reason"),
        export.Column(_("state"), "get_state_display"),
        export.Column(_("settled by"), lambda slip: str(slip.settled_by or "")),
    ]


@needs("settle")
@require_POST
def settle(request, pk):
    """One click: as suggested, keep, set aside; or another figure."""
    slip = Slip.objects.visible_to(request.user).filter(pk=pk).first()
    if slip is None:
        raise Http404
    how, value = request.POST.get("how", ""), None
    if how == "other":
        form = forms.OtherFigureForm(request.POST)
        if not form.is_valid():
            sentence = _("Give the right figure, zero or more, in plain digits.")
            messages.error(request, f"{slip.installation.unit.serial}: {sentence}")
            return _back(request)
        value = form.cleaned_data["value"]
    try:
        services.settle(slip=slip, how=how, value=value, by=request.user)
    except Refused as refusal:  # that it was done says the page itself, beside the way back (`_just_settled`)
        messages.error(request, str(refusal))
    return _back(request)


@needs("settle")
@require_POST
def take_back(request, pk):
    """A settling taken back: the reading stands as it did, and the figure waits again."""
    decision = Decision.objects.visible_to(request.user).filter(pk=pk).first()
    if decision is None:
        raise Http404
    try:
        services.take_back(decision=decision, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        units = ", ".join(sorted({slip.installation.unit.serial for slip in decision.slips.select_related(
            "installation__unit")}))  # fmt: skip
        messages.success(request, _("%(unit)s: taken back. It stands as before and waits again.") % {"unit": units})
    return _back(request)


def _back(request):
    there = request.POST.get("back", "")
    if url_has_allowed_host_and_scheme(there, {request.get_host()}):
        return redirect(there)
    return redirect("readings:slips")
