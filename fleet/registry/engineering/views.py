"""The sizing page and the page of a place's sun."""

from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from fleet.people.access import needs
from fleet.registry.engineering import choice, sunlight
from fleet.registry.engineering.forms import SurveyForm
from fleet.registry.models import Site
from fleet.web import charts, paper, quantities
from fleet.web.refusals import Refused

ASKED = "latitude_deg"


def _asked(request):
    """(form, site or None): the survey in the address, or what the registry knows of the site it names."""
    site = None
    if request.GET.get("site"):
        site = get_object_or_404(Site.objects.visible_to(request.user), code=request.GET["site"])
    if ASKED in request.GET:
        return SurveyForm(request.GET), site
    return SurveyForm(initial=SurveyForm.of_site(site) if site else {"array_distance_m": 10}), site


def _answered(request, form, site):
    """Rows of the answer, or None; a refusal goes onto the form."""
    if not form.is_bound or not form.is_valid():
        return None, None, {}
    try:
        answer, left_out = choice.answer_survey(
            organisation=request.user.organisation, site=site, order=form.cleaned_data["order"] or "margin",
            **form.survey(),
        )  # fmt: skip
    except Refused as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return None, None, {}
    return answer, choice.rows(answer), left_out


def _month_chart(row, need):
    months = [date_format(timezone.datetime(2001, month, 1), "M") for month in range(1, 13)]
    rows = [
        {"month": name, "measured": None, "expected": row["litres_day"][k] / 1000, "need": need[k] / 1000}
        for k, name in enumerate(months)
    ]
    return charts.bars_by_month(rows, title=_("Expected water a day, and the need"), unit="m³", decimals=1)


def _need(form):
    need = form.survey()["need_l_day"]
    return need if isinstance(need, list) else [need] * 12


@needs("read_fleet")
@require_safe
def sizing(request):
    """From a survey to what fits. Everything asked stands in the address, so an answer can be kept as a bookmark."""
    form, site = _asked(request)
    answer, rows, left_out = _answered(request, form, site)
    context = {"form": form, "site": site, "answer": answer, "left_out": left_out}
    if rows is not None:
        fitting, larger, not_fitting = choice.offered(rows)
        for row in fitting:
            row["range_words"] = choice.range_words(row)
        for row in fitting[:1]:
            row |= {
                "margin_words": quantities.percent(row["margin"]), "tone": "good" if row["margin"] >= 0.1 else "watch",
                "margin_low_words": quantities.percent(row["margin_low"]),
                "low_tone": "good" if row["margin_low"] >= 0 else "watch",
                "worst_month_words": date_format(timezone.datetime(2001, row["worst_month"], 1), "F"),
                "depth_words": quantities.metres(row["setting_depth_m"], request.user),
                "head_words": quantities.metres(row["head_m"], request.user),
            }  # fmt: skip
        context |= {"fitting": fitting, "larger": larger, "not_fitting": not_fitting}
        if fitting:
            context["chart"] = _month_chart(fitting[0], _need(form))
    return render(request, "registry/sizing.html", context, status=422 if form.errors else 200)


