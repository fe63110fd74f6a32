from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class JobsConfig(AppConfig):
    name = "fleet.jobs"
    label = "jobs"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(_("Long work"), "jobs:list", order=60, icon="loader", group="house")
