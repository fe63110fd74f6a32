"""Photos and documents of sites and installations: sent as a form with a file, fetched, withdrawn."""

from django.http import FileResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.people.access import own
from fleet.registry import services
from fleet.registry.api import shapes
from fleet.registry.api.lists import EDITS, LOGS, TAGS
from fleet.registry.models import Attachment, Installation, Site


class FileIn(serializers.Serializer):
    file = serializers.FileField(help_text="JPEG, PNG, WebP or PDF, up to 25 MB; its content says which")
    caption = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)


class Attach(APIView):
    permission_classes = LOGS
    parser_classes = [MultiPartParser]

    def attach(self, request, **place):
        made = services.attach(by=request.user, **place, **rest.typed(FileIn, request))
        return Response(shapes.AttachmentShape(made).data, status=status.HTTP_201_CREATED)


class AttachToSite(Attach):
    @extend_schema(tags=TAGS, request={"multipart/form-data": FileIn}, responses={201: shapes.AttachmentShape})
    def post(self, request, code):
        """Keep a photo or document of a site; the same file twice is kept once."""
        site = get_object_or_404(Site.objects.visible_to(request.user), code=code.replace("\0", ""))
        return self.attach(request, site=site)


class AttachToInstallation(Attach):
    @extend_schema(tags=TAGS, request={"multipart/form-data": FileIn}, responses={201: shapes.AttachmentShape})
    def post(self, request, pk):
        """Keep a photo or document of an installation; the same file twice is kept once."""
        row = get_object_or_404(Installation.objects.visible_to(request.user), pk=pk)
        return self.attach(request, installation=row)


class AttachmentFile(rest.ByMethod, APIView):
    writing = EDITS

    def row(self, request, pk):
        return get_object_or_404(own(Attachment.objects.all(), request.user), pk=pk)

    @extend_schema(tags=TAGS, responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request, pk):
        """A photo or document of a site or an installation."""
        row = self.row(request, pk)
        return FileResponse(row.file.open("rb"), as_attachment=not row.is_image, filename=row.name)

    @extend_schema(tags=TAGS, request=None, responses={204: None})
    def delete(self, request, pk):
        """Withdraw a photo or document; the history keeps that it was there."""
        services.withdraw(attachment=self.row(request, pk), by=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)