@needs("read_fleet")
@require_safe
def sizing_sheet(request):
    form, site = _asked(request)
    answer, rows, _left_out = _answered(request, form, site)
    if rows is None:
        return render(request, "registry/sizing.html", {"form": form, "site": site}, status=422)
    fitting, _larger, not_fitting = choice.offered(rows)
    number = quantities.number
    data = {
        "title": _("What fits this well"),
        "subtitle": f"{site}" if site else f"{form.cleaned_data['latitude_deg']:.4f}, "
                                           f"{form.cleaned_data['longitude_deg']:.4f}",
        "organisation": str(request.user.organisation),
        "asked_title": _("The survey"),
        "asked": [
            [str(bound.label), f"{bound.value()} {getattr(bound.field, 'unit', '')}".strip()]
            for bound in form if bound.value() not in (None, "") and bound.name != "order"
        ],
        "head": [_("Pump"), _("Modules"), _("Pipe, cable"), _("Depth, m"), _("Worst month, L a day"), _("Margin")],
        "rows": [
            [
                row["pump"], f"{row['in_series']} × {row['strings']} {row['module']}",
                f"{row['pipe']}, {row['cable']}", number(row["setting_depth_m"], 1),
                number(row["litres_day"][row["worst_month"] - 1]), quantities.percent(row["margin"]),
            ]
            for row in fitting
        ],
        "none": _("Nothing in the catalogue fits."),
        "why_title": _("Why it fits"),
        "why": [
            [row["pump"], [*(c["sentence"] for c in row["checks"]), choice.range_words(row)]] for row in fitting[:4]
        ],
        "not_title": _("What does not fit"),
        "not": [[row["pump"], [c["sentence"] for c in row["checks"] if not c["ok"]]] for row in not_fitting],
        "sun": _("Sun: %(source)s, one sigma %(band)s.")
        % {"source": _(answer.climate_source), "band": quantities.percent(answer.climate_band)},
    }  # fmt: skip
    made = {"water": _month_chart(fitting[0], _need(form))} if fitting else {}
    answer = HttpResponse(paper.pdf("registry/sizing.typ", data, charts=made), content_type="application/pdf")
    answer["Content-Disposition"] = 'attachment; filename="what-fits.pdf"'
    return answer


@needs("read_fleet")
@require_safe
def sun(request, code):
    site = get_object_or_404(Site.objects.visible_to(request.user), code=code)
    moment = timezone.now().astimezone(ZoneInfo(site.zone))
    here = sunlight.sun_here(site, moment)
    context = {"site": site, "here": _in_words(here), "moment": moment}
    if here.cost is not None:
        context["azimuth_cost"] = list(zip(sunlight.AZIMUTH_ERRORS, here.cost.by_year, here.cost.by_month.max(axis=1)))
        steps, tilted = here.tilt_cost
        context["tilt_cost"] = [(step < 0, abs(step), year) for step, year in zip(steps, tilted.by_year)]
    context["clock_months"] = [
        (date_format(rule.at, "F"), rule.error_deg, rule.minutes_off) for rule in here.clock_by_month
    ]
    return render(request, "registry/sun.html", context)


def _clock(at, seconds=False):
    return at.strftime("%H:%M:%S" if seconds else "%H:%M")


def _in_words(here):
    """The sun's numbers as the page shows them: whole degrees, the site's clock."""
    now, facing, number = here.now, here.facing, quantities.number
    up = now.height_deg > 0
    return {
        "facing": facing,
        "shadow": here.shadow,
        "noon": {"at_words": _clock(here.noon.at, seconds=True)},
        "noon_note": _("summer time") if here.noon.summer_time else "",
        "compass_words": number(facing.compass_deg),
        "bearing_words": number(facing.bearing_deg),
        "tilt_words": number(facing.tilt_deg),
        "declination_words": _("compass points %(deg)s° off true north")
        % {"deg": number(facing.declination_deg, 1)},
        "now_words": f"{number(now.compass_deg)}°" if up else _("below the horizon"),
        "now_note": _("%(deg)s° above the horizon") % {"deg": number(now.height_deg)} if up else "",
        "shadow_at": _clock(here.shadow.at, seconds=True),
        "minutes_words": number(here.shadow.minutes_per_deg, 1),
        "pairs_words": [f"{_clock(before)} – {_clock(after)}" for before, after in here.shadow.pairs],
        "today": [{**row, "clock": _clock(row["at"])} for row in here.today],
        "noons_words": [f"{date_format(noon.at, 'D j M')}: {_clock(noon.at, seconds=True)}" for noon in here.noons],
        "clock_error": number(here.clock.error_deg),
        "clock_minutes": number(here.clock.minutes_off),
        "climate_source": here.climate_source,
    }
