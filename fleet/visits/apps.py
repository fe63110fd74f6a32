from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "fleet.visits"
    label = "visits"
