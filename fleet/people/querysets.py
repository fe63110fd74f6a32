"""Questions about people and tokens."""

from django.contrib.auth.models import UserManager
from django.db.models import QuerySet


class PersonQuerySet(QuerySet):
    def visible_to(self, person):
        """Colleagues: people of the same organisation."""
        if not person.is_authenticated or not person.organisation_id:
            return self.none()
        return self.filter(organisation=person.organisation_id)

    def at_work(self):
        """Accounts that are open."""
        return self.filter(is_active=True)

    def technicians(self):
        """Whoever may be sent to a well: technicians whose account is open."""
        return self.at_work().filter(role="technician")


class PersonManager(UserManager.from_queryset(PersonQuerySet)):
    use_in_migrations = False


class TokenQuerySet(QuerySet):
    def of(self, person):
        return self.filter(person=person)

    def valid(self):
        return self.filter(revoked_at=None)
