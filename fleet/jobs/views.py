"""Pages of long work: one's own list, and one piece with its progress."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fleet.jobs import services
from fleet.jobs.models import Job
from fleet.web import export, paging
from fleet.web.refusals import Refused

COLUMNS = [
    export.Column(gettext_lazy("What"), "title"),
    export.Column(gettext_lazy("State"), "get_state_display"),
    export.Column(gettext_lazy("Asked by"), lambda job: str(job.asked_by or "")),
    export.Column(gettext_lazy("Asked"), "asked_at"),
    export.Column(gettext_lazy("Ended"), "ended_at"),
    export.Column(gettext_lazy("Done"), "done"),
    export.Column(gettext_lazy("Of"), "total"),
    export.Column(gettext_lazy("What went wrong"), "trouble"),
]


@login_required
@require_safe
def own_jobs(request):
    jobs = Job.objects.visible_to(request.user).select_related("asked_by")
    if export.asked(request):
        rows = jobs.order_by("-asked_at", "-id")
        return export.answer(request, "long-work", COLUMNS, rows.iterator(chunk_size=2000))
    return render(request, "jobs/list.html", {"page": paging.page(request, jobs, ["-asked_at"])})


@login_required
@never_cache
@require_safe
def job(request, pk):
    """Progress, refreshed by a small script, or every five seconds by the page itself where there is none."""
    found = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    if found.state == Job.State.DONE and found.address and request.GET.get("then") == "on":
        return redirect(found.address)
    part = request.headers.get("X-Part") == "progress"
    return render(request, "jobs/_progress.html" if part else "jobs/job.html", {"job": found})


@login_required
@require_POST
def stop(request, pk):
    found = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    try:
        services.stop(job=found, by=request.user)
    except Refused as refusal:
        messages.warning(request, str(refusal))
    return redirect("jobs:job", pk=pk)
