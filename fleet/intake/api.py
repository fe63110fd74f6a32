"""Tables for programs: what can be brought in, and what became of each file that was."""

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema
from rest_framework import generics, permissions, serializers
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.intake import tables
from fleet.intake.models import Fault, Upload

TAGS = ["tables"]


class BringsTables(permissions.BasePermission):
    """Whose role may bring any table in."""

    message = gettext_lazy("Your role does not bring tables in.")

    def has_permission(self, request, view):
        return request.user.is_authenticated and bool(tables.for_person(request.user))


class ColumnShape(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField()
    required = serializers.BooleanField()
    choices = serializers.ListField(child=serializers.CharField())
    example = serializers.CharField()
    note = serializers.CharField()


class TableShape(serializers.Serializer):
    """One table that can be brought in, with its columns."""

    name = serializers.CharField()
    title = serializers.CharField()
    about = serializers.CharField()
    columns = ColumnShape(many=True)


def _column(column):
    return {
        "name": column.name, "title": str(column.title), "unit": column.wanted_unit, "required": column.required,
        "choices": list(getattr(column.read, "choices", None) or []), "example": str(column.shown_example),
        "note": str(column.note),
    }  # fmt: skip


class Tables(APIView):
    permission_classes = [permissions.IsAuthenticated, BringsTables]

    @extend_schema(tags=TAGS, responses=TableShape(many=True), operation_id="tables")
    def get(self, request):
        """The tables you may bring in, with their columns; readings go straight in, see `readings/`."""
        return Response([
            {"name": table.name, "title": str(table.title), "about": str(table.about),
             "columns": [_column(column) for column in table.columns]}
            for table in tables.for_person(request.user)
        ])  # fmt: skip


class UploadShape(serializers.ModelSerializer):
    by = serializers.CharField(source="by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = Upload
        fields = [
            "id", "table", "name", "size", "state", "heads", "mapping", "result", "trouble", "by", "at", "kept_at",
            "job",
        ]  # fmt: skip
        read_only_fields = fields


def _uploads(request):
    own = [table.name for table in tables.for_person(request.user)]
    return Upload.objects.visible_to(request.user).filter(table__in=own).select_related("by")


@extend_schema(tags=TAGS)
class Uploads(generics.ListAPIView):
    """Files that were brought in by your organisation, newest first."""

    permission_classes = [permissions.IsAuthenticated, BringsTables]
    serializer_class = UploadShape
    queryset = Upload.objects.none()
    key_order = ["-at"]

    def get_queryset(self):
        return _uploads(self.request)


@extend_schema(tags=TAGS)
class OneUpload(generics.RetrieveAPIView):
    """One file that was brought in."""

    permission_classes = [permissions.IsAuthenticated, BringsTables]
    serializer_class = UploadShape
    queryset = Upload.objects.none()

    def get_queryset(self):
        return _uploads(self.request)


class FaultShape(serializers.ModelSerializer):
    class Meta:
        model = Fault
        fields = ["line", "column", "found", "sentence", "warning"]
        read_only_fields = fields


@extend_schema(tags=TAGS)
class Faults(generics.ListAPIView):
    """Every fault of a file by line and column, then its warnings."""

    permission_classes = [permissions.IsAuthenticated, BringsTables]
    serializer_class = FaultShape
    queryset = Fault.objects.none()
    key_order = ["warning", "line"]

    def get_queryset(self):
        return get_object_or_404(_uploads(self.request), pk=self.kwargs["pk"]).faults.all()
