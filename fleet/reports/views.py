"""The manager's pages: figures, charts, the same on paper and in a workbook."""

from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from fleet.people.access import needs
from fleet.registry.models import Site
from fleet.reports.forms import ScopeForm
from fleet.reports.services import page, paper
from fleet.reports.services.workbook import workbook as make_workbook
from fleet.web import quantities

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _form(request):
    site = Site.objects.visible_to(request.user).only("zone").first()
    today = timezone.now().astimezone(ZoneInfo(site.zone if site else "UTC")).date()
    return ScopeForm(request.GET or None, person=request.user, today=today)


def _tone(share, good, fair):
    if share is None:
        return ""
    return "good" if share >= good else "watch" if share >= fair else "bad"


def _words(report):
    """The summary's figures as they are read."""
    row, due = report["summary"], report["inspections"]
    row |= {
        "delivered_words": quantities.number(row["delivered_m3"]),
        "output_words": quantities.percent(row["output_ratio"]),
        "output_tone": _tone(row["output_ratio"], 0.93, 0.8),
        "need_words": quantities.percent(row["need_ratio"]),
        "availability_words": quantities.percent(row["availability"], 1),
        "availability_tone": _tone(row["availability"], 0.95, 0.9),
        "reported_words": quantities.percent(row["reported_share"]),
        "reported_note": _("%s of all days hung") % quantities.percent(row["reported_share"]),
        "inspection_words": quantities.percent(due["share"]),
        "inspection_note": ngettext("%(n)d due", "%(n)d due", due["due"]) % {"n": due["due"]},
    }
    return report


@needs("read_reports")
@require_safe
def report(request):
    form = _form(request)
    found = _words(page.gather(form.scope()))
    groups = [
        (name, title, found["groups"][name], page.group_chart(found["groups"][name], name))
        for name, title in page.GROUP_NAMES.items()
    ]
    context = {"report": found, "filter_form": form, "groups": groups}
    if found["months"]:
        context["month_chart"] = page.month_chart(found["months"])
        context["availability_chart"] = page.availability_chart(found["months"])
    return render(request, "reports/report.html", context)


def _download(content, kind, name):
    answer = HttpResponse(content, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@needs("read_reports")
@require_safe
def pdf(request):
    found = _words(page.gather(_form(request).scope()))
    name = f"report-{found['first']:%Y-%m}-{found['last']:%Y-%m}.pdf"
    return _download(paper.report(found), "application/pdf", name)


@needs("read_reports")
@require_safe
def workbook(request):
    found = page.gather(_form(request).scope())
    name = f"figures-{found['first']:%Y-%m}-{found['last']:%Y-%m}.xlsx"
    return _download(make_workbook(found), XLSX, name)


