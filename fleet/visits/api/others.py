"""Calls, procedures, rules, trips, findings, parts, bases and telephones by the API, as the pages show them."""

from django.http import FileResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.registry.models import Site
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.api.records import List
from fleet.visits.models import (
    Base,
    Call,
    FieldDevice,
    Finding,
    InspectionRule,
    PartType,
    Photo,
    Procedure,
    Trip,
    Visit,
)


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


@extend_schema(tags=["visits"])
class Procedures(List):
    """Procedures in use and their older versions."""

    serializer_class = shapes.ProcedureOut
    queryset = Procedure.objects.none()

    def get_queryset(self):
        return Procedure.objects.filter(organisation=self.request.user.organisation_id)


@extend_schema(tags=["visits"])
class OneProcedure(generics.RetrieveAPIView):
    """One procedure: its steps with captures, rules and cautions."""

    permission_classes = rest.READS
    serializer_class = shapes.ProcedureOut
    queryset = Procedure.objects.none()

    def get_queryset(self):
        return Procedure.objects.filter(organisation=self.request.user.organisation_id)


@extend_schema(tags=["visits"])
class Rules(List):
    """Inspection rules."""

    serializer_class = shapes.RuleOut
    queryset = InspectionRule.objects.none()

    def get_queryset(self):
        return InspectionRule.objects.filter(organisation=self.request.user.organisation_id)


@extend_schema(tags=["visits"])
class Trips(List):
    """Trips: one technician, one day, visits in order."""

    serializer_class = shapes.TripOut
    queryset = Trip.objects.none()
    order = ("-day", "-id")

    def get_queryset(self):
        return Trip.objects.visible_to(self.request.user).select_related("technician").prefetch_related("visits")


@extend_schema(tags=["visits"])
class OneTrip(generics.RetrieveAPIView):
    """One trip."""

    permission_classes = rest.READS
    serializer_class = shapes.TripOut
    queryset = Trip.objects.none()

    def get_queryset(self):
        return Trip.objects.visible_to(self.request.user).select_related("technician").prefetch_related("visits")


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


@extend_schema(tags=["visits"])
class Bases(List):
    """Where trips start and end."""

    serializer_class = shapes.BaseOut
    queryset = Base.objects.none()
    order = ("name",)

    def get_queryset(self):
        return Base.objects.filter(organisation=self.request.user.organisation_id)


@extend_schema(tags=["visits"])
class Telephones(List):
    """Telephones on which visits are packed: a technician's own, for the desk all."""

    permission_classes = rest.doing("log")
    serializer_class = shapes.TelephoneOut
    queryset = FieldDevice.objects.none()

    def get_queryset(self):
        return FieldDevice.objects.visible_to(self.request.user).select_related("person", "shut_out_by")


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
