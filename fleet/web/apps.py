from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "fleet.web"
    label = "web"
