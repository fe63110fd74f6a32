"""People by the API: who I am and my tokens; for administrators colleagues, the organisation and who changed what.

What is said goes through the services that the pages call. A password or key is in the answer of the call that made
it and nowhere else.
"""

from django.conf import settings
from django.db.models import Q
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext
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
from fleet.web.refusals import Refused
from fleet.web.rest import Figure

LANGUAGES = list(settings.LANGUAGES)


class MaySeePeople(permissions.BasePermission):
    message = _("Only an administrator may list people.")

    def has_permission(self, request, view):
        return may(request.user, "people")


class PersonOut(serializers.ModelSerializer):
    email = serializers.CharField(read_only=True, help_text="empty where there is none")

    class Meta:
        model = Person
        fields = [
            "id", "username", "first_name", "last_name", "role", "phone", "email", "language", "is_active",
            "last_login",
        ]  # fmt: skip
        read_only_fields = fields


class PersonIn(serializers.Serializer):
    """What an administrator says about a colleague."""

    first_name = serializers.CharField(max_length=150)
    last_name = serializers.CharField(max_length=150, required=False, allow_blank=True)
    role = serializers.ChoiceField(choices=Person.Role.choices)
    phone = serializers.CharField(max_length=20, required=False, allow_blank=True)
    email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    language = serializers.ChoiceField(choices=LANGUAGES, required=False, allow_blank=True)


class NewPersonIn(PersonIn):
    username = serializers.CharField(max_length=150, help_text="letters, digits and . _ -; it cannot be changed later")


class ChangedPersonIn(PersonIn):
    is_active = serializers.BooleanField(help_text="closing ends the log-in and revokes the tokens")


class NewPersonOut(PersonOut):
    first_password = serializers.CharField(read_only=True, help_text="shown here and never again")

    class Meta(PersonOut.Meta):
        fields = [*PersonOut.Meta.fields, "first_password"]
        read_only_fields = fields


class FirstPasswordOut(serializers.Serializer):
    first_password = serializers.CharField()


class MeIn(serializers.ModelSerializer):
    class Meta:
        model = Person
        fields = ["first_name", "last_name", "phone", "email", "language", "flow_unit", "length_unit", "theme"]

    language = serializers.ChoiceField(choices=LANGUAGES, required=False, allow_blank=True)


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


class People(generics.ListAPIView):

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

    @extend_schema(
        tags=["people"], parameters=[rest.words("role", "", Person.Role.values), rest.words("q", "part of a name")]
    )
    def get(self, request):
        """People of your organisation."""
        return self.list(request)

    @extend_schema(tags=["people"], request=NewPersonIn, responses={201: NewPersonOut})
    def post(self, request):
        """A new account, with a first password that is shown once."""
        said = rest.typed(NewPersonIn, request)
        person, password = services.add_person(by=request.user, organisation=request.user.organisation, **said)
        person.first_password = password
        return Response(NewPersonOut(person).data, status=status.HTTP_201_CREATED)


class OnePerson(generics.RetrieveAPIView):
    permission_classes = [permissions.IsAuthenticated, MaySeePeople]
    serializer_class = PersonOut
    queryset = Person.objects.none()

    def get_queryset(self):
        return Person.objects.visible_to(self.request.user)

    @extend_schema(tags=["people"])
    def get(self, request, pk):
        """One person of your organisation."""
        return self.retrieve(request, pk)

    @extend_schema(tags=["people"], request=ChangedPersonIn, responses=PersonOut)
    def patch(self, request, pk):
        """Change names, telephone, role, or close the account; what is not said stays."""
        someone = self.get_object()
        said = rest.typed(ChangedPersonIn, request, partial=True)
        return Response(PersonOut(services.change_person(by=request.user, person=someone, **said)).data)


class OfColleague(APIView):
    permission_classes = [permissions.IsAuthenticated, MaySeePeople]

    def colleague(self, request, pk):
        return get_object_or_404(Person.objects.visible_to(request.user), pk=pk)


class NewPassword(OfColleague):
    @extend_schema(tags=["people"], request=None, responses={201: FirstPasswordOut})
    def post(self, request, pk):
        """A new first password for someone who lost theirs; open sessions end, and it is shown once."""
        password = services.give_new_password(by=request.user, person=self.colleague(request, pk))
        return Response({"first_password": password}, status=status.HTTP_201_CREATED)


