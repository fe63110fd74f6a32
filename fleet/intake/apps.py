from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "fleet.intake"
    label = "intake"
