"""Procedures, inspection rules, bases, trips and telephones by the API: shown and changed as on the pages."""

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.people.access import own
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.api.records import List
from fleet.visits.models import Base, FieldDevice, InspectionRule, Procedure, Trip, Visit

TAGS = ["visits"]
CHANGES_PROCEDURES = rest.doing("procedures")
ASSIGNS = rest.doing("assign")
LOGS = rest.doing("log")


class One(rest.ByMethod, generics.RetrieveAPIView):
    """One row of the person's own organisation."""

    def get_queryset(self):
        return own(self.queryset.model.objects.all(), self.request.user)


# -- procedures and rules ----------------------------------------------------------------------------------------------


@extend_schema(tags=TAGS)
class Procedures(List):
    """Procedures in use and their older versions."""

    serializer_class = shapes.ProcedureOut
    queryset = Procedure.objects.none()

    def get_queryset(self):
        return own(Procedure.objects.all(), self.request.user)


class OneProcedure(One):
    writing = CHANGES_PROCEDURES
    serializer_class = shapes.ProcedureOut
    queryset = Procedure.objects.none()

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One procedure: its steps with captures, rules and cautions."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=shapes.ProcedureIn, responses={201: shapes.ProcedureOut})
    def put(self, request, pk):
        """Put a new version in use, whole; visits that were made with the old one keep it.

        The answer is the new version. Where a step can hurt someone, name its cautions: `cautions` in the step.
        """
        procedure, said = self.get_object(), rest.typed(shapes.ProcedureIn, request)
        made = services.change_procedure(procedure=procedure, by=request.user, **said)
        return Response(shapes.ProcedureOut(made).data, status=status.HTTP_201_CREATED)


class BringBack(APIView):
    permission_classes = CHANGES_PROCEDURES

    @extend_schema(tags=TAGS, request=None, responses=shapes.ProcedureOut)
    def post(self, request, pk):
        """Put an older version in use again."""
        procedure = get_object_or_404(own(Procedure.objects.all(), request.user), pk=pk)
        return Response(shapes.ProcedureOut(services.bring_back(procedure=procedure, by=request.user)).data)


class Rules(rest.ByMethod, List):
    writing = CHANGES_PROCEDURES
    serializer_class = shapes.RuleOut
    queryset = InspectionRule.objects.none()

    def get_queryset(self):
        return own(InspectionRule.objects.all(), self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request):
        """Inspection rules."""
        return self.list(request)

    @extend_schema(tags=TAGS, request=shapes.RuleIn, responses={201: shapes.RuleOut})
    def post(self, request):
        """A new rule by which inspections fall due."""
        made = services.change_rule(by=request.user, **rest.typed(shapes.RuleIn, request))
        return Response(shapes.RuleOut(made).data, status=status.HTTP_201_CREATED)


class OneRule(One):
    writing = CHANGES_PROCEDURES
    serializer_class = shapes.RuleOut
    queryset = InspectionRule.objects.none()

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One inspection rule."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=shapes.RuleIn, responses=shapes.RuleOut)
    def patch(self, request, pk):
        """Change a rule, or switch it off with `active`; what is not said stays."""
        rule = self.get_object()
        said = {name: getattr(rule, name) for name in ("name", "basis", "amount", "active")}
        said |= rest.typed(shapes.RuleIn, request, partial=True)
        return Response(shapes.RuleOut(services.change_rule(rule=rule, by=request.user, **said)).data)


# -- trips and bases ---------------------------------------------------------------------------------------------------


def _trips(person):
    """As the pages: a technician's own, for others those of the organisation."""
    trips = Trip.objects.visible_to(person).select_related("technician").prefetch_related("visits")
    return trips.filter(technician=person) if person.role == "technician" else trips


@extend_schema(tags=TAGS)
class Trips(List):
    """Trips: one technician, one day, visits in order."""

    serializer_class = shapes.TripOut
    queryset = Trip.objects.none()
    order = ("-day", "-id")

    def get_queryset(self):
        return _trips(self.request.user)


