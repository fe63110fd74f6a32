from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "fleet.jobs"
    label = "jobs"
