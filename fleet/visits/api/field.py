"""What the offline log speaks with: the packed bundle, the pieces that come home, the photos in parts.

Versioned by `format` in bundle and pieces. The server reads every older format, so that an app that was never updated
can still send what it holds; what a newer app wrote is kept for a person.
"""

import time
from dataclasses import asdict

from django.core.cache import cache
from django.middleware.csrf import get_token
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import permissions, serializers
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import APIException
from rest_framework.parsers import BaseParser
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from fleet.people.access import may
from fleet.people.tokens import TokenAuthentication
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.models import FieldDevice
from fleet.visits.services.field_devices import DeviceAuthentication


class TelephoneScheme(OpenApiAuthenticationExtension):
    """Tells the API's description how a telephone signs in; found by its base class."""

    target_class = DeviceAuthentication
    name = "telephone"

    def get_security_definition(self, auto_schema):
        return {
            "type": "apiKey", "in": "header", "name": "Authorization",
            "description": "Send `Authorization: Telephone KEY`; the key is made when a telephone signs in.",
        }  # fmt: skip


MOST_QUEUED = 30  # requests that may wait in a web process: half a second or so of work
DEVICE = OpenApiParameter("device", OpenApiTypes.UUID, required=True, description="key made on the telephone")


class Logs(permissions.BasePermission):
    """Whose role logs visits."""

    def has_permission(self, request, view):
        return may(request.user, "log")


