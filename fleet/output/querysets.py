"""Questions about expected output, evaluations and shortfalls."""

from django.db.models import QuerySet

from fleet.people.access import own


class OutputQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def in_trouble(self):
        """Nothing could be computed; the reason is kept."""
        return self.exclude(trouble="")

    def computed(self):
        return self.filter(trouble="")


class DayQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def between(self, first, last):
        """From the day `first` to the day `last`, both included."""
        return self.filter(day__gte=first, day__lte=last)


class ShortfallQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def open(self):
        """A fault is likely and nobody has ended it."""
        return self.filter(state="open")

    def noted(self):
        """Less water, but not a fault: most likely less is drawn."""
        return self.filter(state="noted")

    def closed(self):
        return self.filter(state="closed")

    def alive(self):
        """Open or noted: at most one an installation."""
        return self.filter(state__in=["open", "noted"])
