"""One page: what the visit changed about which pump hangs where goes into the register."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from fleet.people.access import may, needs
from fleet.visits import forms, services
from fleet.visits.forms.trying import attempt
from fleet.visits.models import Visit

TITLES = {
    "exchange": gettext_lazy("Another pump hangs here now"),
    "relocation": gettext_lazy("The pump moved"),
    "retirement": gettext_lazy("The pump came out for good"),
}
YES = {
    "exchange": gettext_lazy("Enter the exchange"),
    "relocation": gettext_lazy("Enter the move"),
    "retirement": gettext_lazy("Enter its end here"),
}


@needs("log")
@require_http_methods(["GET", "POST"])
def enter(request, key):
    visits = Visit.objects.loggable_by(request.user).select_related(
        "site", "organisation", "installation__unit__pump_type", "installation__well__site", "shortfall"
    )
    visit = get_object_or_404(visits, key=key)
    change = services.owed(visit)
    if change is None:
        messages.info(request, _("The register knows of this already."))
        return redirect("visits:visit", key)
    form = forms.EnterForm(request.POST or None, change=change, visit=visit, person=request.user)
    if form.is_valid():
        done, hung = attempt(form, services.enter_in_register, visit=visit, by=request.user, **form.typed())
        if done:
            said = _("Entered. The well is free.")
            if hung:
                said = _("Entered. It hangs in %(well)s.") % {"well": hung.well}
            messages.success(request, said)
            return redirect("visits:close" if visit.is_open and visit.left_at else "visits:visit", key)
    context = {
        "visit": visit, "change": change, "form": form, "title": TITLES[change.kind], "yes": YES[change.kind],
        "may_add": may(request.user, "edit_registry"),
    }  # fmt: skip
    return render(request, "visits/enter.html", context, status=422 if form.errors else 200)
