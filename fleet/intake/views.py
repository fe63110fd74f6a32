"""Tables in, page by page: choose, match, read what was found, keep; and templates to fill in."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.intake import forms, services, tables
from fleet.intake.days import readings_of
from fleet.intake.models import Upload
from fleet.intake.run import LOOK
from fleet.web import paging
from fleet.web.refusals import Refused

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _own_tables(person):
    found = tables.for_person(person)
    if not found:
        raise PermissionDenied(_("Your role does not open this page. Ask a coordinator or an administrator."))
    return found


def _upload(request, pk):
    _own_tables(request.user)
    upload = get_object_or_404(Upload.objects.visible_to(request.user).select_related("job", "by"), pk=pk)
    table = tables.find(upload.table)
    if table is None or not tables.allowed(request.user, table):
        raise Http404
    return upload, table


@login_required
@require_http_methods(["GET", "POST"])
def start(request):
    """Choose a table and send a file; below, what was brought in before."""
    own = _own_tables(request.user)
    form = forms.UploadForm(
        request.POST or None, request.FILES or None, tables=own, initial={"table": request.GET.get("table")}
    )
    if request.method == "POST" and form.is_valid():
        try:
            upload = services.receive(
                table=tables.find(form.cleaned_data["table"]), file=form.cleaned_data["file"], by=request.user
            )
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            return redirect("intake:match", pk=upload.pk)
    uploads = Upload.objects.visible_to(request.user).select_related("by")
    page = paging.page(request, uploads, ["-at"], size=20)
    for upload in page.rows:
        upload.table_title = getattr(tables.find(upload.table), "title", upload.table)
    context = {"form": form, "tables": own, "page": page}
    return render(request, "intake/start.html", context, status=422 if form.errors else 200)


@login_required
@require_safe
def template(request, name, kind):
    """A template to fill in."""
    table = tables.find(name)
    if table is None or kind not in {"csv", "xlsx"} or table not in _own_tables(request.user):
        raise Http404
    body, mime = (
        (services.template_csv(table), "text/csv; charset=utf-8") if kind == "csv"
        else (services.template_xlsx(table), XLSX)
    )  # fmt: skip
    answer = HttpResponse(body, content_type=mime)
    answer["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return answer


@login_required
@require_http_methods(["GET", "POST"])
def match(request, pk):
    """Which column of the file is which."""
    upload, table = _upload(request, pk)
    if upload.state == Upload.State.KEPT:
        return redirect("intake:upload", pk=pk)
    form = forms.MatchForm(request.POST or None, upload=upload, table=table)
    if request.method == "POST" and form.is_valid():
        try:
            services.set_mapping(upload=upload, mapping=form.mapping(), by=request.user)
            services.ask(upload=upload, word=LOOK, by=request.user, address=reverse("intake:upload", args=[pk]))
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            return _onwards(upload)
    context = {"upload": upload, "table": table, "form": form}
    return render(request, "intake/match.html", context, status=422 if form.errors else 200)


def _onwards(upload):
    return redirect("jobs:job", pk=upload.job_id) if upload.job and upload.job.unfinished else redirect(
        "intake:upload", pk=upload.pk)  # fmt: skip


@login_required
@never_cache
@require_safe
def upload(request, pk):
    """What was found: counts, and every fault with its line, its column and how to mend it."""
    found, table = _upload(request, pk)
    page = paging.page(request, found.faults.all(), ["warning", "line"], size=100)
    result = found.result
    questions = [
        question | dict(zip(("day_first", "month_first"), readings_of(question["cell"]), strict=True))
        for question in result.get("questions") or []
    ]
    context = {
        "upload": found, "table": table, "page": page, "questions": questions,
        "kept_rows": result.get("rows", 0) - result.get("rejected", 0),
    }  # fmt: skip
    return render(request, "intake/upload.html", context)


@login_required
@require_POST
def keep(request, pk):
    """Keep all rows, or on the user's word the good ones."""
    upload, _table = _upload(request, pk)
    word = "good" if request.POST.get("word") == "good" else "all"
    try:
        services.ask(upload=upload, word=word, by=request.user, address=reverse("intake:upload", args=[pk]))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("intake:upload", pk=pk)
    return _onwards(upload)


@login_required
@require_POST
def day_order(request, pk):
    """The user's word on columns whose days could be read two ways; the file is looked through again."""
    heads = zip(request.POST.getlist("head"), request.POST.getlist("order"), strict=False)
    return _said(request, pk, services.set_day_orders, orders=dict(heads))


@login_required
@require_POST
def words(request, pk):
    """The user's word on what cells mean where a column knows certain words only."""
    cells = zip(request.POST.getlist("head"), request.POST.getlist("cell"), strict=False)
    meanings = dict(zip(cells, request.POST.getlist("means"), strict=False))
    return _said(request, pk, services.set_words, meanings=meanings)


def _said(request, pk, service, **what):
    upload, _table = _upload(request, pk)
    try:
        service(upload=upload, by=request.user, **what)
        services.ask(upload=upload, word=LOOK, by=request.user, address=reverse("intake:upload", args=[pk]))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("intake:upload", pk=pk)
    return _onwards(upload)


@login_required
@require_safe
def rejects(request, pk):
    """The rejected rows as CSV, with the reason, to mend and send again."""
    upload, _table = _upload(request, pk)
    if not upload.rejects:
        raise Http404
    return FileResponse(
        upload.rejects.open("rb"), as_attachment=True, filename=f"rejected-{upload.table}.csv", content_type="text/csv"
    )
