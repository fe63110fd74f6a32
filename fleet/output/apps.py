from django.apps import AppConfig


class OutputConfig(AppConfig):
    name = "fleet.output"
    label = "output"
