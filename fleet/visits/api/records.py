"""Visits by the API: the list and records as the pages show them, and the verbs."""

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.people.models import Person
from fleet.registry.models import Installation, Site
from fleet.visits import serializers as shapes
from fleet.visits import services
from fleet.visits.models import PartType, Visit

STATES = [*Visit.State.values, "open"]


class List(generics.ListAPIView):
    """A list paged by key; `order` names the key."""

    permission_classes = rest.READS
    order = ("id",)

    @property
    def paginator(self):
        if not hasattr(self, "_paginator"):
            self._paginator = self.pagination_class()
            self._paginator.ordering = self.order
        return self._paginator


@extend_schema(
    tags=["visits"],
    parameters=[
        rest.words("state", "`open`: not closed and not called off", STATES), rest.words("kind", "", Visit.Kind.values),
        rest.words("site", "site code"), rest.words("district"), rest.words("serial"),
        rest.whole("installation"), rest.words("technician", "log-in name"), rest.day("planned_on"),
        rest.day("due_before", "to go, and due before this day"), *rest.days(),
    ],
)  # fmt: skip
class Visits(List):
    """Visits of your organisation, newest first. From and to: planned, else due, on these days."""

    serializer_class = shapes.VisitOut
    queryset = Visit.objects.none()
    order = ("-id",)

    def get_queryset(self):
        asked = rest.Asked(self.request)
        visits = Visit.objects.visible_to(self.request.user).for_lists()
        if state := asked.choice("state", STATES):
            visits = visits.open() if state == "open" else visits.filter(state=state)
        if kind := asked.choice("kind", Visit.Kind.values):
            visits = visits.filter(kind=kind)
        paths = {"site": "site__code", "district": "site__district__name", "technician": "technician__username",
                 "serial": "installation__unit__serial__iexact"}  # fmt: skip
        for name, path in paths.items():
            if found := asked.text(name, 150):
                visits = visits.filter(**{path: found})
        if installation := asked.whole("installation"):
            visits = visits.filter(installation_id=installation)
        if day := asked.day("planned_on"):
            visits = visits.filter(planned_on=day)
        if due := asked.day("due_before"):
            visits = visits.overdue(due)
        first, last = asked.days()
        if first or last:
            visits = visits.by_day()
            visits = visits.filter(day__gte=first) if first else visits
            visits = visits.filter(day__lte=last) if last else visits
        return visits


@extend_schema(tags=["visits"])
class OneVisit(generics.RetrieveAPIView):
    """One visit with its records, findings, parts, photos and spot tests."""

    permission_classes = rest.READS
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

    permission_classes = rest.READS
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


class UsePart(Verb):
    shape = shapes.PartIn

    @extend_schema(tags=["visits"], request=shapes.PartIn, responses={201: shapes.PartUseOut})
    def post(self, request, key):
        """Keep a part in and a part out."""
        typed = self.typed(request)
        part = PartType.objects.filter(organisation=request.user.organisation_id, code=typed.pop("part"))
        use = services.use_part(
            visit=self.visit(request, key), part_type=get_object_or_404(part), by=request.user, **typed
        )
        return Response(shapes.PartUseOut(use).data, status=status.HTTP_201_CREATED)


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
