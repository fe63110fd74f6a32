from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class OutputConfig(AppConfig):
    name = "fleet.output"
    label = "output"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(_("Shortfalls"), "output:shortfalls", deed="read_fleet", order=20, icon="trending-down")
        navigation.entry(_("False alarms"), "output:alarms", deed="read_reports", order=60, icon="bell", group="house")
        navigation.entry(
            _("Weather around"), "output:weather", deed="import", order=65, icon="cloud-sun", group="house"
        )
