from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RegistryConfig(AppConfig):
    name = "fleet.registry"
    label = "registry"

    def ready(self):
        from fleet.intake import tables
        from fleet.people.access import may
        from fleet.registry.tables import register_all
        from fleet.web import navigation

        tables.rules(may)
        register_all()
        navigation.entry(
            _("What fits a well"), "registry:sizing", deed="read_fleet", order=60, icon="ruler", group="fleet"
        )
