from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class IntakeConfig(AppConfig):
    name = "fleet.intake"
    label = "intake"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(_("Tables in"), "intake:start", deed="import", order=40, icon="file-up", group="fleet")
