"""Calls, findings, parts, photos and what a visit changed in the register, by the API as on the pages."""

from django.http import FileResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.registry import services as registry
from fleet.registry.models import Site
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.api.records import List
from fleet.visits.models import Call, Finding, PartType, Photo, Visit


@extend_schema(
    tags=["visits"], parameters=[rest.words("state", "", Call.State.values), rest.words("site", "site code")]
)
class Calls(List):
    """Calls of your organisation, newest first."""

    serializer_class = shapes.CallOut
    queryset = Call.objects.none()
    order = ("-id",)

    def get_queryset(self):
        asked = rest.Asked(self.request)
        calls = Call.objects.visible_to(self.request.user).select_related("site")
        if state := asked.choice("state", Call.State.values):
            calls = calls.filter(state=state)
        site = asked.text("site", 24)
        return calls.filter(site__code=site) if site else calls

    @extend_schema(tags=["visits"], request=shapes.CallIn, responses={201: shapes.CallOut})
    def post(self, request):
        """Take a call."""
        read = shapes.CallIn(data=request.data)
        read.is_valid(raise_exception=True)
        typed = dict(read.validated_data)
        site = get_object_or_404(Site.objects.visible_to(request.user), code=typed.pop("site").replace("\0", ""))
        call = services.take_call(site=site, by=request.user, **typed)
        return Response(shapes.CallOut(call).data, status=status.HTTP_201_CREATED)


@extend_schema(tags=["visits"])
class OneCall(generics.RetrieveAPIView):
    """One call."""

    permission_classes = rest.READS
    serializer_class = shapes.CallOut
    queryset = Call.objects.none()

    def get_queryset(self):
        return Call.objects.visible_to(self.request.user).select_related("site")


@extend_schema(
    tags=["visits"],
    parameters=[rest.words("cause", "one cause only"), rest.words("site", "site code"), rest.words("serial"),
                rest.whole("installation"), rest.flag("standing", "not taken back"), *rest.days()],
)  # fmt: skip
class Findings(List):
    """What was found, newest first; taken back ones say so."""

    serializer_class = shapes.FindingOut
    queryset = Finding.objects.none()
    order = ("-id",)

    def get_queryset(self):
        asked = rest.Asked(self.request)
        found = Finding.objects.visible_to(self.request.user).select_related("visit__site")
        paths = {"cause": "cause", "site": "visit__site__code", "serial": "visit__installation__unit__serial__iexact"}
        for name, path in paths.items():
            if words := asked.text(name, 40):
                found = found.filter(**{path: words})
        if installation := asked.whole("installation"):
            found = found.filter(visit__installation_id=installation)
        standing = asked.flag("standing")
        if standing is not None:
            found = found.filter(taken_back_at__isnull=standing)
        first, last = asked.days()
        found = found.filter(noted_at__date__gte=first) if first else found
        return found.filter(noted_at__date__lte=last) if last else found


@extend_schema(tags=["visits"])
class OneFinding(generics.RetrieveAPIView):
    """One finding."""

    permission_classes = rest.READS
    serializer_class = shapes.FindingOut
    queryset = Finding.objects.none()

    def get_queryset(self):
        return Finding.objects.visible_to(self.request.user).select_related("visit__site")


@extend_schema(tags=["visits"], request=shapes.WhyIn, responses=shapes.FindingOut)
class TakeBackFinding(APIView):
    permission_classes = rest.READS

    def post(self, request, pk):
        """Take a finding back, with the reason; it stays readable and counts no more."""
        finding = get_object_or_404(Finding.objects.visible_to(request.user), pk=pk)
        done = services.take_back_finding(finding=finding, by=request.user, **rest.typed(shapes.WhyIn, request))
        return Response(shapes.FindingOut(done).data)


class SettleCall(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=["visits"], request=shapes.SettleCallIn, responses=shapes.CallOut)
    def post(self, request, pk):
        """Settle a call: solved by telephone, closed, or a visit is made of it."""
        call = get_object_or_404(Call.objects.visible_to(request.user).select_related("site"), pk=pk)
        said = rest.typed(shapes.SettleCallIn, request)
        if said["how"] == "by_phone":
            services.solve_by_phone(call=call, by=request.user, call_back_on=said["call_back_on"])
        elif said["how"] == "close":
            services.close_call(call=call, by=request.user)
        else:
            services.visit_for_call(call=call, by=request.user, kind=said["kind"])
        return Response(shapes.CallOut(Call.objects.select_related("site").get(pk=pk)).data)


@extend_schema(tags=["visits"])
class Parts(List):
    """Parts that cars carry, with the causes for which they are taken along."""

    serializer_class = shapes.PartTypeOut
    queryset = PartType.objects.none()
    order = ("name",)

    def get_queryset(self):
        return PartType.objects.filter(organisation=self.request.user.organisation_id)


@extend_schema(tags=["visits"])
class OnePart(generics.RetrieveAPIView):
    """One part."""

    permission_classes = rest.READS
    serializer_class = shapes.PartTypeOut
    queryset = PartType.objects.none()

    def get_queryset(self):
        return PartType.objects.filter(organisation=self.request.user.organisation_id)


class AddPhoto(APIView):
    permission_classes = rest.doing("log")
    parser_classes = [MultiPartParser]

    @extend_schema(
        tags=["visits"], request={"multipart/form-data": shapes.PhotoIn}, responses={201: shapes.PhotoOut}
    )
    def post(self, request, key):
        """Keep a photo of a visit, as a form with a file; the same key sent twice is one photo.

        It is made smaller and turned upright, and what a telephone hides in it is left behind.
        """
        visit = get_object_or_404(Visit.objects.loggable_by(request.user), key=key)
        said = rest.typed(shapes.PhotoIn, request)
        data = services.photo_bytes(said.pop("photo"))
        photo = services.keep_photo(visit=visit, data=data, by=request.user, **said)
        return Response(shapes.PhotoOut(photo).data, status=status.HTTP_201_CREATED)


class PhotoFile(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=["visits"], responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    def get(self, request, key):
        """A photo of a visit."""
        found = get_object_or_404(Photo.objects.filter(visit__in=Visit.objects.visible_to(request.user)), key=key)
        answer = FileResponse(found.file.open("rb"), content_type="image/jpeg")
        answer["Cache-Control"] = "private, max-age=604800, immutable"
        answer["X-Content-Type-Options"] = "nosniff"
        return answer


class Register(APIView):
    """What a visit changed about which pump hangs where."""

    permission_classes = rest.doing("log")

    def visit(self, request, key):
        visits = Visit.objects.loggable_by(request.user).select_related(
            "site", "organisation", "installation__unit__pump_type", "installation__well__site", "shortfall"
        )
        return get_object_or_404(visits, key=key)

    @extend_schema(tags=["visits"], responses=shapes.OwedOut)
    def get(self, request, key):
        """The change that the log tells of and the register does not know yet; `kind` is empty where there is none."""
        change = services.owed(self.visit(request, key))
        return Response(shapes.OwedOut(change or {"kind": ""}).data)

    @extend_schema(tags=["visits"], request=shapes.EnterIn, responses=shapes.EnteredOut)
    def post(self, request, key):
        """Enter it: an exchange, a move or an end, as `get` tells. The answer names what hangs there now."""
        visit, said = self.visit(request, key), rest.typed(shapes.EnterIn, request)
        site, name = said.pop("site", ""), said.pop("well", None)
        if site:
            said["well"] = registry.find_well(organisation=visit.organisation_id, site=site, name=name)
        made = services.enter_in_register(visit=visit, by=request.user, **said)
        return Response({"installation": made and made.pk})
