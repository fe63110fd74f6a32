from django.apps import AppConfig


class RegistryConfig(AppConfig):
    name = "fleet.registry"
    label = "registry"
