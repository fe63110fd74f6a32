"""What the registry's pages share."""

from copy import copy

from django.shortcuts import render

from fleet.people.access import may
from fleet.web.refusals import Refused


def attempt(form, verb, **arguments):
    """Call the service; its refusal goes on the form. Returns what came of it, or None."""
    try:
        return verb(**arguments)
    except Refused as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return None


def own_copy(row):
    """For a form, which writes into what it is given: the service must see the row as it stands in the database."""
    return copy(row) if row is not None else None


def form_page(request, form, title, back, *, lead="", template="registry/form.html", **more):
    context = {"form": form, "title": title, "back": back, "lead": lead} | more
    return render(request, template, context, status=422 if any(f.errors for f in _forms(form)) else 200)


def _forms(form):
    return form if isinstance(form, list) else [form]


def editor(request):
    return may(request.user, "edit_registry")
