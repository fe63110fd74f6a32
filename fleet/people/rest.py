"""What the rooms' API views share: who may ask, and what was asked for in the address."""

import math
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import permissions, serializers
from rest_framework.exceptions import ValidationError

from fleet.people.access import may, own
from fleet.web.rest import Moment


class Sees(permissions.BasePermission):
    """Whose role reads the fleet."""

    message = gettext_lazy("Your role does not read the fleet.")

    def has_permission(self, request, view):
        return may(request.user, "read_fleet")


READS = [permissions.IsAuthenticated, Sees]


NOT_YOURS = gettext_lazy("Your role does not allow this. Ask a coordinator or an administrator.")


def doing(wanted, message=NOT_YOURS):
    """A permission for one deed of `fleet.people.access`, with its own sentence."""

    class Does(permissions.BasePermission):
        def has_permission(self, request, view):
            return may(request.user, wanted)

    Does.message = message
    return [permissions.IsAuthenticated, Does]


class ByMethod:
    """Reading asks for one right, writing for another: `writing` names its permissions."""

    writing = ()

    def get_permissions(self):
        wanted = READS if self.request.method in permissions.SAFE_METHODS else self.writing
        return [permission() for permission in wanted]


class Named(serializers.SlugRelatedField):
    """Something of one's own organisation by its name, as the lists show it."""

    def get_queryset(self):
        return own(super().get_queryset(), self.context["request"].user)

    def to_internal_value(self, data):
        # Read as words first: what no name can be never reaches the database.
        return super().to_internal_value(serializers.CharField(max_length=200).run_validation(data))


def typed(shape, request, *, partial=False):
    """What the body says, checked by a serializer; a fault leaves as one error a field."""
    read = shape(data=request.data, partial=partial, context={"request": request})
    read.is_valid(raise_exception=True)
    return dict(read.validated_data)


class Asked:
    """What stands in the address, read strictly: a filter that cannot be read is refused and never left out."""

    def __init__(self, request):
        self.words = request.query_params

    def text(self, name, most=120):
        """The words, or ""."""
        found = self.words.get(name, "")
        if len(found) > most or not found.isprintable():
            raise ValidationError({name: [_("Give up to %(most)d plain characters.") % {"most": most}]})
        return found.strip()

    def choice(self, name, values):
        found = self.words.get(name, "")
        if found and found not in values:
            raise ValidationError({name: [_("Write one of: %(choices)s.") % {"choices": ", ".join(values)}]})
        return found

    def day(self, name):
        found = self.words.get(name, "")
        if not found:
            return None
        try:
            day = date.fromisoformat(found)
        except ValueError:
            raise ValidationError({name: [_("Give a day as year, month, day, like 2026-03-01.")]}) from None
        if not 1950 <= day.year <= 2100:
            raise ValidationError({name: [_("The year cannot be right. Write the day as 2025-04-03.")]})
        return day

    def needed_day(self, name):
        found = self.day(name)
        if found is None:
            raise ValidationError({name: [_("Give a day as year, month, day, like 2026-03-01.")]})
        return found

    def moment(self, name):
        """A moment with its offset, or None."""
        found = self.words.get(name, "")
        if not found:
            return None
        try:
            return Moment().run_validation(found)
        except ValidationError as fault:
            raise ValidationError({name: fault.detail}) from None

    def days(self):
        """(from, to), either None."""
        first, last = self.day("from"), self.day("to")
        if first and last and first > last:
            raise ValidationError({"to": [_("The last day lies before the first.")]})
        return first, last

    def whole(self, name, most=2**63 - 1):
        found = self.words.get(name, "")
        if not found:
            return None
        if not found.isascii() or not found.isdigit() or int(found[:20]) > most or len(found) > 20:
            raise ValidationError({name: [_("Give a whole number.")]})
        return int(found)

    def figure(self, name, low=-1e12, high=1e12):
        found = self.words.get(name, "")
        if not found:
            return None
        try:
            value = float(found)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            sentence = _("Give a figure from %(low)g to %(high)g.") % {"low": low, "high": high}
            raise ValidationError({name: [sentence]})
        return value

    def flag(self, name):
        """True, False, or None where it is not asked."""
        found = self.words.get(name, "").lower()
        if found and found not in {"1", "true", "yes", "0", "false", "no"}:
            raise ValidationError({name: [_("Write yes or no.")]})
        return found in {"1", "true", "yes"} if found else None


def at_most_days(most):
    return [_("Give at most %(most)d days, the first one first.") % {"most": most}]


def words(name, about="", choices=None):
    return OpenApiParameter(name, str, description=about, enum=choices)


def days():
    return [OpenApiParameter("from", OpenApiTypes.DATE, description="this day and later"),
            OpenApiParameter("to", OpenApiTypes.DATE, description="this day and earlier")]  # fmt: skip


def day(name, about="", *, required=False):
    return OpenApiParameter(name, OpenApiTypes.DATE, description=about, required=required)


def moment(name, about=""):
    return OpenApiParameter(name, OpenApiTypes.DATETIME, description=about)


def whole(name, about=""):
    return OpenApiParameter(name, {"type": "integer", "minimum": 1, "maximum": 2**31 - 1}, description=about)


def figure(name, low, high, about=""):
    return OpenApiParameter(name, {"type": "number", "minimum": low, "maximum": high}, description=about)


def flag(name, about=""):
    return OpenApiParameter(name, bool, description=about)
