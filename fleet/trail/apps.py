from django.apps import AppConfig


class TrailConfig(AppConfig):
    name = "fleet.trail"
    label = "trail"
