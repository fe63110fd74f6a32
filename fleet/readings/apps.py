from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class ReadingsConfig(AppConfig):
    name = "fleet.readings"
    label = "readings"

    def ready(self):
        from fleet.readings import tables  # noqa: F401 - they register themselves
        from fleet.web import navigation

        navigation.entry(_("Figures to settle"), "readings:slips", deed="settle", order=30, icon="pencil-line")
