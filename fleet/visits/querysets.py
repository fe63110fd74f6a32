"""Questions about visits, calls, trips and findings, named in the trade's words."""

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from fleet.people.access import own

OPEN = ("proposed", "assigned", "under_way", "logged")
TO_GO = ("proposed", "assigned")


class VisitQuerySet(QuerySet):
    def visible_to(self, person):
        """All of the organisation's visits; a technician reads them too, to know what was done before."""
        return own(self, person)

    def loggable_by(self, person):
        """Visits whose log this person may write: their own; whoever assigns may type in a paper sheet for anyone."""
        visits = own(self, person)
        role = getattr(person, "role", "")
        return visits if role in {"coordinator", "administrator"} else visits.filter(technician=person)

    def open(self):
        """Not closed and not called off."""
        return self.filter(state__in=OPEN)

    def finished(self):
        return self.filter(state="closed")

    def waiting_for_someone(self):
        """Proposed; nobody goes yet."""
        return self.filter(state="proposed")

    def of_day(self, technician, day):
        return self.filter(technician=technician, planned_on=day).exclude(state="cancelled")

    def overdue(self, on):
        """Still to go, and the day it fell due has passed."""
        return self.filter(state__in=TO_GO, due_on__lt=on)

    def not_home(self, on):
        """Planned before this day and assigned or begun, yet no log has come."""
        return self.filter(state__in=["assigned", "under_way"], planned_on__lt=on)

    def by_day(self):
        """With `day`: planned, else due."""
        return self.annotate(day=Coalesce("planned_on", "due_on"))

    def for_lists(self):
        return self.select_related("site__district", "installation__unit__pump_type", "technician")


class CallQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def to_ring_back(self, on):
        """Solved by telephone, and the day to ring back has come."""
        return self.filter(state="by_phone", call_back_on__lte=on)

    def open(self):
        return self.filter(state="open")


class TripQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)


class FindingQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "visit__organisation")

    def standing(self):
        """Not taken back."""
        return self.filter(taken_back_at__isnull=True)


class FieldPieceQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def to_settle(self):
        """A person must look at both sides."""
        return self.filter(state="to_settle")

    def moved_meanwhile(self):
        """Arrivals at visits that the office had moved to another day, at which no coordinator has looked yet."""
        return self.filter(kind="start", code="moved_meanwhile", settled_at=None)


class FieldDeviceQuerySet(QuerySet):
    def visible_to(self, person):
        """A technician sees their own telephones; whoever assigns sees all of the organisation."""
        devices = own(self, person, "person__organisation")
        role = getattr(person, "role", "")
        return devices if role in {"coordinator", "administrator"} else devices.filter(person=person)

    def let_in(self):
        return self.filter(shut_out_at__isnull=True)
