"""Who is signed in."""

from django.contrib.auth.backends import ModelBackend

from fleet.people.models import Person


class PersonBackend(ModelBackend):
    """Passwords as usual; the person comes with the organisation, which every page names: one question, not two."""

    def get_user(self, user_id):
        try:
            person = Person.objects.select_related("organisation").get(pk=user_id)
        except Person.DoesNotExist:
            return None
        return person if self.user_can_authenticate(person) else None