class Me(APIView):
    """Who the session or token speaks for, and what that person may do."""

    @extend_schema(responses=MeOut, tags=["people"])
    def get(self, request):
        return Response(MeOut(request.user).data)

    @extend_schema(request=MeIn, responses=MeOut, tags=["people"])
    def patch(self, request):
        """Change what everyone may change about themselves; what is not said stays."""
        said = rest.typed(MeIn, request, partial=True)
        return Response(MeOut(services.change_own(person=request.user, **said)).data)


# -- tokens ------------------------------------------------------------------------------------------------------------


class TokenOut(serializers.ModelSerializer):
    class Meta:
        model = Token
        fields = ["id", "name", "start", "made_at", "last_used_at"]
        read_only_fields = fields


class TokenIn(serializers.Serializer):
    name = serializers.CharField(max_length=80, help_text="what it is for")


class NewTokenOut(TokenOut):
    key = serializers.CharField(read_only=True, help_text="shown here and never again")

    class Meta(TokenOut.Meta):
        fields = [*TokenOut.Meta.fields, "key"]
        read_only_fields = fields


class Tokens(generics.ListAPIView):
    serializer_class = TokenOut
    queryset = Token.objects.none()
    key_order = ["-id"]

    def get_queryset(self):
        return Token.objects.of(self.request.user).valid()

    @extend_schema(tags=["people"])
    def get(self, request):
        """Your own tokens that are not revoked."""
        return self.list(request)

    @extend_schema(tags=["people"], request=TokenIn, responses={201: NewTokenOut})
    def post(self, request):
        """A new key for a program; it is shown once. Only a person who has logged in makes one, no program."""
        if isinstance(request.auth, Token):
            # A key that got into strange hands must not outlive its own revocation by one that it made.
            raise Refused("not_allowed", gettext("Log in to make a key: one key does not make another."))
        token, key = services.make_token(person=request.user, **rest.typed(TokenIn, request))
        token.key = key
        return Response(NewTokenOut(token).data, status=status.HTTP_201_CREATED)


class RevokeToken(APIView):
    @extend_schema(tags=["people"], request=None, responses={204: None})
    def delete(self, request, pk):
        """Revoke one of your own tokens: programs that use it are shut out at once."""
        token = get_object_or_404(Token.objects.of(request.user).valid(), pk=pk)
        services.revoke_token(by=request.user, token=token)
        return Response(status=status.HTTP_204_NO_CONTENT)


@extend_schema(tags=["people"])
class ColleaguesTokens(generics.ListAPIView):
    """A colleague's tokens that are not revoked."""

    permission_classes = [permissions.IsAuthenticated, MaySeePeople]
    serializer_class = TokenOut
    queryset = Token.objects.none()
    key_order = ["-id"]

    def get_queryset(self):
        people = Person.objects.visible_to(self.request.user)
        return Token.objects.of(get_object_or_404(people, pk=self.kwargs["pk"])).valid()


class RevokeColleaguesToken(OfColleague):
    @extend_schema(tags=["people"], request=None, responses={204: None})
    def delete(self, request, pk, token):
        """Revoke a colleague's token."""
        found = get_object_or_404(Token.objects.of(self.colleague(request, pk)).valid(), pk=token)
        services.revoke_token(by=request.user, token=found)
        return Response(status=status.HTTP_204_NO_CONTENT)


# -- the organisation --------------------------------------------------------------------------------------------------


class OrganisationOut(serializers.ModelSerializer):
    class Meta:
        model = Organisation
        fields = ["id", "name", "country", "is_demo", "false_alarms_per_100_unit_years", "need_l_person_day"]
        read_only_fields = fields


class OrganisationIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    country = serializers.CharField(max_length=2, allow_blank=True, help_text="two letters, ISO 3166-1")
    need_l_person_day = Figure(min_value=0, max_value=1000, help_text="where a site has no daily need of its own")


class OurOrganisation(APIView):
    permission_classes = rest.doing("people")

    @extend_schema(tags=["people"], responses=OrganisationOut)
    def get(self, request):
        """Your organisation."""
        return Response(OrganisationOut(request.user.organisation).data)

    @extend_schema(tags=["people"], request=OrganisationIn, responses=OrganisationOut)
    def patch(self, request):
        """Change its name, country and usual need; what is not said stays."""
        ours = request.user.organisation
        said = {name: getattr(ours, name) for name in ("name", "country", "need_l_person_day")}
        said |= rest.typed(OrganisationIn, request, partial=True)
        done = services.change_organisation(by=request.user, organisation=ours, **said)
        return Response(OrganisationOut(done).data)


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
