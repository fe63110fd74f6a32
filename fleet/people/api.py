"""People by the API: who I am, and, for administrators, who my colleagues are."""

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema
from rest_framework import generics, permissions, serializers
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people.access import MAY, may
from fleet.people.models import Person


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


@extend_schema(tags=["people"])
class People(generics.ListAPIView):
    """People of your organisation."""

    permission_classes = [permissions.IsAuthenticated, MaySeePeople]
    serializer_class = PersonOut
    queryset = Person.objects.none()

    def get_queryset(self):
        return Person.objects.visible_to(self.request.user)


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