class FieldRate(BaseThrottle):
    """So many requests a minute for a person: a photo of a megabyte is some twenty. Counted, not listed: cheap."""

    most = 1200

    def allow_request(self, request, view):
        minute = int(time.time() // 60)
        key = f"field-rate:{request.user.pk}:{minute}"
        cache.add(key, 0, timeout=120)
        try:
            return cache.incr(key) <= self.most
        except ValueError:  # thrown out of a full cache between the two
            return True

    def wait(self):
        return 60 - time.time() % 60


class Busy(APIException):
    """So many wait already that a telephone does better to come back: it loses nothing by it."""

    status_code = 503
    default_code = "busy"

    def __init__(self, queued):
        super().__init__(_("Many telephones send just now. This one tries again by itself in a moment."))
        self.wait = 1 + queued // MOST_QUEUED


class Field(APIView):
    authentication_classes = [DeviceAuthentication, SessionAuthentication, TokenAuthentication]
    permission_classes = [permissions.IsAuthenticated, Logs]
    throttle_classes = [FieldRate]

    def initial(self, request, *args, **kwargs):
        queued = request.META.get("HTTP_X_QUEUED", "")  # told by the web server itself, see deploy/web.py
        if queued.isdecimal() and int(queued) > MOST_QUEUED:
            raise Busy(int(queued))
        super().initial(request, *args, **kwargs)
        # A telephone brings no session by which the language would be known already.
        if request.user.is_authenticated and request.user.language:
            translation.activate(request.user.language)

    def finalize_response(self, request, response, *args, **kwargs):
        response = super().finalize_response(request, response, *args, **kwargs)
        # The telephone learns from it how wrong its own clock is.
        response["X-Server-Time"] = f"{timezone.now().timestamp():.3f}"
        response.setdefault("Cache-Control", "no-store")
        if response.status_code == Busy.status_code:
            response._has_been_logged = True  # no fault of anybody's, and a rush would fill the log
        return response


class Who(Field):
    @extend_schema(
        tags=["field"],
        responses=inline_serializer("WhoOut", {"name": serializers.CharField(), "csrf": serializers.CharField()}),
    )
    def get(self, request):
        """Who is logged in on this telephone, before it signs in with a key of its own."""
        return Response({"name": str(request.user), "csrf": get_token(request)})


class Devices(Field):
    @extend_schema(
        tags=["field"], request=shapes.DeviceIn,
        responses={201: inline_serializer("DeviceOut", {"token": serializers.CharField()})},
    )  # fmt: skip
    def post(self, request):
        """Sign this telephone in. The key is shown once and sent as `Authorization: Telephone KEY`."""
        asked = shapes.DeviceIn(data=request.data)
        asked.is_valid(raise_exception=True)
        _device, token = services.register(person=request.user, **asked.validated_data)
        return Response({"token": token}, status=201)


def _device(request, asked):
    read = serializers.UUIDField().run_validation(asked.get("device"))
    return services.device_of(
        by=request.user, key=read, name=str(asked.get("name", ""))[:120], known=_signed_in(request),
        app_version=str(asked.get("app", "")) or getattr(_signed_in(request), "app_version", ""),
    )  # fmt: skip


def _signed_in(request):
    """The telephone that signed in with a key of its own, or None."""
    return request.auth if isinstance(request.auth, FieldDevice) else None


class Bundle(Field):
    @extend_schema(
        tags=["field"],
        parameters=[DEVICE, OpenApiParameter("days", int, description="how many days ahead, up to 14")],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request):
        """Your assigned visits of the coming days with all that a telephone needs without signal."""
        try:
            device = _device(request, request.query_params)
            days = serializers.IntegerField(min_value=0, max_value=14).run_validation(
                request.query_params.get("days", 3)
            )
        except serializers.ValidationError as fault:
            raise serializers.ValidationError({"device or days": fault.detail}) from None
        return Response(services.bundle(by=request.user, device=device, days=days))


class Pieces(Field):
    @extend_schema(
        tags=["field"], request=shapes.PiecesIn,
        responses=inline_serializer("PiecesOut", {"outcomes": shapes.OutcomeOut(many=True)}),
    )  # fmt: skip
    def post(self, request):
        """Pieces of logs, in any order, sent twice without harm. States: kept, held, to_settle, refused."""
        read = shapes.PiecesIn(data=request.data)
        read.is_valid(raise_exception=True)
        typed = read.validated_data
        device = services.device_of(
            by=request.user, key=typed["device"], name=typed["name"], app_version=typed["app"],
            known=_signed_in(request), waiting=typed["waiting"],
        )
        sent = {"by": request.user, "device": device, "pieces": typed["pieces"]}
        if typed["later"]:
            outcomes = services.receive_later(**sent, asked=typed["asked"])
        else:
            outcomes = services.receive(**sent)
        return Response({"outcomes": [asdict(outcome) for outcome in outcomes]})


class Bytes(BaseParser):
    media_type = "application/octet-stream"

    def parse(self, stream, media_type=None, parser_context=None):
        return stream.read()


PLACES = inline_serializer(
    "PlacesOut", {"here": serializers.ListField(child=serializers.ListField(child=serializers.IntegerField()))}
)


class PhotoPart(Field):
    parser_classes = [Bytes]

    @extend_schema(
        tags=["field"], responses=PLACES,
        parameters=[DEVICE, OpenApiParameter("total", int, required=True, description="bytes of the whole photo")],
    )  # fmt: skip
    def get(self, request, key):
        """Which parts of the photo are here already: [[start, end), …]."""
        _where, total = self._numbers(request)
        return Response({"here": services.places_of(key, total)})

    @extend_schema(
        tags=["field"], request={"application/octet-stream": OpenApiTypes.BINARY}, responses=PLACES,
        parameters=[
            DEVICE, OpenApiParameter("place", int, required=True, description="offset of the first byte"),
            OpenApiParameter("total", int, required=True, description="bytes of the whole photo"),
        ],
    )  # fmt: skip
    def put(self, request, key):
        """Up to 256 kB of a photo; the same part twice is one."""
        place, total = self._numbers(request)
        _device(request, request.query_params)
        data = request.data if isinstance(request.data, bytes) else b""
        here = services.keep_chunk(by=request.user, photo_key=key, place=place, data=data, total=total,
                                  later="later" in request.query_params)  # fmt: skip
        return Response({"here": here})

    def _numbers(self, request):
        asked = request.query_params
        number = serializers.IntegerField(min_value=0, max_value=2**31 - 1)
        faults, found = {}, []
        for name in ("place", "total"):
            try:
                found.append(number.run_validation(asked.get(name, 0 if name == "place" else None)))
            except serializers.ValidationError as fault:
                faults[name] = fault.detail
        if faults:
            raise serializers.ValidationError(faults)
        return found
