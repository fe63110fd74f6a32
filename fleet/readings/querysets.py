"""Questions about readings, in the trade's words."""

from datetime import timedelta

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, When

from fleet.people.access import own

ONE_ROUND = timedelta(days=7)  # readings whose papers were exchanged on one round lie no further apart

USED = (0, 2)  # Standing.GOOD and Standing.CORRECTED: models import this module, so the numbers stand here


class ReadingQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def used(self):
        """Those that count: good as they came, or corrected by a person."""
        return self.filter(standing__in=USED)

    def in_doubt(self):
        """Those that wait for a person."""
        return self.filter(standing=1)

    def unused(self):
        """Those in doubt or set aside."""
        return self.exclude(standing__in=USED)

    def of(self, installation):
        return self.filter(installation=installation)

    def before(self, moment):
        return self.filter(at__lt=moment)


class DayQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def of(self, installation):
        return self.filter(installation=installation)

    def between(self, first, last):
        """From the day `first` to the day `last`, both included."""
        return self.filter(day__gte=first, day__lte=last)


class SlipQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def waiting(self):
        """Not settled by a person yet."""
        return self.filter(state="open")

    def settled(self):
        return self.filter(~Q(state="open"))

    def settled_of(self, *, readings=None, tests=None, days=None):
        """Settled figures of these meter readings, spot tests or ((installation, first, last)) daily records, with who
        settled them; the newest decision first."""
        chosen = Q(pk__in=[])
        if readings is not None:
            chosen |= Q(meter_reading__in=[row.pk for row in readings])
        if tests is not None:
            chosen |= Q(spot_test__in=[row.pk for row in tests])
        if days is not None:
            installation, first, last = days
            chosen |= Q(installation=installation, subject__in=("day", "noon"), at__range=(first, last))
        return self.settled().filter(chosen, settled_by__isnull=False).select_related(
            "settled_by", "other__unit", "installation__unit"
        ).order_by("-settled_at", "pk")  # fmt: skip

    def other_half(self, slip):
        """The row that stands for the other reading of an exchange, whatever has become of it."""
        span = (slip.at - ONE_ROUND, slip.at + ONE_ROUND)
        return self.filter(
            installation=slip.other_id, other=slip.installation_id, subject=slip.subject, kind="swapped_readings",
            at__range=span,
        )  # fmt: skip

    def of_one_record(self, slip):
        """The other figures of the same spot test or noon record; a total or a volume stands alone."""
        if slip.subject not in ("noon", "spot"):
            return self.none()
        same = {"spot_test": slip.spot_test_id} if slip.spot_test_id else {"at": slip.at}
        return self.filter(installation=slip.installation_id, subject=slip.subject, **same).exclude(pk=slip.pk)

    def with_other_half(self):
        """Each with `other_waits`: whether the other reading of an exchange, or the other figure of volts and amps in
        each other's place, still waits as well."""
        beside = self.model.objects.waiting().filter(
            spot_test=OuterRef("spot_test"), kind="volts_for_amps"
        ).exclude(pk=OuterRef("pk"))  # fmt: skip
        other = self.model.objects.waiting().filter(
            installation=OuterRef("other"), other=OuterRef("installation"), subject=OuterRef("subject"),
            kind="swapped_readings", at__gte=OuterRef("at") - ONE_ROUND, at__lte=OuterRef("at") + ONE_ROUND,
        )  # fmt: skip
        return self.annotate(
            other_waits=Case(When(kind="volts_for_amps", then=Exists(beside)), default=Exists(other))
        )


class DecisionQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def standing(self):
        """Not taken back."""
        return self.filter(taken_back_at=None)


class DroppedQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person, "installation__organisation")

    def of(self, installation):
        return self.filter(installation=installation)

    def still_out(self):
        """Not put back."""
        return self.filter(put_back_at=None)
