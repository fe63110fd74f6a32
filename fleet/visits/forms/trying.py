"""Calls a service for a page: its refusal goes onto the form, beside the field it concerns."""

from fleet.web.refusals import Refused


def attempt(form, verb, **arguments):
    """(done, result)."""
    try:
        return True, verb(**arguments)
    except Refused as refusal:
        field = refusal.field if form is not None and refusal.field in form.fields else None
        form.add_error(field, str(refusal))
        return False, None
