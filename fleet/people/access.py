"""Who may do and see what. Pages, API and services ask here."""

from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _

from fleet.web.refusals import Refused

# What each role may do. An administrator may do all that a coordinator may; a manager reads.
MAY = {
    "coordinator": {"read_fleet", "assign", "log", "edit_registry", "import", "settle", "read_reports", "take_calls"},
    "technician": {"read_fleet", "log", "take_calls", "own_day"},
    "manager": {"read_fleet", "read_reports", "set_alarms"},
    "administrator": {
        "read_fleet", "assign", "log", "edit_registry", "import", "settle", "read_reports", "take_calls",
        "set_alarms", "people", "catalogue", "procedures", "trail",
    },
}  # fmt: skip


def may(person, deed):
    """Whether this person's role covers the deed. Nobody without an organisation may do anything."""
    if not person.is_authenticated or not person.is_active or not person.organisation_id:
        return False
    return deed in MAY.get(person.role, set())


def require(person, deed):
    """For services: refuse by name. `person` None means the house itself (a task or command)."""
    if person is not None and not may(person, deed):
        raise Refused("not_allowed", _("Your role does not allow this. Ask a coordinator or an administrator."))


def needs(deed):
    """For pages: sign in first, then the role must cover the deed."""

    def wrap(view):
        @wraps(view)
        def guarded(request, *args, **kwargs):
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not may(request.user, deed):
                raise PermissionDenied(_("Your role does not open this page. Ask a coordinator or an administrator."))
            return view(request, *args, **kwargs)

        return guarded

    return wrap


def own(queryset, person, path="organisation"):
    """Only the rows of the person's own organisation; none for strangers."""
    if not person.is_authenticated or not person.organisation_id:
        return queryset.none()
    return queryset.filter(**{f"{path}_id": person.organisation_id})
