from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PeopleConfig(AppConfig):
    name = "fleet.people"
    label = "people"

    def ready(self):
        import fleet.people.schema  # noqa: F401 - registers itself
        from fleet.people.access import may
        from fleet.web import navigation

        navigation.rules(may)
        navigation.entry(_("People"), "people:list", deed="people", order=10, icon="users", group="house")
        navigation.entry(
            _("Organisation"), "people:organisation", deed="people", order=20, icon="building-2", group="house"
        )
        navigation.entry(_("Who changed what"), "people:changes", deed="trail", order=30, icon="history", group="house")
