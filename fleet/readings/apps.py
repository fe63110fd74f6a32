from django.apps import AppConfig


class ReadingsConfig(AppConfig):
    name = "fleet.readings"
    label = "readings"

    def ready(self):
        from fleet.readings import tables  # noqa: F401 - they register themselves
