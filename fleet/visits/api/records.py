"""Visits, calls, procedures, trips and findings by the API: lists and records as the pages show them, and the verbs."""

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, permissions, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people.access import may
from fleet.people.models import Person
from fleet.registry.models import Installation, Site
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.models import Call, Finding, InspectionRule, Procedure, Trip, Visit

STATES = [*Visit.State.values, "open"]


class Sees(permissions.BasePermission):
    """Whose role reads the fleet."""

    def has_permission(self, request, view):
        return may(request.user, "read_fleet")


class List(generics.ListAPIView):
    """A list paged by key; `order` names the key."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    order = ("id",)

    @property
    def paginator(self):
        if not hasattr(self, "_paginator"):
            self._paginator = self.pagination_class()
            self._paginator.ordering = self.order
        return self._paginator


def _text(name, words):
    return OpenApiParameter(name, str, description=words)


@extend_schema(
    tags=["visits"],
    parameters=[
        OpenApiParameter("state", str, enum=STATES, description="`open`: not closed and not called off"),
        OpenApiParameter("kind", str, enum=Visit.Kind.values), _text("site", "site code"),
        _text("technician", "log-in name"), OpenApiParameter("planned_on", {"type": "string", "format": "date"}),
    ],
)  # fmt: skip
class Visits(List):
    """Visits of your organisation, newest first."""

    serializer_class = shapes.VisitOut
    queryset = Visit.objects.none()
    order = ("-id",)

    def get_queryset(self):
        asked = self.request.query_params
        visits = Visit.objects.visible_to(self.request.user).select_related("site", "installation__unit", "technician")
        if asked.get("state") == "open":
            visits = visits.open()
        elif asked.get("state") in Visit.State.values:
            visits = visits.filter(state=asked["state"])
        if asked.get("kind") in Visit.Kind.values:
            visits = visits.filter(kind=asked["kind"])
        for name, path in (("site", "site__code"), ("technician", "technician__username")):
            if asked.get(name):
                visits = visits.filter(**{path: asked[name].replace("\0", "")})
        if asked.get("planned_on"):
            visits = visits.filter(planned_on=_date(asked["planned_on"]))
        return visits


def _date(text):
    from rest_framework.exceptions import ValidationError
    from rest_framework.fields import DateField

    try:
        return DateField().run_validation(text)
    except ValidationError as fault:
        raise ValidationError({"planned_on": fault.detail}) from None


@extend_schema(tags=["visits"])
class OneVisit(generics.RetrieveAPIView):
    """One visit with its records, findings, parts, photos and spot tests."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    serializer_class = shapes.WholeVisitOut
    queryset = Visit.objects.none()
    lookup_field = "key"

    def get_queryset(self):
        return (
            Visit.objects.visible_to(self.request.user)
            .select_related("site", "installation__unit", "technician")
            .prefetch_related("records__replaces", "findings__visit__site", "parts__part_type", "photos",
                              "spot_tests__spot_test")
        )  # fmt: skip


class Verb(APIView):
    """Something done to a visit: the answer is the visit as it stands then."""

    permission_classes = [permissions.IsAuthenticated]
    shape = None

    def visit(self, request, key):
        return get_object_or_404(Visit.objects.visible_to(request.user), key=key)

    def typed(self, request):
        read = self.shape(data=request.data)
        read.is_valid(raise_exception=True)
        return dict(read.validated_data)

    def shown(self, visit, code=status.HTTP_200_OK):
        fresh = Visit.objects.select_related("site", "installation__unit", "technician").get(pk=visit.pk)
        return Response(shapes.VisitOut(fresh).data, status=code)


class Propose(Verb):
    shape = shapes.ProposeIn

    @extend_schema(tags=["visits"], request=shapes.ProposeIn, responses={201: shapes.VisitOut})
    def post(self, request):
        """Put a visit on the list."""
        typed = self.typed(request)
        site = get_object_or_404(Site.objects.visible_to(request.user), code=typed.pop("site").replace("\0", ""))
        hanging = Installation.objects.hanging().filter(well__site=site).order_by("-period").first()
        visit = services.propose(site=site, installation=hanging, by=request.user, **typed)
        return self.shown(visit, status.HTTP_201_CREATED)


class Assign(Verb):
    shape = shapes.AssignIn

    @extend_schema(tags=["visits"], request=shapes.AssignIn, responses=shapes.VisitOut)
    def post(self, request, key):
        """Give the visit to a technician for a day; again to move it."""
        typed = self.typed(request)
        people = Person.objects.filter(organisation=request.user.organisation_id)
        technician = get_object_or_404(people, username=typed["technician"].replace("\0", ""))
        services.assign(
            visit=self.visit(request, key), technician=technician, on=typed["on"], by=request.user,
            expected_version=typed.get("version"),
        )  # fmt: skip
        return self.shown(self.visit(request, key))


