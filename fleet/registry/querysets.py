"""Questions about places, units and installations, named in the trade's words."""

from django.db.models import QuerySet

from fleet.people.access import own


class SiteQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)


class UnitQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)


class InstallationQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def hanging(self):
        """Hanging in its well now."""
        return self.filter(period__upper_inf=True)

    def hanging_on(self, moment):
        """Hanging at that moment."""
        return self.filter(period__contains=moment)

    def inspection_overdue(self, on):
        """Still hanging, and the day its next inspection falls due has passed."""
        return self.hanging().filter(next_inspection_on__lt=on)
