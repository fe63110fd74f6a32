from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class ReportsConfig(AppConfig):
    name = "fleet.reports"
    label = "reports"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(
            _("How the fleet does"), "reports:report", deed="read_reports", order=5, icon="chart-column",
            first_for=("manager",),
        )  # fmt: skip