class TakeBack(Verb):
    @extend_schema(tags=["visits"], request=None, responses=shapes.VisitOut)
    def post(self, request, key):
        """Back on the list, for nobody."""
        return self.shown(services.take_back(visit=self.visit(request, key), by=request.user))


class Cancel(Verb):
    shape = shapes.WhyIn

    @extend_schema(tags=["visits"], request=shapes.WhyIn, responses=shapes.VisitOut)
    def post(self, request, key):
        """Call the visit off, with a reason."""
        typed = self.typed(request)
        return self.shown(services.cancel(visit=self.visit(request, key), by=request.user, **typed))


class Start(Verb):
    @extend_schema(tags=["visits"], request=None, responses=shapes.VisitOut)
    def post(self, request, key):
        """The technician is there."""
        return self.shown(services.start(visit=self.visit(request, key), by=request.user))


class Record(Verb):
    shape = shapes.StepIn

    @extend_schema(tags=["visits"], request=shapes.StepIn, responses={201: shapes.RecordOut})
    def post(self, request, key):
        """Keep what was recorded at a step; spot tests in it are answered at once."""
        typed = self.typed(request)
        record, _broken = services.record_step(visit=self.visit(request, key), by=request.user, **typed)
        return Response(shapes.RecordOut(record).data, status=status.HTTP_201_CREATED)


class AddFinding(Verb):
    shape = shapes.FindingIn

    @extend_schema(tags=["visits"], request=shapes.FindingIn, responses={201: shapes.FindingOut})
    def post(self, request, key):
        """Keep a finding: five things from the lists."""
        finding = services.add_finding(visit=self.visit(request, key), by=request.user, **self.typed(request))
        return Response(shapes.FindingOut(finding).data, status=status.HTTP_201_CREATED)


class Leave(Verb):
    shape = shapes.LeaveIn

    @extend_schema(tags=["visits"], request=shapes.LeaveIn, responses=shapes.VisitOut)
    def post(self, request, key):
        """The technician leaves; the log is whole as far as they know."""
        return self.shown(services.leave(visit=self.visit(request, key), by=request.user, **self.typed(request)))


class Close(Verb):
    shape = shapes.CloseIn

    @extend_schema(tags=["visits"], request=shapes.CloseIn, responses=shapes.VisitOut)
    def post(self, request, key):
        """Close the visit: what came of it, for the shortfall and the next inspection."""
        return self.shown(services.close(visit=self.visit(request, key), by=request.user, **self.typed(request)))


@extend_schema(tags=["visits"], parameters=[OpenApiParameter("state", str, enum=Call.State.values)])
class Calls(List):
    """Calls of your organisation, newest first."""

    serializer_class = shapes.CallOut
    queryset = Call.objects.none()
    order = ("-id",)

    def get_queryset(self):
        calls = Call.objects.visible_to(self.request.user).select_related("site")
        state = self.request.query_params.get("state")
        return calls.filter(state=state) if state in Call.State.values else calls

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

    permission_classes = [permissions.IsAuthenticated, Sees]
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

    permission_classes = [permissions.IsAuthenticated, Sees]
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

    permission_classes = [permissions.IsAuthenticated, Sees]
    serializer_class = shapes.TripOut
    queryset = Trip.objects.none()

    def get_queryset(self):
        return Trip.objects.visible_to(self.request.user).select_related("technician").prefetch_related("visits")


@extend_schema(tags=["visits"], parameters=[_text("cause", "one cause only"), _text("site", "site code")])
class Findings(List):
    """What was found, newest first; taken back ones say so."""

    serializer_class = shapes.FindingOut
    queryset = Finding.objects.none()
    order = ("-id",)

    def get_queryset(self):
        found = Finding.objects.visible_to(self.request.user).select_related("visit__site")
        asked = self.request.query_params
        if asked.get("cause"):
            found = found.filter(cause=asked["cause"].replace("\0", ""))
        if asked.get("site"):
            found = found.filter(visit__site__code=asked["site"].replace("\0", ""))
        return found


@extend_schema(tags=["visits"])
class OneFinding(generics.RetrieveAPIView):
    """One finding."""

    permission_classes = [permissions.IsAuthenticated, Sees]
    serializer_class = shapes.FindingOut
    queryset = Finding.objects.none()

    def get_queryset(self):
        return Finding.objects.visible_to(self.request.user).select_related("visit__site")
