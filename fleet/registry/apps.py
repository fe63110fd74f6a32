from django.apps import AppConfig


class RegistryConfig(AppConfig):
    name = "fleet.registry"
    label = "registry"

    def ready(self):
        from fleet.intake import tables
        from fleet.people.access import may
        from fleet.registry.tables import register_all

        tables.rules(may)
        register_all()
