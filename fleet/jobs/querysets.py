"""Questions about long work."""

from datetime import timedelta

from django.db.models import Q, QuerySet

LEFT_BEHIND_AFTER = timedelta(seconds=120)  # eight missed heart-beats: its worker is gone
UNHEARD_AFTER = timedelta(seconds=60)  # waiting so long: the broker lost the call, or was away
MOST_TRIES = 3


class JobQuerySet(QuerySet):
    def visible_to(self, person):
        """A person's own long work; an administrator's view takes in the whole organisation."""
        if not person.is_authenticated or not person.organisation_id:
            return self.none()
        if person.role == "administrator":
            return self.filter(Q(organisation_id=person.organisation_id) | Q(asked_by=person))
        return self.filter(asked_by=person)

    def unfinished(self):
        return self.filter(state__in=["waiting", "running"])

    def left_behind(self, now):
        """Running, but without a sign of life: the worker was killed or the machine went down."""
        return self.filter(state="running", beat_at__lt=now - LEFT_BEHIND_AFTER)

    def unheard(self, now):
        """Waiting longer than a call through the broker takes."""
        return self.filter(Q(beat_at=None) | Q(beat_at__lt=now - UNHEARD_AFTER), state="waiting").filter(
            asked_at__lt=now - UNHEARD_AFTER
        )
