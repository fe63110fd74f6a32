"""Pages of long work: one's own list, and one piece with its progress."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fleet.jobs import services
from fleet.jobs.models import Job
from fleet.web import paging
from fleet.web.refusals import Refused


@login_required
@require_safe
def own_jobs(request):
    jobs = Job.objects.visible_to(request.user).select_related("asked_by")
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
