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
        navigation.entry(_("Units"), "registry:units", deed="read_fleet", order=10, icon="droplets", group="fleet")
        navigation.entry(_("Sites"), "registry:sites", deed="read_fleet", order=20, icon="map-pin", group="fleet")
        navigation.entry(
            _("Catalogue"), "registry:catalogue", deed="read_fleet", order=30, icon="book-open", group="fleet"
        )
        navigation.search_page("registry:find")
