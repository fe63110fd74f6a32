from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class DeskConfig(AppConfig):
    name = "fleet.desk"
    label = "desk"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(
            _("Attention"), "desk:attention", deed="read_fleet", order=10, icon="bell-ring",
            first_for=("coordinator", "administrator"),
        )  # fmt: skip
        navigation.entry(
            _("My day"), "desk:my_day", deed="own_day", order=20, icon="calendar-check", first_for=("technician",)
        )
        navigation.entry(_("Map"), "desk:map", deed="read_fleet", order=30, icon="map", group="fleet")
