"""People by the API: who I am and my tokens; for administrators colleagues, the organisation and who changed what."""

from django.db.models import Q
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema
from rest_framework import generics, permissions, serializers, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest, services
from fleet.people.access import MAY, may
from fleet.people.models import Organisation, Person, Token
from fleet.trail.models import Change
from fleet.trail.reader import in_words


class MaySeePeople(permissions.BasePermission):
    message = _("Only an administrator may list people.")

    def has_permission(self, request, view):
        return may(request.user, "people")


class PersonOut(serializers.ModelSerializer):
    class Meta:
        model = Person
        fields = [
            "id", "username", "first_name", "last_name", "role", "phone", "email", "language", "is_active",
            "last_login",
        ]  # fmt: skip
        read_only_fields = fields


class MeOut(serializers.ModelSerializer):
    organisation = serializers.CharField(source="organisation.name", allow_null=True, default=None)
    may = serializers.SerializerMethodField(help_text="the deeds that the role covers")

    class Meta:
        model = Person
        fields = [
            "id", "username", "first_name", "last_name", "role", "organisation", "language", "flow_unit", "length_unit",
            "theme", "may",
        ]  # fmt: skip
        read_only_fields = fields

    def get_may(self, person) -> list[str]:
        return sorted(deed for deed in MAY.get(person.role, ()) if may(person, deed))


@extend_schema(
    tags=["people"], parameters=[rest.words("role", "", Person.Role.values), rest.words("q", "part of a name")]
)
class People(generics.ListAPIView):
    """People of your organisation."""

    permission_classes = [permissions.IsAuthenticated, MaySeePeople]
    serializer_class = PersonOut
    queryset = Person.objects.none()

    def get_queryset(self):
        asked = rest.Asked(self.request)
        found = Person.objects.visible_to(self.request.user)
        if role := asked.choice("role", Person.Role.values):
            found = found.filter(role=role)
        if words := asked.text("q"):
            named = Q(first_name__icontains=words) | Q(last_name__icontains=words) | Q(username__icontains=words)
            found = found.filter(named)
        return found


@extend_schema(tags=["people"])
class OnePerson(generics.RetrieveAPIView):
    """One person of your organisation."""

    permission_classes = [permissions.IsAuthenticated, MaySeePeople]
    serializer_class = PersonOut
    queryset = Person.objects.none()

    def get_queryset(self):
        return Person.objects.visible_to(self.request.user)


class Me(APIView):
    """Who the session or token speaks for, and what that person may do."""

    @extend_schema(responses=MeOut, tags=["people"])
    def get(self, request):
        return Response(MeOut(request.user).data)


# -- tokens ------------------------------------------------------------------------------------------------------------


class TokenOut(serializers.ModelSerializer):
    class Meta:
        model = Token
        fields = ["id", "name", "start", "made_at", "last_used_at"]
        read_only_fields = fields


@extend_schema(tags=["people"])
class Tokens(generics.ListAPIView):
    """Your own tokens that are not revoked. A key is shown once, where it is made: on the page of your account."""

    serializer_class = TokenOut
    queryset = Token.objects.none()
    key_order = ["-id"]

    def get_queryset(self):
        return Token.objects.of(self.request.user).valid()


class RevokeToken(APIView):
    @extend_schema(tags=["people"], request=None, responses={204: None})
    def delete(self, request, pk):
        """Revoke one of your own tokens: programs that use it are shut out at once."""
        token = get_object_or_404(Token.objects.of(request.user).valid(), pk=pk)
        services.revoke_token(by=request.user, token=token)
        return Response(status=status.HTTP_204_NO_CONTENT)


# -- the organisation --------------------------------------------------------------------------------------------------


class OrganisationOut(serializers.ModelSerializer):
    class Meta:
        model = Organisation
        fields = ["id", "name", "country", "is_demo", "false_alarms_per_100_unit_years", "need_l_person_day"]
        read_only_fields = fields


class OurOrganisation(APIView):
    permission_classes = rest.doing("people")

    @extend_schema(tags=["people"], responses=OrganisationOut)
    def get(self, request):
        """Your organisation."""
        return Response(OrganisationOut(request.user.organisation).data)


class LineOut(serializers.Serializer):
    name = serializers.CharField()
    was = serializers.CharField()
    now = serializers.CharField()


class ChangeOut(serializers.ModelSerializer):
    """One change of one row: who, when, from what to what; `lines` says it in words."""

    person = serializers.CharField(source="person.username", read_only=True, allow_null=True, default=None)
    lines = LineOut(many=True, read_only=True, source="told.lines")
    what = serializers.CharField(read_only=True, source="told.what")

    class Meta:
        model = Change
        fields = ["id", "at", "table", "row_id", "kind", "what", "person", "via", "before", "after", "lines"]
        read_only_fields = fields


@extend_schema(
    tags=["people"],
    parameters=[rest.words("table"), rest.words("row_id"), rest.words("person", "log-in name"), *rest.days()],
)
class Changes(generics.ListAPIView):
    """All that your organisation's people changed, the newest first."""

    permission_classes = rest.doing("trail")
    serializer_class = ChangeOut
    queryset = Change.objects.none()
    key_order = ["-id"]

    def get_queryset(self):
        asked = rest.Asked(self.request)
        found = Change.objects.by_people_of(self.request.user.organisation_id).select_related("person")
        for name, path in (("table", "table"), ("row_id", "row_id"), ("person", "person__username")):
            if words := asked.text(name, 150):
                found = found.filter(**{path: words})
        first, last = asked.days()
        found = found.filter(at__date__gte=first) if first else found
        return found.filter(at__date__lte=last) if last else found

    def paginate_queryset(self, queryset):
        rows = super().paginate_queryset(queryset)
        for row, told in zip(rows, in_words(rows), strict=True):
            row.told = told
        return rows
