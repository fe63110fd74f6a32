from django.apps import AppConfig


class ReadingsConfig(AppConfig):
    name = "fleet.readings"
    label = "readings"