class OneTrip(rest.ByMethod, generics.RetrieveAPIView):
    writing = LOGS
    serializer_class = shapes.TripOut
    queryset = Trip.objects.none()

    def get_queryset(self):
        return _trips(self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One trip."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, request=shapes.TripIn, responses=shapes.TripOut)
    def patch(self, request, pk):
        """Kilometres driven and a note; what is not said stays."""
        trip = self.get_object()
        said = {"km": trip.km, "notes": trip.notes} | rest.typed(shapes.TripIn, request, partial=True)
        services.note_trip(trip=trip, by=request.user, **said)
        return Response(shapes.TripOut(self.get_object()).data)


class OfTrip(APIView):
    permission_classes = ASSIGNS

    def trip(self, request, pk):
        return get_object_or_404(_trips(request.user), pk=pk)


class PlanOrder(OfTrip):
    @extend_schema(tags=TAGS, request=None, responses=shapes.TripOut)
    def post(self, request, pk):
        """The day's visits in the shortest order; danger first."""
        services.plan_order(trip=self.trip(request, pk), by=request.user)
        return Response(shapes.TripOut(self.trip(request, pk)).data)


class Move(OfTrip):
    @extend_schema(tags=TAGS, request=shapes.MoveIn, responses=shapes.TripOut)
    def post(self, request, pk):
        """One visit a place up or down in the day's order."""
        trip, said = self.trip(request, pk), rest.typed(shapes.MoveIn, request)
        visit = get_object_or_404(Visit.objects.visible_to(request.user), trip=trip, key=said["visit"])
        services.move_in_trip(visit=visit, up=said["way"] == "up", by=request.user)
        return Response(shapes.TripOut(self.trip(request, pk)).data)


class Bases(rest.ByMethod, List):
    writing = ASSIGNS
    serializer_class = shapes.BaseOut
    queryset = Base.objects.none()
    order = ("name",)

    def get_queryset(self):
        return own(Base.objects.all(), self.request.user)

    @extend_schema(tags=TAGS)
    def get(self, request):
        """Where trips start and end."""
        return self.list(request)

    @extend_schema(tags=TAGS, request=shapes.BaseIn, responses={201: shapes.BaseOut})
    def post(self, request):
        """A new base; trips to come that have none start there."""
        made = services.add_base(by=request.user, **rest.typed(shapes.BaseIn, request))
        return Response(shapes.BaseOut(made).data, status=status.HTTP_201_CREATED)


# -- telephones --------------------------------------------------------------------------------------------------------


@extend_schema(tags=TAGS)
class Telephones(List):
    """Telephones on which visits are packed: a technician's own, for the desk all."""

    permission_classes = LOGS
    serializer_class = shapes.TelephoneOut
    queryset = FieldDevice.objects.none()

    def get_queryset(self):
        return FieldDevice.objects.visible_to(self.request.user).select_related("person", "shut_out_by")


class OfTelephone(APIView):
    permission_classes = LOGS

    def telephone(self, request, pk):
        rows = FieldDevice.objects.visible_to(request.user).select_related("person", "shut_out_by")
        return get_object_or_404(rows, pk=pk)


class ShutOut(OfTelephone):
    @extend_schema(tags=TAGS, request=None, responses=shapes.TelephoneOut)
    def post(self, request, pk):
        """Shut a lost telephone out: it signs in no more and wipes what is packed on it when it next asks."""
        services.shut_out(device=self.telephone(request, pk), by=request.user)
        return Response(shapes.TelephoneOut(self.telephone(request, pk)).data)


class LetIn(OfTelephone):
    permission_classes = ASSIGNS

    @extend_schema(tags=TAGS, request=None, responses=shapes.TelephoneOut)
    def post(self, request, pk):
        """Let a telephone in again that was found."""
        services.let_in(device=self.telephone(request, pk), by=request.user)
        return Response(shapes.TelephoneOut(self.telephone(request, pk)).data)
